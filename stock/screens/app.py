"""The terminal UI: seven screens on one book, reached by number.

The book is opened in a thread; screens wait with :meth:`StockApp.when_open`. Heavy libraries are
loaded by the functions that need them, so that the first screen stands at once.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import App, SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen

from stock.errors import BookUnusable, StockError
from stock.exchange.safe_text import safe_text
from stock.screens.dialogs import Question
from stock.screens.look import DARK, LIGHT
from stock.screens.widgets.strip import PLACES

if TYPE_CHECKING:
    from stock.shop import Book


def _screens() -> dict[str, Callable[[], Screen[None]]]:
    from stock.screens.expiry import ExpiryScreen
    from stock.screens.orders import OrdersScreen
    from stock.screens.press import PressScreen
    from stock.screens.receive import ReceiveScreen
    from stock.screens.reorder import ReorderScreen
    from stock.screens.shelf import ShelfScreen
    from stock.screens.today import TodayScreen

    return {
        "today": TodayScreen,
        "receive": ReceiveScreen,
        "press": PressScreen,
        "shelf": ShelfScreen,
        "orders": OrdersScreen,
        "reorder": ReorderScreen,
        "expiry": ExpiryScreen,
    }


class StockApp(App[None]):
    """The shop's consumables on one book.

    Args:
        address: The book's path or URL.
        day: The business day; None: today, asked anew each time.
    """

    TITLE = "stock"
    CSS_PATH = "stock.tcss"
    ENABLE_COMMAND_PALETTE = True
    MODES: ClassVar[dict[str, str | Callable[[], Screen[Any]]]] = dict(_screens())
    DEFAULT_MODE = "today"
    BINDINGS: ClassVar[list[BindingType]] = [
        *(
            Binding(f"{key},f{key}", f"go('{mode}')", name, show=False, tooltip=f"Go to {name}")
            for key, mode, name in PLACES
        ),
        Binding("question_mark", "show_help_panel", "Keys", key_display="?"),
        Binding("ctrl+q", "quit", "Quit", show=False),
        Binding("q", "quit", "Quit"),
    ]

    def __init__(self, address: str, *, day: date | None = None) -> None:
        super().__init__()
        self.address = address
        self.day = day
        self.book: Book | None = None
        self._waiting: list[Callable[[], None]] = []
        self.text_charts = "NO_COLOR" in os.environ

    def on_mount(self) -> None:
        """Look: our own two themes; the book is opened meanwhile."""
        self.register_theme(DARK)
        self.register_theme(LIGHT)
        self.theme = LIGHT.name if os.environ.get("STOCK_LIGHT") else DARK.name
        self.open_book()

    def business_day(self) -> date:
        """The day entries are made for."""
        from stock.clock import today

        return self.day or today()

    def open_book(self) -> None:
        """Open the book in a thread."""
        self.run_worker(self._open, thread=True, group="open", exclusive=True)

    def _open(self) -> None:
        from stock.shop import open_book

        try:
            book = open_book(self.address)
        except BookUnusable as error:
            said = str(error)
            missing = "There is no book" in said
            self.call_from_thread(self._ask_for_book if missing else self._no_book, said)
            return
        self.call_from_thread(self._opened, book)

    def _opened(self, book: Book) -> None:
        self.book = book
        waiting, self._waiting = self._waiting, []
        for act in waiting:
            act()

    def when_open(self, act: Callable[[], None]) -> None:
        """Run ``act`` now, or as soon as the book is open."""
        if self.book is not None:
            act()
        else:
            self._waiting.append(act)

    def _no_book(self, said: str) -> None:
        self.notify(safe_text(said), severity="error", timeout=60, markup=False)

    def _ask_for_book(self, said: str) -> None:
        self.push_screen(
            Question(
                f"{safe_text(said)}\n\nWelcome. What would you like?",
                (
                    ("c", "create an empty book there (then: stock import --template items)"),
                    ("d", "build an invented shop to look around in"),
                    ("q", "leave"),
                ),
            ),
            self._first_run,
        )

    def _first_run(self, answer: str | None) -> None:
        if answer == "c":
            self.run_worker(self._create, thread=True, group="open", exclusive=True)
        elif answer == "d":
            self.notify("Building the invented shop: some ten seconds …", timeout=15)
            self.run_worker(self._demo, thread=True, group="open", exclusive=True)
        else:
            self.exit()

    def _create(self) -> None:
        from stock.shop import create_book

        try:
            book = create_book(self.address)
        except StockError as error:
            self.call_from_thread(self._no_book, str(error))
            return
        self.call_from_thread(self._opened, book)

    def _demo(self) -> None:
        from stock.shop.demo import build_demo
        from stock.shop.station import demo_folder

        try:
            book = build_demo(demo_folder(), self.business_day(), say=lambda _text: None)
        except StockError as error:
            self.call_from_thread(self._no_book, str(error))
            return
        self.call_from_thread(self._opened, book)

    def action_go(self, mode: str) -> None:
        """Change to another screen."""
        if self.current_mode != mode:
            self.switch_mode(mode)

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        """Every screen and every action of the current screen, besides the usual ones."""
        for key, mode, name in PLACES:
            yield SystemCommand(
                f"Go to {name}", f"Key {key}", lambda mode=mode: self.action_go(mode)
            )
        for binding in screen.active_bindings.values():
            shown = binding.binding
            if binding.node is screen and shown.description:
                yield SystemCommand(
                    shown.description,
                    shown.tooltip or f"Key {shown.key}",
                    lambda action=shown.action: screen.run_worker(screen.run_action(action)),
                )
        yield from super().get_system_commands(screen)


def run(address: str) -> None:
    """Open the terminal UI on the book at ``address``; returns when it is left."""
    StockApp(address).run()

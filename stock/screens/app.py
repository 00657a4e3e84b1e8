"""The terminal UI: seven screens on one book, reached by number.

The book is opened in a thread; screens wait with :meth:`StockApp.when_open`. Heavy libraries are
loaded by the functions that need them, so that the first screen stands at once. Every few seconds
the app asks, off the UI thread, whether somebody else wrote to the book, and reads again if so.
"""

from __future__ import annotations

import asyncio
import os
import signal
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual import events
from textual.app import App, SystemCommand
from textual.binding import Binding, BindingType
from textual.filter import LineFilter, NoColor
from textual.screen import ModalScreen, Screen
from textual.widgets import Input

from stock.errors import BookMissing, StockError
from stock.exchange.safe_text import safe_text
from stock.screens.base import ShopScreen
from stock.screens.letters import PlainLetters, terminal_encoding
from stock.screens.look import DARK, LIGHT
from stock.screens.tidying import tidy_when_idle
from stock.screens.widgets.rows import Rows
from stock.screens.widgets.strip import PLACES
from stock.screens.work import sentence

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.views.mark import Mark
    from stock.shop.views.week_at_hand import WeekAtHand

FRESH_SECONDS = 3.0
KEYS = "The keys in force here"
LEAVING = "q leaves; Ctrl+Q also while something is typed."
NOTICE_SECONDS = 8.0
AWAY = ("away",)
"""The mark of a book that could not be asked."""
AROUND = "This is an invented shop, in a book of its own. Started again, stock opens yours."


def _screen(mode: str) -> Callable[[], Screen[None]]:
    def make() -> Screen[None]:
        from importlib import import_module

        return getattr(import_module(f"stock.screens.{mode}"), f"{mode.capitalize()}Screen")()  # type: ignore[no-any-return]

    return make


class StockApp(App[None]):
    """The shop's consumables on one book.

    Args:
        address: The book's path or URL.
        day: The business day; None: today, asked anew each time.
    """

    TITLE = "stock"
    CSS_PATH = "stock.tcss"
    ENABLE_COMMAND_PALETTE = True
    MODES: ClassVar[dict[str, str | Callable[[], Screen[Any]]]] = {
        mode: _screen(mode) for _, mode, _ in PLACES
    }
    DEFAULT_MODE = "today"
    BINDINGS: ClassVar[list[BindingType]] = [
        *(
            Binding(f"{key},f{key}", f"go('{mode}')", name, show=False, tooltip=f"Go to {name}")
            for key, mode, name in PLACES
        ),
        Binding("question_mark", "keys", "Keys", key_display="?", tooltip=KEYS),
        Binding("f10", "keys", "Keys", key_display="F10", tooltip=KEYS),
        Binding(
            "f8",
            "light",
            "Light/dark",
            show=False,
            key_display="F8",
            tooltip="Paper by day, slate by night",
        ),
        Binding(
            "f9",
            "charts",
            "Charts/text",
            show=False,
            key_display="F9",
            tooltip="Charts drawn, or as text",
        ),
        Binding("q", "quit", "Quit", show=False),
        Binding("ctrl+q", "quit", "Quit", show=False, priority=True, key_display="Ctrl+Q"),
    ]

    def __init__(self, address: str, *, day: date | None = None) -> None:
        super().__init__()
        self.address = address
        self.day = day
        self.book: Book | None = None
        self._waiting: list[Callable[[], None]] = []
        self._week: WeekAtHand | None = None
        self._mark: Mark | None = None
        self.last_input = time.monotonic()
        self._noticed = ("", 0.0)
        self.plain = bool(os.environ.get("NO_COLOR"))
        self.text_charts = self.plain
        self.encoding = terminal_encoding()
        self.served = "TEXTUAL_DRIVER" in os.environ

    def get_line_filters(self) -> Sequence[LineFilter]:
        """No colour at all where NO_COLOR asks for none; letters only where UTF-8 is not read."""
        filters: list[LineFilter] = [NoColor()]
        if not self.plain:
            filters = list(super().get_line_filters())
        if not self.is_headless and not self.encoding.lower().startswith("utf"):
            filters.append(PlainLetters(self.encoding))
        return filters

    def on_mount(self) -> None:
        """Look: our own two themes; the book is opened meanwhile."""
        self.register_theme(DARK)
        self.register_theme(LIGHT)
        light = os.environ.get("STOCK_THEME", "").lower() == "light"
        self.theme = LIGHT.name if light else DARK.name
        self._heed_sigterm()
        if not self.is_headless:
            tidy_when_idle(self, lambda: self.last_input)
        self.open_book()

    async def on_event(self, event: events.Event) -> None:
        """Remember when somebody last typed or clicked."""
        if isinstance(event, events.InputEvent):
            self.last_input = time.monotonic()
        await super().on_event(event)

    def _heed_sigterm(self) -> None:
        """Asked to end, the app gives the terminal back as it was."""
        if self.is_headless or sys.platform == "win32":
            return
        code = 128 + signal.SIGTERM
        asyncio.get_running_loop().add_signal_handler(
            signal.SIGTERM, lambda: self.exit(return_code=code)
        )

    def business_day(self) -> date:
        """The day entries are made for."""
        from stock.clock import today

        return self.day or today()

    def week(self) -> WeekAtHand:
        """The plan all screens look at."""
        if self._week is None:
            from stock.shop.views.week_at_hand import WeekAtHand

            self._week = WeekAtHand()
        return self._week

    def open_book(self) -> None:
        """Open the book in a thread."""
        from stock.screens.first_run import welcome
        from stock.screens.wording import read_settings

        def opening() -> None:
            from stock.shop import open_book
            from stock.shop.views.mark import book_mark

            try:
                read_settings()
                book = open_book(self.address)
                self._mark = book_mark(book)
            except BookMissing as error:
                asked = welcome(safe_text(self.told(str(error))))
                self.call_from_thread(self.push_screen, asked, self._first_run)
            except StockError as error:
                self.call_from_thread(self._no_book, str(error))
            else:
                self.call_from_thread(self._opened, book)

        self.run_worker(opening, thread=True, group="open", exclusive=True)

    def _opened(self, book: Book, said: str = "") -> None:
        another = self.book is not None
        self.book = book
        self._week = None
        waiting, self._waiting = self._waiting, []
        for act in waiting:
            act()
        if said and isinstance(self.screen, ShopScreen):
            self.screen.say(said)
        if another:
            self._look_again()
        else:
            self.set_interval(FRESH_SECONDS, self._ask_if_fresh)

    def _ask_if_fresh(self) -> None:
        self.run_worker(self._fresh, thread=True, group="fresh", exclusive=True)

    def _fresh(self) -> None:
        from stock.shop.views.mark import book_mark

        if self.book is None:
            return
        try:
            mark = book_mark(self.book)
        except StockError:
            self._mark = AWAY  # Whoever books or looks is told by that.
            return
        was, self._mark = self._mark, mark
        if was is not None and was != mark:
            self.call_from_thread(self._look_again)

    def notice(self, text: str) -> None:
        """What was refused, in the corner, the same only once at a time."""
        now = time.monotonic()
        said, at = self._noticed
        if said != text or now - at > NOTICE_SECONDS:
            self._noticed = text, now
            self.notify(text, severity="error", markup=False, timeout=NOTICE_SECONDS)

    def _look_again(self) -> None:
        screen = self.screen
        if isinstance(screen, ShopScreen):
            screen.look_again()

    def told(self, text: str) -> str:
        """A sentence for the screen; in a browser the folders of this machine are left out."""
        if self.served:
            from stock.shop.station import data_folder

            folder = str(Path(self.address).expanduser().absolute().parent)
            for path, short in ((folder, "…"), (str(data_folder()), "…"), (str(Path.home()), "~")):
                text = text.replace(path, short) if len(path) > 1 else text
        return text

    def when_open(self, act: Callable[[], None]) -> None:
        """Run ``act`` now, or as soon as the book is open."""
        if self.book is not None:
            act()
        else:
            self._waiting.append(act)

    def _no_book(self, said: str) -> None:
        from stock.screens.dialogs import Question

        def answered(answer: str | None) -> None:
            if answer == "r":
                self.open_book()
            else:
                self.exit()

        asked = Question(safe_text(self.told(said)), (("r", "try again"), ("q", "leave")))
        self.push_screen(asked, answered)

    def _first_run(self, answer: str | None) -> None:
        if answer == "d":
            self.look_around()
        elif answer == "c":
            from stock.shop import create_book

            self._make(lambda: create_book(self.address))
        else:
            self.exit()

    def look_around(self) -> None:
        """Build the invented shop and go on in its book; the person's own stays as it is."""
        from stock.screens.first_run import build_shop

        def say(text: str) -> None:
            self.call_from_thread(self.notify, safe_text(self.told(text)), timeout=4, markup=False)

        self._make(lambda: build_shop(self.business_day(), say), AROUND)

    def _make(self, making: Callable[[], Book], said: str = "") -> None:
        def work() -> None:
            from stock.shop.views.mark import book_mark

            try:
                book = making()
                self._mark = book_mark(book)
            except (StockError, OSError) as error:
                self.call_from_thread(self._no_book, sentence(error))
                return
            self.call_from_thread(self._opened, book, said)

        self.run_worker(work, thread=True, group="open", exclusive=True)

    def action_go(self, mode: str) -> None:
        """Change to another screen; questions are answered first."""
        if self.current_mode != mode and not isinstance(self.screen, ModalScreen):
            self.switch_mode(mode)

    def go_to(self, mode: str, what: str) -> None:
        """Change to another screen and put the cursor on something there."""
        self.action_go(mode)
        while len(self.screen_stack) > 1:
            self.pop_screen()
        if isinstance(self.screen, ShopScreen):
            self.screen.pointed = what

    def get_key_display(self, binding: Binding) -> str:
        """In a field a question mark is a letter: the other key for the same is named."""
        asks = isinstance(self.screen, ModalScreen)
        if binding.action == "keys" and not asks and isinstance(self.focused, Input):
            return "F10"
        return super().get_key_display(binding)

    def action_keys(self) -> None:
        """The keys in force."""
        from stock.screens.keys import Keys

        if not isinstance(self.screen, ModalScreen):
            self.push_screen(Keys(self.screen))

    def action_help_quit(self) -> None:
        """Ctrl+C does not leave: it may have been meant for text that is marked."""
        self.notify(LEAVING, markup=False)

    def action_light(self) -> None:
        """Light, or dark again."""
        self.theme = DARK.name if self.theme == LIGHT.name else LIGHT.name

    def action_charts(self) -> None:
        """Charts drawn, or as text."""
        self.text_charts = not self.text_charts
        self._look_again()

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        """Every screen and every action of the current screen."""
        for key, mode, name in PLACES:
            yield SystemCommand(
                f"Go to {name}", f"Key {key}", lambda mode=mode: self.action_go(mode)
            )
        from stock.screens.keys import actions_of

        nodes = (screen, self) if isinstance(screen, ShopScreen) else (self,)
        for node in nodes:
            for binding in actions_of(node):
                yield SystemCommand(
                    binding.description,
                    binding.tooltip or f"Key {binding.key}",
                    lambda action=binding.action, node=node: self.run_worker(
                        self.run_action(action, node)
                    ),
                )
        table = screen.focused
        if isinstance(table, Rows) and table.current is not None:
            yield SystemCommand("Open", "What Enter does with the row here", table.action_choose)


def run(address: str) -> None:
    """Open the terminal UI on the book at ``address``; returns when it is left."""
    app = StockApp(address)
    app.run()
    if app.return_code:
        sys.exit(app.return_code)

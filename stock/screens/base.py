"""What every screen shares: the strip, the line that says what happened, work off the UI thread.

A screen never holds a database session: it hands a function of the open book to :meth:`look`
(reading; a newer look replaces an older one) or :meth:`post` (writing; never interrupted), and gets
frozen data back on the UI thread. What the book refuses is said in a sentence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Footer, Static

from stock.errors import StockError
from stock.exchange.safe_text import safe_text
from stock.screens.widgets.strip import Strip

if TYPE_CHECKING:
    from stock.screens.app import StockApp
    from stock.shop import Book

Result = TypeVar("Result")


class ShopScreen(Screen[None]):
    """A screen of the shop; subclasses give :meth:`body` and :meth:`look_again`."""

    MODE = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("u", "undo", "Undo", tooltip="Take the last entry made here back"),
        Binding("ctrl+r", "look_again", "Fresh", tooltip="Read the book again", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.last_entry: int | None = None

    @property
    def shop_app(self) -> StockApp:
        """The app, by its own type."""
        from stock.screens.app import StockApp

        assert isinstance(self.app, StockApp)
        return self.app

    def compose(self) -> ComposeResult:
        """Strip, body, what was said, keys."""
        yield Strip(self.MODE)
        with Vertical(id="body"):
            yield from self.body()
        yield Static("", id="said", markup=False)
        yield Footer(show_command_palette=False)

    def body(self) -> Iterable[Widget]:
        """The screen's own widgets."""
        return ()

    def look_again(self) -> None:
        """Read what the screen shows."""

    def action_look_again(self) -> None:
        """Read the book again."""
        self.look_again()

    def on_mount(self) -> None:
        """Read as soon as the book is open."""
        self.shop_app.when_open(self.look_again)

    def on_screen_resume(self) -> None:
        """Another screen may have changed the book."""
        if self.shop_app.book is not None:
            self.look_again()

    def say(self, text: str) -> None:
        """One line of what happened."""
        self.query_one("#said", Static).update(safe_text(" ".join(text.split())))

    def complain(self, text: str) -> None:
        """A refusal, as a sentence: on the line and as a notice."""
        self.say(f"✗ {text}")
        self.notify(safe_text(text), severity="error", markup=False, timeout=8)

    def look(
        self, work: Callable[[Book], Result], then: Callable[[Result], None], *, group: str = "look"
    ) -> None:
        """Read in a thread; a newer look of the same group replaces this one."""
        self._run(work, then, group=group, exclusive=True)

    def post(self, work: Callable[[Book], Result], then: Callable[[Result], None]) -> None:
        """Write in a thread; never interrupted halfway."""
        self._run(work, then, group="post", exclusive=False)

    def _run(
        self,
        work: Callable[[Book], Any],
        then: Callable[[Any], None],
        *,
        group: str,
        exclusive: bool,
    ) -> None:
        book = self.shop_app.book
        if book is None:
            self.shop_app.when_open(lambda: self._run(work, then, group=group, exclusive=exclusive))
            return
        from textual.worker import get_current_worker

        def in_thread() -> None:
            worker = get_current_worker()
            try:
                found = work(book)
            except StockError as error:
                said = str(error)
                if not worker.is_cancelled:
                    self.app.call_from_thread(self._if_here, lambda: self.complain(said))
                return
            except OSError as error:
                said = f"{error.filename or ''}: {error.strerror or error}"
                self.app.call_from_thread(self._if_here, lambda: self.complain(said))
                return
            if not worker.is_cancelled:
                self.app.call_from_thread(self._if_here, lambda: then(found))

        self.run_worker(in_thread, thread=True, exclusive=exclusive, group=group)

    def _if_here(self, act: Callable[[], None]) -> None:
        if self.is_mounted:
            act()

    def action_undo(self) -> None:
        """Take the last entry made on this screen back."""
        entry = self.last_entry
        if entry is None:
            self.say("Nothing was booked here yet that could be taken back.")
            return
        from stock.clock import today
        from stock.shop.station import who
        from stock.shop.undoing import undo

        day = self.shop_app.day or today()

        def done(undone: Any) -> None:
            self.last_entry = None
            self.say(f"✓ {undone}")
            self.look_again()

        self.post(lambda book: undo(book, entry, on=day, who=who()), done)

    def booked(self, entry: int | None, text: str) -> None:
        """Say what was booked, remember it for undo, and look again."""
        self.last_entry = entry
        self.say(f"✓ {text}  (u takes it back)")
        self.look_again()

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
from textual.events import DescendantFocus
from textual.screen import ModalScreen, Screen
from textual.widget import Widget
from textual.widgets import Footer, Input, Static

from stock.exchange.safe_text import safe_text
from stock.screens.widgets.strip import Strip
from stock.screens.work import in_thread, shop_app

if TYPE_CHECKING:
    from datetime import date

    from textual.binding import ActiveBinding

    from stock.screens.app import StockApp
    from stock.screens.dialogs import Form
    from stock.shop import Book
    from stock.shop.views.week_at_hand import Week

Result = TypeVar("Result")

WIDE = 130
"""From so many columns on there is room for two things side by side, with no cell cut."""

SIGNS = frozenset(
    ("space", "question_mark", "slash", "plus", "minus", "equals_sign", "comma", "full_stop")
)
"""Names of keys that write a sign; letters and digits are named by themselves."""


def types(key: str) -> bool:
    """Whether a key writes something where there is a field.

    >>> types("g"), types("slash"), types("escape"), types("ctrl+s")
    (True, True, False, False)
    """
    return len(key) == 1 or key in SIGNS


class ShopScreen(Screen[Any]):
    """A screen of the shop; subclasses give :meth:`body` and :meth:`look_again`."""

    MODE = ""
    UNDO_KEY = "u"
    HORIZONTAL_BREAKPOINTS = [  # noqa: RUF012
        (0, "-narrow"),
        (WIDE, "-wide"),
    ]
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("u", "undo", "Undo", tooltip="Take back the last entry made on this screen"),
        Binding("ctrl+r", "look_again", "Read again", tooltip="Read the book again", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.last_entry: int | None = None
        self.covered = False
        self.booking = False
        self.unread = False
        self.pointed = ""

    @property
    def shop_app(self) -> StockApp:
        """The app, by its own type."""
        return shop_app(self)

    @property
    def day(self) -> date:
        """The business day."""
        return self.shop_app.business_day()

    @property
    def active_bindings(self) -> dict[str, ActiveBinding]:
        """The keys in force: while a field has the keys, letters and digits are its own."""
        found = super().active_bindings
        if not isinstance(self.focused, Input):
            return found
        return {key: bound for key, bound in found.items() if not types(key)}

    def compose(self) -> ComposeResult:
        """Strip, body, what was said, keys."""
        yield Strip(self.MODE)
        with Vertical(id="body"):
            yield from self.body()
        yield Static("", id="said", markup=False)
        yield Footer(show_command_palette=False, compact=True)

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

    def on_strip_wanted(self, event: Strip.Wanted) -> None:
        """A name in the strip was clicked."""
        if not isinstance(self.app.screen, ModalScreen):
            self.shop_app.action_go(event.mode)

    def on_descendant_focus(self, event: DescendantFocus) -> None:
        """A field takes digits: the strip names the keys that still lead on."""
        self.query_one(Strip).typing(isinstance(event.widget, Input))

    def on_screen_suspend(self) -> None:
        """Covered by a question, or left for another screen."""
        self.covered = isinstance(self.app.screen, ModalScreen)

    def on_screen_resume(self) -> None:
        """Another screen may have changed the book; a question that was left has not."""
        covered, self.covered = self.covered, False
        if self.shop_app.book is not None and self.is_attached and not covered:
            self.look_again()

    def say(self, text: str) -> None:
        """One line of what happened."""
        self.unread = False
        self.query_one("#said", Static).update(safe_text(" ".join(text.split())))

    def complain(self, text: str) -> None:
        """A refusal, as a sentence: on the line, and as a notice that does not pile up."""
        self.say(f"✗ {text}")
        self.shop_app.notice(safe_text(" ".join(text.split())))

    def head(self, text: str) -> None:
        """The sentence above the screen's content."""
        self.query_one("#head", Static).update(safe_text(text))

    def look(
        self, work: Callable[[Book], Result], then: Callable[[Result], Any], *, group: str = "look"
    ) -> None:
        """Read in a thread; a newer look of the same group replaces this one."""

        def found(result: Result) -> None:
            if self.unread:
                self.unread = False
                self.say("")
            then(result)

        def refused(said: str) -> None:
            self.complain(said)
            self.unread = True

        in_thread(self, work, found, refused, group=group, exclusive=True)

    def look_at_week(
        self, work: Callable[[Week], Result], then: Callable[[Result], Any], *, group: str = "week"
    ) -> None:
        """Read the plan of the week in a thread: made once for all screens."""
        keeper, day = self.shop_app.week, self.day
        self.look(lambda book: work(keeper().of(book, day)), then, group=group)

    def post(self, work: Callable[[Book], Result], then: Callable[[Result], Any]) -> None:
        """Write in a thread; never interrupted halfway.

        A key pressed twice books once: until an answer stands, no second one is begun. A refusal
        may mean that somebody else was first, so that the book is read again.
        """
        if self.booking:
            return
        self.booking = True
        self.say("Booking …")

        def done(found: Result) -> None:
            self.booking = False
            then(found)

        def refused(said: str) -> None:
            self.booking = False
            self.refresh_bindings()
            self.complain(said)
            self.look_again()

        in_thread(self, work, done, refused, group="post")

    def ask(self, form: Form, then: Callable[[Any], Any] | None = None) -> None:
        """Put a form up; what it did is told and looked at, or handed to ``then``."""

        def answered(done: Any) -> None:
            if done is None:
                return
            if then is not None:
                then(done)
            else:
                notes = (*getattr(done, "notes", ()), *getattr(done, "differences", ()))
                self.booked(done.entry, "; ".join([f"{done}", *map(str, notes)]))

        self.app.push_screen(form, answered)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Undo is a key only when there is something to take back."""
        if action == "undo":
            return self.last_entry is not None
        return super().check_action(action, parameters)

    def action_undo(self) -> None:
        """Take the last entry made on this screen back."""
        if self.last_entry is not None:
            self.take_back(self.last_entry)

    def take_back(self, entry: int) -> None:
        """Post the opposite of an entry."""
        from stock.errors import Unknown
        from stock.shop.station import who
        from stock.shop.undoing import undo

        day = self.day

        def act(book: Book) -> Any:
            try:
                return undo(book, entry, on=day, who=who())
            except Unknown:  # an older copy of the book was restored meanwhile
                self.last_entry = None
                raise

        def done(undone: Any) -> None:
            if self.last_entry == entry:
                self.last_entry = None
            self.refresh_bindings()
            self.say(f"✓ {undone}")
            self.look_again()

        self.post(act, done)

    def booked(self, entry: int | None, text: str) -> None:
        """Say what was booked, remember it for undo, and look again."""
        if entry is not None:
            self.last_entry = entry
        self.refresh_bindings()
        back = f"  ({self.UNDO_KEY} takes it back)" if entry is not None else ""
        self.say(f"✓ {text}{back}")
        self.look_again()

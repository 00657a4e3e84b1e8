"""Questions: a form of a few fields, or one key of several.

A form keeps what was typed until the book has taken it: its action runs in a thread, and what the
book refuses stands as a sentence under the fields. Each field is looked over while it is typed.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.screen import ModalScreen
from textual.suggester import SuggestFromList
from textual.widgets import Input, Label, Static

from stock.exchange.safe_text import safe_text
from stock.screens.work import in_thread

if TYPE_CHECKING:
    from stock.shop import Book

Check = Callable[[str], str | None]
"""What is wrong with a text, as a sentence; None when nothing is."""
Answers = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form: its name, what it is called, what stands in it, what fits."""

    name: str
    label: str
    value: str = ""
    hint: str = ""
    choices: Sequence[str] = ()
    check: Check | None = None


class Form(ModalScreen[Any]):
    """A few fields; Enter goes to the next one and past the last one is done, Escape leaves.

    Args:
        title, note: Above and below the fields; cautions stand in the note.
        act: Takes the open book and the answers and does what was asked, in a thread. Its answer
            is the form's; a refusal stays in the form. None: the answers are the form's answer.
        typed: Called with the answers at every change, for a line of consequences below.
        begin: The field that is typed in first; missing: the first one.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Back"),
        Binding("ctrl+s", "done", "Done"),
        Binding("down", "next(1)", "Next field", show=False),
        Binding("up", "next(-1)", "Field before", show=False),
    ]

    def __init__(
        self,
        title: str,
        fields: Sequence[Field],
        act: Callable[[Book, Answers], Any] | None = None,
        *,
        note: str = "",
        typed: Callable[[Form, Answers], None] | None = None,
        begin: str = "",
    ) -> None:
        super().__init__()
        self.begin = begin
        self.form_title, self.fields, self.note = title, tuple(fields), note
        self.act, self.typed = act, typed
        self.busy = False

    def compose(self) -> ComposeResult:
        """Title, fields, what is wrong, cautions."""
        with VerticalScroll(id="form", can_focus=False):
            yield Label(self.form_title, id="form-title", markup=False)
            for field in self.fields:
                with Horizontal(classes="form-line"):
                    yield Label(field.label, classes="field-label", markup=False)
                    yield Input(
                        field.value,
                        placeholder=field.hint,
                        id=f"field-{field.name}",
                        compact=True,
                        suggester=SuggestFromList(field.choices, case_sensitive=False)
                        if field.choices
                        else None,
                    )
            yield Static("", id="form-wrong", markup=False)
            yield Static("", id="form-means", markup=False)
            yield Static(self.note, id="form-note", markup=False)
            yield Static(
                "Enter: next, at the end done   Ctrl+S: done   Escape: back", id="form-keys"
            )

    def on_mount(self) -> None:
        """Begin where something is to be typed."""
        self.query_one("#form-note").display = bool(self.note)
        self.query_one("#form-wrong").display = False
        self.query_one("#form-means").display = self.typed is not None
        first = self.query_one(f"#field-{self.begin}", Input) if self.begin else None
        (first or self.query(Input).first()).focus()

    def answers(self) -> dict[str, str]:
        """What stands in the fields."""
        return {
            field.name: self.query_one(f"#field-{field.name}", Input).value.strip()
            for field in self.fields
        }

    def means(self, text: str) -> None:
        """Say what the present answers would mean."""
        self.query_one("#form-means", Static).update(_lines(text))

    def wrong(self, text: str) -> None:
        """Say what is wrong; empty: nothing."""
        said = self.query_one("#form-wrong", Static)
        said.update(_lines(f"✗ {text}") if text else "")
        said.display = bool(text)

    def trouble(self) -> tuple[str, str] | None:
        """The first field with something wrong in it, and what."""
        answers = self.answers()
        for field in self.fields:
            found = field.check(answers[field.name]) if field.check else None
            if found:
                return field.name, f"{field.label}: {found}"
        return None

    @on(Input.Changed)
    def _look_over(self, event: Input.Changed) -> None:
        for field in self.fields:
            if event.input.id == f"field-{field.name}":
                found = field.check(event.value.strip()) if field.check else None
                self.wrong(f"{field.label}: {found}" if found else "")
        if self.typed is not None:
            self.typed(self, self.answers())

    @on(Input.Submitted)
    def _next(self, event: Input.Submitted) -> None:
        inputs = list(self.query(Input))
        place = inputs.index(event.input)
        if place + 1 < len(inputs):
            inputs[place + 1].focus()
        else:
            self.action_done()

    def action_next(self, by: int) -> None:
        """To the field below or above."""
        inputs = list(self.query(Input))
        here = next((n for n, one in enumerate(inputs) if one.has_focus), 0)
        inputs[max(0, min(here + by, len(inputs) - 1))].focus()

    def action_done(self) -> None:
        """Do it, unless something typed is wrong."""
        if self.busy:
            return
        found = self.trouble()
        if found is not None:
            self.wrong(found[1])
            self.query_one(f"#field-{found[0]}", Input).focus()
            return
        answers, act = self.answers(), self.act
        if act is None:
            self.dismiss(answers)
            return
        self.busy = True
        self._reports_to = asyncio.get_running_loop()
        self._tell("One moment …")

        def refused(said: str) -> None:
            self.busy = False
            self.query_one("#form-keys", Static).update(
                "Nothing was changed.   Ctrl+S: once more   Escape: back"
            )
            self.wrong(said)

        in_thread(self, lambda book: act(book, answers), self.dismiss, refused, group="post")

    def busy_with(self, text: str) -> None:
        """Say, from the thread that works, how far it is."""
        with suppress(RuntimeError):  # the app was left meanwhile; the work goes on to its end
            self._reports_to.call_soon_threadsafe(self._tell, text)

    def _tell(self, text: str) -> None:
        if self.is_attached and self.busy:
            self.query_one("#form-keys", Static).update(text)

    def action_leave(self) -> None:
        """Answer nothing; what is being done is waited for."""
        if not self.busy:
            self.dismiss(None)


class Question(ModalScreen[str | None]):
    """One question, a key for each answer."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "answer('')", "Back")]

    def __init__(self, text: str, answers: Sequence[tuple[str, str]]) -> None:
        super().__init__()
        self.text, self.answers = text, tuple(answers)
        for key, meaning in self.answers:
            self._bindings.bind(key, f"answer('{key}')", meaning, show=False)

    def compose(self) -> ComposeResult:
        """The text and the keys."""
        with VerticalScroll(id="form"):
            yield Static(self.text, id="form-title", markup=False)
            for key, meaning in self.answers:
                yield Static(f" {key}   {meaning}", markup=False)
            yield Static(" Escape   back", markup=False)

    def action_answer(self, key: str) -> None:
        """Answer with the key pressed; empty: nothing."""
        self.dismiss(key or None)


class Words(ModalScreen[None]):
    """Something to read; Escape or Enter closes it."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,enter,q", "dismiss", "Close")]

    def __init__(self, title: str, text: str) -> None:
        super().__init__()
        self.words_title, self.text = title, text

    def compose(self) -> ComposeResult:
        """Title and text."""
        with VerticalScroll(id="form"):
            yield Label(self.words_title, id="form-title", markup=False)
            yield Static(_lines(self.text), markup=False)
            yield Static("↑ ↓ scroll   Escape: close", id="form-keys")

    def on_mount(self) -> None:
        """Arrows scroll."""
        self.query_one("#form").focus()


def _lines(text: str) -> str:
    return "\n".join(safe_text(line) for line in text.splitlines())


def whole_number(least: int = 0) -> Check:
    """A whole number from ``least``."""

    def check(text: str) -> str | None:
        if text.isascii() and text.isdigit() and len(text) < 8 and int(text) >= least:
            return None
        shown = repr(text) if text else "nothing"
        return f"{shown} is not a whole number from {least} to 9,999,999."

    return check


def amount_in(unit: str, *, least: int = 0) -> Check:
    """An amount of that unit, as ``250``, ``1.8 L``."""

    def check(text: str) -> str | None:
        from stock.units import parse_amount

        if not text:
            return needed(text)
        try:
            held = parse_amount(text, unit)  # type: ignore[arg-type]
        except ValueError as error:
            return f"{text!r} is not a number of pieces." if unit == "each" else f"{error}."
        return None if held >= least else f"{text} is less than it can be."

    return check


def needed(text: str) -> str | None:
    """Anything at all."""
    return None if text else "nothing stands here yet."


def one_of(choices: Sequence[str], *, empty: bool = True) -> Check:
    """One of these words."""

    def check(text: str) -> str | None:
        if text in choices or (empty and not text):
            return None
        return f"expected {', '.join(choices)}."

    return check


def day_by(on: date, *, empty: bool = True, month: bool = False) -> Check:
    """A date in any unambiguous writing; ``month``: or a month, as labels print it."""

    def check(text: str) -> str | None:
        from stock.exchange.written_dates import read_date, read_use_by

        if not text:
            return None if empty else "nothing stands here yet."
        try:
            (read_use_by if month else read_date)(text, on=on)
        except ValueError as error:
            said = str(error).removesuffix("; say which in the column map")
            return f"expected {said.replace(' (or a date order in the column map)', '')}."
        return None

    return check

"""Questions: a form of a few fields, or yes and no."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.suggester import SuggestFromList
from textual.widgets import Input, Label, Static


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form: its name, what it is called, what stands in it, what fits."""

    name: str
    label: str
    value: str = ""
    hint: str = ""
    choices: Sequence[str] = ()
    kind: str = "text"


class Form(ModalScreen[dict[str, str] | None]):
    """A few fields; Enter goes to the next one and past the last one is done, Escape leaves."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Back"),
        Binding("ctrl+s", "done", "Done"),
    ]

    def __init__(self, title: str, fields: Sequence[Field], *, note: str = "") -> None:
        super().__init__()
        self.form_title, self.fields, self.note = title, tuple(fields), note

    def compose(self) -> ComposeResult:
        """Title, fields, cautions."""
        with Vertical(id="form"):
            yield Label(self.form_title, id="form-title", markup=False)
            for field in self.fields:
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
            if self.note:
                yield Static(self.note, id="form-note", markup=False)
            yield Static("Enter: next, at the end done   Escape: back", id="form-keys")

    def on_mount(self) -> None:
        """Begin at the first field."""
        self.query(Input).first().focus()

    @on(Input.Submitted)
    def _next(self, event: Input.Submitted) -> None:
        inputs = list(self.query(Input))
        place = inputs.index(event.input)
        if place + 1 < len(inputs):
            inputs[place + 1].focus()
        else:
            self.action_done()

    def action_done(self) -> None:
        """Answer with the fields."""
        self.dismiss(
            {
                field.name: self.query_one(f"#field-{field.name}", Input).value.strip()
                for field in self.fields
            }
        )

    def action_leave(self) -> None:
        """Answer nothing."""
        self.dismiss(None)


class Question(ModalScreen[str | None]):
    """One question, a key for each answer."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "answer('')", "Back")]

    def __init__(self, text: str, answers: Sequence[tuple[str, str]]) -> None:
        super().__init__()
        self.text, self.answers = text, tuple(answers)
        for key, _ in self.answers:
            self._bindings.bind(key, f"answer('{key}')", key, show=False)

    def compose(self) -> ComposeResult:
        """The text and the keys."""
        with Vertical(id="form"):
            yield Static(self.text, id="form-title", markup=False)
            for key, meaning in self.answers:
                yield Static(f" {key}   {meaning}", markup=False)

    def action_answer(self, key: str) -> None:
        """Answer with the key pressed; empty: nothing."""
        self.dismiss(key or None)

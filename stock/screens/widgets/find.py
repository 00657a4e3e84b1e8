"""A field to find rows by part of their text; Enter keeps what is found, Escape shows all again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.message import Message
from textual.widgets import Input

from stock.screens.widgets.rows import Rows


class Find(Input):
    """Hidden until it is called for, and while it holds nothing."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "all", "Show all"),
        Binding("down", "leave", "To the rows", show=False),
    ]

    @dataclass
    class Wanted(Message):
        """Rows with this in them are wanted; empty: all."""

        text: str

    def __init__(self, placeholder: str) -> None:
        super().__init__(placeholder=placeholder, id="find", compact=True)

    def on_mount(self) -> None:
        """Out of the way."""
        self.display = False

    def call(self) -> None:
        """Show it and type."""
        self.display = True
        self.focus()

    def watch_value(self, value: str) -> None:
        """Every letter looks."""
        if self.is_attached:
            self.post_message(self.Wanted(value.strip()))

    async def action_submit(self) -> None:
        """Keep what is found."""
        self.action_leave()

    def action_leave(self) -> None:
        """To the rows."""
        self.display = bool(self.value.strip())
        self.screen.query_one(Rows).focus()

    def action_all(self) -> None:
        """Show all rows again."""
        self.value = ""
        self.action_leave()

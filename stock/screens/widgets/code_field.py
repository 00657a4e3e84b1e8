"""A field that takes codes as fast as a scanner types them. It knows no book."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from textual import events
from textual.widgets import Input

SHOWN_GS = "␝"
"""Stands for the separator (FNC1, ASCII 29) that a scanner types, so that it can be seen."""


class CodeInput(Input):
    """Takes a code at its Enter, separators (control characters) included.

    An Enter is acted on as the key it is: handled later, as a message, it would find the first
    letters of the next code behind it.

    Args:
        take: Called with what stands there; True: it is taken, and the field empty again.
    """

    def __init__(self, take: Callable[[str], bool], placeholder: str, **how: Any) -> None:
        super().__init__(placeholder=placeholder, **how)
        self.take = take

    def on_key(self, event: events.Key) -> None:
        """Take a code at its Enter; show ASCII 29 instead of dropping it."""
        if event.key == "enter":
            event.stop()
            event.prevent_default()
            self._enter()
        elif event.character == "\x1d" or event.key == "ctrl+right_square_bracket":
            event.stop()
            event.prevent_default()
            self.insert_text_at_cursor(SHOWN_GS)

    def _enter(self) -> None:
        if self.take(self.value.strip()):
            self.value = ""

    def on_paste(self, event: events.Paste) -> None:
        """Every line of what is pasted is a code; the last one waits for its Enter."""
        event.stop()
        event.prevent_default()
        *lines, rest = re.split("\r\n|\r|\n", event.text.replace("\x1d", SHOWN_GS))
        for line in lines:
            self.replace(line, *self.selection)
            self._enter()
        self.replace(rest, *self.selection)

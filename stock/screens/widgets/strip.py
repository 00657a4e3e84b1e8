"""The line at the top: which screen this is, which number leads to which."""

from __future__ import annotations

from dataclasses import dataclass

from rich.cells import cell_len
from rich.text import Text
from textual.events import Click
from textual.message import Message
from textual.widgets import Static

PLACES = (
    ("1", "today", "Today"),
    ("2", "receive", "Receive"),
    ("3", "press", "Press log"),
    ("4", "shelf", "Shelf"),
    ("5", "orders", "Orders"),
    ("6", "reorder", "Reorder"),
    ("7", "expiry", "Expiry"),
)
"""Key, mode and name of every screen, in the order of the numbers."""


class Strip(Static):
    """Names of all screens with their keys; the current one stands in brackets and reversed.

    While something is typed a digit belongs to the field: then the function keys are shown. Where
    the names do not fit, the keys stay, with the name of the current screen; at the last that only.
    """

    @dataclass
    class Wanted(Message):
        """Another screen is wanted."""

        mode: str

    def __init__(self, current: str) -> None:
        self.current = current
        self.before = ""
        super().__init__(id="strip")

    def typing(self, typed: bool) -> None:
        """Show the keys that lead on while a field has the keys, or the numbers."""
        self.before = "F" if typed else ""
        self._write()

    def on_resize(self) -> None:
        """Names as far as they fit."""
        self._write()

    def on_click(self, event: Click) -> None:
        """A click on a name does what its key does."""
        at = 0
        for mode, text in strip_parts(self.current, self.before, self.size.width):
            at += cell_len(text)
            if event.x < at:
                self.post_message(self.Wanted(mode))
                return

    def _write(self) -> None:
        text = Text(no_wrap=True, end="")
        for mode, part in strip_parts(self.current, self.before, self.size.width):
            text.append(part, "reverse bold" if mode == self.current else "")
        self.update(text)


def strip_parts(current: str, before: str, width: int) -> list[tuple[str, str]]:
    """Screens and what stands for each in ``width`` cells, the keys with ``before`` in front.

    >>> def line(width: int) -> str:
    ...     return "".join(text for _, text in strip_parts("shelf", "", width))
    >>> line(80)[-40:], line(40), line(20)
    ('[4 Shelf] 5 Orders  6 Reorder  7 Expiry ', ' 1  2  3 [4 Shelf] 5  6  7 ', '[4 Shelf]')
    """
    parts: list[tuple[str, str]] = []
    for shown in ("the current", "keys", "names"):
        wider = []
        for key, mode, name in PLACES:
            if mode == current:
                wider.append((mode, f"[{before}{key} {name}]"))
            elif shown != "the current":
                wider.append(
                    (mode, f" {before}{key} {name} " if shown == "names" else f" {before}{key} ")
                )
        if not parts or sum(cell_len(text) for _, text in wider) <= width:
            parts = wider
    return parts

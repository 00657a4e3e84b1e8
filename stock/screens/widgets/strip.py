"""The line at the top: which screen this is, which number leads to which."""

from __future__ import annotations

from rich.text import Text
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

    def _write(self) -> None:
        self.update(strip_text(self.current, self.before, self.size.width))


def strip_text(current: str, before: str, width: int) -> Text:
    """The strip in ``width`` cells, the keys with ``before`` in front.

    >>> strip_text("shelf", "", 80).plain[-40:]
    '[4 Shelf] 5 Orders  6 Reorder  7 Expiry '
    >>> strip_text("shelf", "", 40).plain
    ' 1  2  3 [4 Shelf] 5  6  7 '
    >>> strip_text("shelf", "", 20).plain
    '[4 Shelf]'
    """
    for named, others in ((True, True), (False, True), (False, False)):
        text = Text(no_wrap=True, end="")
        for key, mode, name in PLACES:
            if mode == current:
                text.append(f"[{before}{key} {name}]", "reverse bold")
            elif others:
                text.append(f" {before}{key} {name} " if named else f" {before}{key} ")
        if text.cell_len <= width:
            break
    return text

"""The line at the top: which screen this is, which number leads to which."""

from __future__ import annotations

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

    While something is typed a digit belongs to the field: then the function keys are shown.
    """

    def __init__(self, current: str) -> None:
        self.current = current
        super().__init__(self._text(""), id="strip")

    def typing(self, typed: bool) -> None:
        """Show the keys that lead on while a field has the keys, or the numbers."""
        self.update(self._text("F" if typed else ""))

    def _text(self, before: str) -> str:
        parts = []
        for key, mode, name in PLACES:
            said = f"{before}{key} {name}"
            parts.append(f"[reverse b]\\[{said}][/]" if mode == self.current else f" {said} ")
        return "".join(parts)

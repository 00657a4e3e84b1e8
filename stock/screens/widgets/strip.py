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
    """Names of all screens with their numbers; the current one stands in brackets and reversed."""

    def __init__(self, current: str) -> None:
        parts = []
        for key, mode, name in PLACES:
            parts.append(
                f"[reverse b]\\[{key} {name}][/]" if mode == current else f" {key} {name} "
            )
        super().__init__("".join(parts), id="strip")

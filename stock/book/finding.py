"""What ``stock check`` found: which rule, where, what stands there, what should."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

MOST_SHOWN = 50
"""Findings of one rule that are listed singly; the rest is counted."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong in the book.

    ``damage`` is False for what may be a person's slip (a date that cannot be): it deserves a
    look, but the book's sums are sound.
    """

    rule: str
    table: str
    row: int | None
    found: str
    expected: str
    damage: bool = True

    def to_json(self) -> dict[str, Any]:
        """Stable keys."""
        return {
            "rule": self.rule,
            "table": self.table,
            "row": self.row,
            "found": self.found,
            "expected": self.expected,
            "damage": self.damage,
        }

    def __str__(self) -> str:
        where = self.table if self.row is None else f"{self.table} {self.row}"
        return f"{self.rule}: {where}: found {self.found}, expected {self.expected}"

"""What an action answers: the entry it made, what moved, and what the person should know.

Amounts are integers of thousandths inside; base units in JSON.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from stock.book.containers import container_now
from stock.book.posting import Posting
from stock.book.tables import entry, movement
from stock.units import format_amount, from_thousandths


@dataclass(frozen=True, slots=True)
class Moved:
    """So much of a lot, from one place (or container) to another."""

    item: str
    lot: str
    amount: int
    unit: str
    source: str
    target: str
    from_container: str = ""
    to_container: str = ""

    def to_json(self) -> dict[str, Any]:
        """Amount in base units."""
        return {
            "item": self.item,
            "lot": self.lot,
            "amount": from_thousandths(self.amount),
            "unit": self.unit,
            "from": self.source,
            "from_container": self.from_container,
            "to": self.target,
            "to_container": self.to_container,
        }

    def __str__(self) -> str:
        here = f"{self.source} {self.from_container}".rstrip()
        there = f"{self.target} {self.to_container}".rstrip()
        amount = format_amount(self.amount, self.unit)
        return f"{amount} of {self.item} (lot {self.lot}) from {here} to {there}"


@dataclass(frozen=True, slots=True)
class Done:
    """One entry as posted. ``entry`` is None when there was nothing to post."""

    entry: int | None
    kind: str
    day: date
    moved: tuple[Moved, ...] = ()
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Stable keys; days as ISO dates."""
        return {
            "entry": self.entry,
            "kind": self.kind,
            "day": self.day.isoformat(),
            "moved": [moved.to_json() for moved in self.moved],
            "notes": list(self.notes),
        }

    def __str__(self) -> str:
        if self.entry is None:
            return f"{self.kind}: nothing to post"
        what = "; ".join(str(moved) for moved in self.moved) or "noted, nothing moved"
        return f"Entry {self.entry} ({self.kind}): {what}"


def done(posting: Posting, entry_id: int, notes: Sequence[str] = ()) -> Done:
    """What an entry not yet flushed will have done."""
    row = posting.pending_row(entry, entry_id)
    if row is None:
        raise AssertionError("the entry was not appended in this posting")
    moved = []
    for leg in posting.pending(movement):
        if leg["entry_id"] != entry_id:
            continue
        sku, unit = posting.names(leg["item_id"])
        moved.append(
            Moved(
                sku,
                posting.lot_code(leg["lot_id"]),
                leg["amount"],
                unit,
                posting.places[leg["from_place_id"]].code,
                posting.places[leg["to_place_id"]].code,
                _code(posting, leg["from_container_id"]),
                _code(posting, leg["to_container_id"]),
            )
        )
    return Done(entry_id, row["kind"], row["day"], tuple(moved), tuple(notes))


def _code(posting: Posting, container_id: int | None) -> str:
    return "" if container_id is None else container_now(posting, container_id).code

"""Places, and what they hold: a lot, in a container or not, and how much of it.

Amounts are integers of thousandths of the item's base unit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from stock.book.catalogue import HOLDING_KINDS

Key = tuple[int, int, int | None]
"""(place, lot, container): what a balance is kept for."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place of the book."""

    id: int
    code: str
    kind: str
    printer_id: int | None
    channel: str
    feed: str
    item_id: int | None
    capacity: int | None
    unusable_rest: int
    holds: bool = field(init=False)
    """Whether stock can be here (shelf, slot, quarantine)."""

    def __post_init__(self) -> None:
        """``holds`` is asked twice for every movement, so it is worked out once."""
        object.__setattr__(self, "holds", self.kind in HOLDING_KINDS)


@dataclass(slots=True)
class Holding:
    """What one place holds of one lot and container. ``id`` is None until it is written."""

    id: int | None
    place_id: int
    item_id: int
    lot_id: int
    container_id: int | None
    amount: int
    lot_code: str = ""
    owner: str = ""
    sealed_expiry: date | None = None
    received_on: date = date.min
    effective_expiry: date | None = None
    written: int = 0

    @property
    def key(self) -> Key:
        """(place, lot, container)."""
        return self.place_id, self.lot_id, self.container_id

    @property
    def last_day(self) -> date:
        """Last day of use, for sorting: no date at all sorts last."""
        return self.effective_expiry or self.sealed_expiry or date.max

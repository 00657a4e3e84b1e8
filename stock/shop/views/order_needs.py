"""What one order still needs of every item, beside what is here."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stock.plan.snapshot import Snapshot


@dataclass(frozen=True, slots=True)
class NeedRow:
    """One item: how much the order needs and how much is here, base units."""

    item: str
    unit: str
    amount: float
    on_hand: float


@dataclass(frozen=True, slots=True)
class OrderNeeds:
    """All items of one order."""

    order: str
    lines: tuple[NeedRow, ...]


def needs_in(snapshot: Snapshot, order: str) -> OrderNeeds:
    """Needs of the order's lines not yet printed; misprints are not counted here."""
    need: dict[str, float] = defaultdict(float)
    for line in snapshot.order_lines:
        if line.order == order:
            for use in line.uses:
                need[use.item] += use.amount * line.pieces
    here: dict[str, float] = defaultdict(float)
    for lot in snapshot.stock:
        if lot.place_kind != "quarantine" and not lot.owner:
            here[lot.item] += lot.amount
    units = {item.sku: item.unit for item in snapshot.items}
    return OrderNeeds(
        order,
        tuple(NeedRow(sku, units[sku], amount, here[sku]) for sku, amount in sorted(need.items())),
    )

"""What another number of packs would mean: the plan of one item with that order on the way."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

from stock.plan.decisions import ReorderLine
from stock.plan.snapshot import OnOrder, Snapshot, StockLot

ORDERED = "this order"


@dataclass(frozen=True, slots=True)
class Consequence:
    """Of ordering so many packs of a line.

    Args:
        packs, amount: What would be ordered, base units.
        stockout_chance: Chance of running out before the next chance to order delivers.
        left_at_expiry: Expected rest of this order when a lot delivered now would expire, base
            units; None where it does not expire.
    """

    packs: int
    amount: float
    stockout_chance: float
    left_at_expiry: float | None


def consequence(snapshot: Snapshot, line: ReorderLine, packs: int) -> Consequence:
    """Plan the line's item alone with ``packs`` packs of its offer on order.

    Raises:
        KeyError: The line's item or offer is not in the snapshot.
    """
    from stock.plan.decide import plan
    from stock.plan.expiry import expiring

    item = next(one for one in snapshot.items if one.sku == line.item)
    offer = next(
        one
        for one in snapshot.offers
        if (one.item, one.supplier, one.pack) == (line.item, line.supplier, line.pack)
    )
    amount = packs * offer.amount
    alone = replace(
        snapshot,
        items=(item,),
        stock=tuple(lot for lot in snapshot.stock if lot.item == item.sku),
        on_order=tuple(one for one in snapshot.on_order if one.item == item.sku),
        offers=tuple(one for one in snapshot.offers if one.item == item.sku),
    )
    coming = OnOrder(ORDERED, item.sku, line.supplier, amount, line.order_on or snapshot.day)
    ordered = replace(alone, on_order=(*alone.on_order, coming) if packs else alone.on_order)
    chance = plan(ordered).state(item.sku).stockout_chance
    life = offer.shelf_life_days or item.shelf_life_days
    if life is None or not packs:
        return Consequence(packs, amount, chance, None)
    until = snapshot.day + timedelta(days=round(line.lead_days) + life)
    lot = StockLot(item.sku, ORDERED, "SHELF", "shelf", amount, effective_expiry=until)
    here = replace(alone, stock=(*alone.stock, lot))
    lots = expiring(here, (until - snapshot.day).days)
    left = sum(found.left_mean for found in lots if found.lot == ORDERED)
    return Consequence(packs, amount, chance, left)

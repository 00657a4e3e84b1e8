"""What another number of packs would mean: the plan of one item with that order on the way."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

from stock.plan.decisions import ReorderLine
from stock.plan.snapshot import OnOrder, Snapshot, StockLot

ORDERED = "this order"
LONGEST_DAYS = 180
"""Farther than half a year ahead is guesswork; use goes on at the pace it had (judgement)."""


@dataclass(frozen=True, slots=True)
class Consequence:
    """Of ordering so many packs of a line.

    Args:
        packs, amount: What would be ordered, base units.
        stockout_chance: Chance of running out before the next chance to order delivers.
        before_arrival: Chance of running out before this order is here, however large it is.
        left_at_expiry: Expected rest of this order when a lot delivered now would expire, base
            units; None where it does not expire.
        cost: Price of the packs after breaks, minor units.
        expiry_chance: Chance that some of this order expires; 0 where it does not expire.
    """

    packs: int
    amount: float
    stockout_chance: float
    left_at_expiry: float | None
    cost: float = 0.0
    expiry_chance: float = 0.0
    before_arrival: float = 0.0


def consequence(snapshot: Snapshot, line: ReorderLine, packs: int) -> Consequence:
    """Plan the line's item alone with ``packs`` packs of its offer on order.

    Raises:
        KeyError: The line's item or offer is not in the snapshot.
    """
    from stock.plan.cover import left_at_date, sort_out
    from stock.plan.decide import plan
    from stock.plan.needs import DemandNeeds, course_of, horizon_for
    from stock.plan.price import purchase_cost

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
    before = min(line.runs_dry_before_delivery, chance)
    cost = float(purchase_cost(offer, packs))
    lives = [days for days in (offer.shelf_life_days, item.shelf_life_days) if days]
    if not lives or not packs:
        return Consequence(packs, amount, chance, None, cost, before_arrival=before)
    until = snapshot.day + timedelta(days=round(line.lead_days) + min(lives))
    lot = StockLot(item.sku, ORDERED, "SHELF", "shelf", amount, effective_expiry=until)
    here = replace(alone, stock=(*alone.stock, lot))
    shelf = sort_out(here.stock, here.day)[item.sku]
    needs = DemandNeeds(here, horizon_for(here, min((until - here.day).days, LONGEST_DAYS)))
    left = left_at_date(course_of(needs, [needs.row(item.sku)]), 0, shelf)
    dated = [entry for entry in shelf.counted if entry.last_day is not None]
    place = next(n for n, entry in enumerate(dated) if entry.lot.lot == ORDERED)
    rest = left[place]
    expires = float((rest > 1e-9 * max(amount, 1.0)).mean())
    return Consequence(packs, amount, chance, float(rest.mean()), cost, expires, before)

"""What so many packs cost, and which numbers of packs a supplier will sell.

Packs are whole numbers, money is in minor units. Nothing here knows how many are needed.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stock.demand.known import Floats
from stock.plan.snapshot import Offer

Ints = npt.NDArray[np.int64]


def feasible(offer: Offer, packs: int) -> int:
    """The smallest number of packs on sale that is at least ``packs`` (0 stays 0).

    >>> feasible(Offer("tee", "S", "6", 6.0, 100.0, multiple=4, min_packs=10), 3)
    12
    """
    if packs <= 0:
        return 0
    wanted = max(packs, offer.min_packs, 1)
    return -(-wanted // offer.multiple) * offer.multiple


def purchase_cost(offer: Offer, packs: npt.ArrayLike) -> Floats:
    """Price of ``packs`` packs, all-units or incremental breaks applied, minor units.

    All-units: every pack has the price of the highest break reached. Incremental: packs up to a
    break keep the price before it.

    >>> from stock.plan.snapshot import PriceBreak
    >>> breaks = (PriceBreak(10, 90.0),)
    >>> float(purchase_cost(Offer("tee", "S", "6", 6.0, 100.0, breaks=breaks), 10))
    900.0
    """
    count = np.asarray(packs, float)
    steps = sorted(offer.breaks, key=lambda step: step.from_packs)
    if offer.breaks_kind == "all_units":
        price = np.full(count.shape, float(offer.price_minor))
        for step in steps:
            price = np.where(count >= step.from_packs, step.price_minor, price)
        return np.asarray(price * count)
    total = count * offer.price_minor
    price_before = offer.price_minor
    for step in steps:
        past = np.maximum(count - max(step.from_packs - 1, 0), 0.0)
        total = total + past * (step.price_minor - price_before)
        price_before = step.price_minor
    return np.asarray(total)


def candidate_packs(offer: Offer, low: float, high: float, limit: int = 64) -> Ints:
    """Numbers of packs worth comparing between amounts ``low`` and ``high`` (base units).

    Every feasible number when there are at most ``limit``; else evenly spread ones, and always
    those at the price breaks in between and beyond.
    """
    step = offer.multiple
    first = feasible(offer, max(1, int(np.ceil(low / offer.amount - 1e-6))))
    last = max(first, feasible(offer, max(1, int(np.ceil(high / offer.amount - 1e-6)))))
    count = (last - first) // step + 1
    if count <= limit:
        packs = first + step * np.arange(count)
    else:
        packs = first + step * np.unique(np.rint(np.linspace(0, count - 1, limit)).astype(int))
    at_breaks = [feasible(offer, brk.from_packs) for brk in offer.breaks]
    near = [n for n in at_breaks if first <= n <= last]
    beyond = [n for n in at_breaks if n > last]
    return np.unique(np.concatenate([packs, np.array(near + beyond, int)])).astype(np.int64)


def unit_price(offer: Offer) -> float:
    """Plain price of one base unit, before any break, minor units."""
    return offer.price_minor / offer.amount


def breaks_as_order_cost(offer: Offer) -> float:
    """What an order past the last incremental break pays once over the last price, minor units.

    The packs before each break cost more, whatever the order's size: to the lot this is one more
    cost of ordering (Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., section 3.4.2).

    >>> from stock.plan.snapshot import PriceBreak
    >>> breaks = (PriceBreak(11, 90.0),)
    >>> breaks_as_order_cost(Offer("tee", "S", "6", 6.0, 100.0, 1, 1, breaks, "incremental"))
    100.0
    """
    if offer.breaks_kind != "incremental":
        return 0.0
    paid, price = 0.0, offer.price_minor
    for step in sorted(offer.breaks, key=lambda step: step.from_packs):
        paid += max(step.from_packs - 1, 0) * (price - step.price_minor)
        price = step.price_minor
    return paid

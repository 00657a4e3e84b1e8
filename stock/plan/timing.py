"""When an order to a supplier goes out, comes in, and when the next one could.

Offsets are calendar days from the snapshot's day. Lead times are drawn once per supplier and
path, so that all lines of one order come together. Nothing here knows what is ordered.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property

import numpy as np

from stock.demand.known import Bools, Floats
from stock.plan.lead_time import (
    Arrivals,
    Ints,
    LeadTime,
    lead_time_of,
    levels,
    order_day,
)
from stock.plan.snapshot import Snapshot, SupplierTerms

CHANCES = 4
"""Later orders looked at that may come before today's."""


@dataclass(frozen=True, eq=False)
class Timing:
    """One supplier's calendar from the snapshot's day on.

    Args:
        order_offset: Day the order goes out.
        next_offset: Day of the order after the next review.
        arrive: When today's order is on the shelf, per path; it serves that day's need.
        next_arrive: When the next delivery after it is here, per path. Where deliveries do not
            overtake each other that is the next chance's, at least a day later; where they do, the
            first of the next four chances', which may come before today's order.
        overtaken: Paths on which deliveries may overtake each other.
        look: A day from ``arrive`` to before ``next_arrive``, evenly drawn, per path.
        weight: How many days that is over its mean; 0 where today's order comes too late to
            matter.
    """

    supplier: SupplierTerms
    lead: LeadTime
    arrivals: Arrivals
    order_offset: int
    next_offset: int
    arrive: Ints
    next_arrive: Ints
    overtaken: Bools
    look: Ints
    weight: Floats

    @cached_property
    def nine_in_ten(self) -> tuple[int, int]:
        """Days between which today's order is here nine times in ten."""
        ranked = np.sort(self.arrive)
        edge = len(ranked) // 20
        return int(ranked[edge]), int(ranked[-1 - edge])

    @cached_property
    def mean_lead_days(self) -> float:
        """Mean calendar days from the snapshot's day to the delivery of today's order."""
        return float(self.arrive.mean())

    @property
    def protection_days(self) -> float:
        """Mean calendar days until the next chance's delivery."""
        return float(self.next_arrive.mean())

    @cached_property
    def longest_days(self) -> int:
        """Latest delivery of the next chance's order over all paths."""
        return int(self.next_arrive.max())


def time_suppliers(
    snapshot: Snapshot, suppliers: Iterable[SupplierTerms], paths: int, said: list[str]
) -> dict[str, Timing]:
    """Each supplier's timing; one that takes no order within a year is reported and left out."""
    timed: dict[str, Timing] = {}
    for supplier in suppliers:
        try:
            timed[supplier.code] = time_supplier(snapshot, supplier, paths)
        except ValueError as wrong:
            said.append(f"{str(wrong)[0].upper()}{str(wrong)[1:]}; its offers are left out.")
    return timed


def time_supplier(snapshot: Snapshot, supplier: SupplierTerms, paths: int) -> Timing:
    """Draw one supplier's timing.

    Raises:
        ValueError: When it takes no order within a year.
    """
    settings = snapshot.settings
    day = snapshot.day
    review = max(1, settings.review_days)
    first = (order_day(supplier, day, snapshot.hour) - day).days
    again = (order_day(supplier, day + timedelta(days=review), snapshot.hour) - day).days
    lead = lead_time_of(supplier, day)
    arrivals = Arrivals(supplier, settings, day)
    seed, code = settings.seed, supplier.code
    fixed = {(out - day).days: (here - day).days for out, here in supplier.announced}

    def come(out: int, turn: int) -> Ints:
        if out in fixed:
            return np.full(paths, max(fixed[out], out), np.int64)
        return arrivals.after(out)(lead.quantile(levels(paths, seed, code, turn)))

    arrive = come(first, 0)
    chances = []
    for turn in range(1, 1 + CHANCES):
        later = day + timedelta(days=turn * review)
        out = (order_day(supplier, later, snapshot.hour) - day).days
        chances.append(come(out, turn))
    in_turn = np.maximum(chances[0], arrive + 1)
    overtaken = levels(paths, seed, code, "overtaken") < lead.overtaking
    if again in fixed:
        overtaken[:] = True
    first_next = np.where(overtaken, np.min(chances, axis=0), in_turn)
    days = np.maximum(first_next - arrive, 0)
    share = levels(paths, seed, code, "look")
    look = arrive + np.floor(share * days).astype(np.int64)
    weight = days / max(float(days.mean()), 1e-9)
    return Timing(
        supplier, lead, arrivals, first, again, arrive, first_next, overtaken, look, weight
    )

"""When an order to a supplier goes out, comes in, and when the next one could.

Offsets are calendar days from the snapshot's day. Lead times are drawn once per supplier and
path, so that all lines of one order come together. Nothing here knows what is ordered.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from stock.plan.lead_time import (
    Arrivals,
    Ints,
    LeadTime,
    lead_time_of,
    levels,
    order_day,
)
from stock.plan.snapshot import Snapshot, SupplierTerms


@dataclass(frozen=True, eq=False)
class Timing:
    """One supplier's calendar from the snapshot's day on.

    Args:
        order_offset: Day the order goes out.
        next_offset: Day of the order after the next review.
        arrive: When today's order is on the shelf, per path; it serves that day's need.
        next_arrive: When the next chance's order is, at least a day later.
        look: A day between the two, evenly drawn, per path.
    """

    supplier: SupplierTerms
    lead: LeadTime
    arrivals: Arrivals
    order_offset: int
    next_offset: int
    arrive: Ints
    next_arrive: Ints
    look: Ints

    @property
    def mean_lead_days(self) -> float:
        """Mean calendar days from the snapshot's day to the delivery of today's order."""
        return float(self.arrive.mean())

    @property
    def protection_days(self) -> float:
        """Mean calendar days until the next chance's delivery."""
        return float(self.next_arrive.mean())

    @property
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
    arrive = arrivals.after(first)(lead.quantile(levels(paths, settings.seed, supplier.code, 0)))
    after = arrivals.after(again)(lead.quantile(levels(paths, settings.seed, supplier.code, 1)))
    after = np.maximum(after, arrive + 1)
    share = levels(paths, settings.seed, supplier.code, 2)
    look = arrive + np.floor(share * (after - arrive)).astype(np.int64)
    return Timing(supplier, lead, arrivals, first, again, arrive, after, look)

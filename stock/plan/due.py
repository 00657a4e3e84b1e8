"""Open purchase lines and when each is expected, timed anew from what its supplier has shown.

Days are calendar days from the snapshot's day, one per path. Nothing here orders.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stock.plan.lead_time import Ints, due_offsets, levels
from stock.plan.snapshot import OnOrder, Snapshot
from stock.plan.timing import Timing


@dataclass(frozen=True, eq=False)
class Due:
    """An open purchase line and when it is expected, per path and in the mean."""

    line: OnOrder
    days: Ints

    @property
    def mean_day(self) -> float:
        """Mean days from the snapshot's day."""
        return float(self.days.mean())

    @property
    def late_day(self) -> int:
        """Day it is here by with chance .9."""
        return int(np.quantile(self.days, 0.9, method="inverted_cdf"))


def due_lines(snapshot: Snapshot, timings: dict[str, Timing], paths: int) -> dict[str, list[Due]]:
    """Open purchase lines by item, each timed anew from what its supplier has shown."""
    found: dict[str, list[Due]] = {}
    for line in snapshot.on_order:
        if not (line.amount > 0 and np.isfinite(line.amount)):
            continue
        timing = timings.get(line.supplier)
        u = levels(paths, snapshot.settings.seed, "open purchase", line.supplier, line.purchase)
        fixed = dict(timing.supplier.announced) if timing is not None else {}
        if line.ordered_on in fixed:
            days = np.full(paths, max((fixed[line.ordered_on] - snapshot.day).days, 1), np.int64)
        elif timing is not None:
            days = due_offsets(line, timing.lead, timing.arrivals, snapshot.day, u)
        elif line.promised_on is not None and line.promised_on > snapshot.day:
            days = np.full(paths, (line.promised_on - snapshot.day).days, np.int64)
        else:
            days = np.full(paths, snapshot.settings.review_days, np.int64)
        found.setdefault(line.item, []).append(Due(line, days))
    return found

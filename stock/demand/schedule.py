"""Maintenance supplies used by schedule: every so many prints or days, whichever comes first.

Prints are garments printed, days are calendar days from the planning day.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import numpy.typing as npt

from stock.demand.known import ItemTerms


def services_per_day(
    item: ItemTerms, prints: npt.NDArray[np.float32], day: date
) -> npt.NDArray[np.float32]:
    """Services on each day of each path, shape of ``prints`` (paths, days).

    A service falls due on the day on which the prints since the last one reach ``every_prints``
    or the days since it reach ``every_days``; both counters then begin again. Prints beyond the
    mark count towards the next service. When it was never used it is as good as new on ``day``.
    An overdue service falls on the first day.
    """
    paths, days = prints.shape
    services = np.zeros((paths, days), np.float32)
    printed = np.full(paths, item.prints_since_used, float)
    last = item.last_used_on or day
    waited = np.full(paths, float((day - last).days))
    for today in range(days):
        if today:
            waited += 1
        printed += prints[:, today]
        due = np.zeros(paths)
        if item.every_prints:
            due = np.floor(printed / item.every_prints)
            printed -= due * item.every_prints
        if item.every_days:
            by_days = (waited >= item.every_days) & (due == 0)
            printed[by_days] = 0.0
            due = np.where(by_days, 1.0, due)
        waited[due > 0] = 0.0
        services[:, today] = due
    return services

"""Weeks in which an item ran out: what was used is a floor of what was wanted.

Amounts are in the series' own unit.
"""

from __future__ import annotations

import numpy as np

from stock.demand.known import Bools, Floats

NEAR_WEEKS = 26


def lift_floors(values: Floats, stocked_out: Bools) -> Floats:
    """Replace each stocked-out week by the mean of nearby good weeks at or above its floor.

    That is the mean of demand given that it was at least what was used, from the weeks within
    half a year on either side in which the item did not run out. With no such week the floor
    itself stands.

    Args:
        values: Use per week, shape (series, weeks); NaN before an item existed.
        stocked_out: Weeks in which the item ran out, same shape.

    >>> import numpy as np
    >>> lift_floors(np.array([[4.0, 6, 1, 5]]), np.array([[False, False, True, False]])).tolist()
    [[4.0, 6.0, 5.0, 5.0]]
    """
    if not stocked_out.any():
        return values
    lifted = values.copy()
    for row, week in np.argwhere(stocked_out & ~np.isnan(values)):
        near = slice(max(0, week - NEAR_WEEKS), week + NEAR_WEEKS + 1)
        good = values[row, near][~stocked_out[row, near]]
        above = good[good >= values[row, week]]
        if above.size:
            lifted[row, week] = above.mean()
    return lifted


def fill_gaps(values: Floats) -> Floats:
    """Fill weeks that are unknown after a series began with the mean of its nearest known weeks.

    >>> import numpy as np
    >>> fill_gaps(np.array([[np.nan, 4.0, np.nan, 8.0]])).tolist()
    [[nan, 4.0, 6.0, 8.0]]
    """
    unknown = np.isnan(values)
    began = np.maximum.accumulate(~unknown, axis=1)
    gaps = unknown & began
    if not gaps.any():
        return values
    filled = values.copy()
    for row in np.flatnonzero(gaps.any(axis=1)):
        known = np.flatnonzero(~unknown[row])
        for week in np.flatnonzero(gaps[row]):
            after = np.searchsorted(known, week)
            near = known[max(0, after - 1) : after + 1]
            filled[row, week] = values[row, near].mean()
    return filled

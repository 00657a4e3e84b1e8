"""Series too short for the pool: a mean and a spread borrowed from the others.

Amounts are in the series' own unit; spreads are relative and have none.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from stock.demand.known import Floats
from stock.demand.quantile_tables import gamma_at_levels

USUAL_CV2: Final = 1.0
"""Squared coefficient of variation of a week where nothing is known: a judgement, no source."""
CV2_WORTH: Final = 8.0
"""Weeks the borrowed spread counts for."""
LEVEL_CV2: Final = 0.5
"""Squared relative error of a level known from one week only, per week: a judgement."""


def usual_cv2(values: Floats) -> float:
    """Median squared coefficient of variation of a week, over the series with demand."""
    known = (~np.isnan(values)).sum(axis=1)
    enough = (known >= 12) & (np.nansum(values, axis=1) > 0)
    if not enough.any():
        return USUAL_CV2
    rows = values[enough]
    return float(np.median(np.nanvar(rows, axis=1) / np.nanmean(rows, axis=1) ** 2))


def young_quantiles(values: Floats, horizon: int, borrowed_cv2: float) -> Floats:
    """Quantiles of h-week totals of short series.

    The mean is that of the known weeks; a week's squared relative spread is the series' own pulled
    towards the borrowed one; and the level itself is uncertain, the more the fewer weeks.

    Args:
        values: Use per week, shape (series, weeks), NaN before a series began; each known in at
            least one week.

    Returns:
        Quantiles at the kept levels, shape (series, H, levels).
    """
    known = (~np.isnan(values)).sum(axis=1)
    mean = np.nansum(values, axis=1) / known
    safe = np.maximum(mean, 1e-300)
    own = np.nansum((np.nan_to_num(values) - mean[:, None]) ** 2 * ~np.isnan(values), axis=1)
    cv2 = (own / safe**2 + CV2_WORTH * borrowed_cv2) / (known + CV2_WORTH)
    h = np.arange(1, horizon + 1)[None, :]
    level = (LEVEL_CV2 + cv2)[:, None] / known[:, None]
    variance = mean[:, None] ** 2 * (h * cv2[:, None] + h**2 * level)
    return gamma_at_levels(mean[:, None] * h, variance)

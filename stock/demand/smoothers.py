"""Levels and trends of many series at once, at every week of their past.

Arrays are (weeks, series): a week's values lie side by side. Amounts per week in the series' own
unit; every series is known in every week given here.
"""

from __future__ import annotations

import numpy as np

from stock.demand.known import Floats


def smoothed(values: Floats, alpha: float) -> Floats:
    """Exponentially smoothed level after each week.

    The first weeks count equally (weight 1/(t + 1) until that falls below ``alpha``), so the start
    does not hang on the first value.
    """
    level = np.empty_like(values)
    level[0] = values[0]
    for week in range(1, len(values)):
        weight = max(alpha, 1 / (week + 1))
        np.subtract(values[week], level[week - 1], out=level[week])
        level[week] *= weight
        level[week] += level[week - 1]
    return level


def averaged(values: Floats, window: int) -> Floats:
    """Mean of the last ``window`` weeks after each week (of all weeks while there are fewer)."""
    weeks = len(values)
    sums = np.zeros((weeks + 1, values.shape[1]))
    np.cumsum(values, axis=0, out=sums[1:])
    first = np.maximum(np.arange(1, weeks + 1) - window, 0)
    found: Floats = (sums[1:] - sums[first]) / (np.arange(1, weeks + 1) - first)[:, None]
    return found


def damped_trend(
    values: Floats, alpha: float = 0.3, beta: float = 0.1, phi: float = 0.9
) -> tuple[Floats, Floats]:
    """Level and damped trend after each week; the trend starts to learn in week 6.

    Source: Gardner and McKenzie (1985), "Forecasting trends in time series", Management Science
    31, in error-correction form.
    """
    level, trend = np.empty_like(values), np.zeros_like(values)
    level[0] = values[0]
    for week in range(1, len(values)):
        weight = max(alpha, 1 / (week + 1))
        ahead = level[week - 1] + phi * trend[week - 1]
        error = values[week] - ahead
        level[week] = ahead + weight * error
        trend[week] = phi * trend[week - 1]
        if week >= 5:
            trend[week] += beta * weight * error
    return level, trend

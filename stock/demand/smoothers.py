"""Levels and trends of many series at once, at every week of their past.

Arrays are (weeks, series): a week's values lie side by side. Amounts per week in the series' own
unit; every series is known in every week given here.
"""

from __future__ import annotations

import numpy as np

from stock.demand.known import Floats


def smoothed(values: Floats, alpha: float, *, even_start: bool = True) -> Floats:
    """Exponentially smoothed level after each week.

    With ``even_start`` the first weeks count equally (weight 1/(t + 1) until that falls below
    ``alpha``), so the start does not hang on the first value; without, the first value is the
    first level, as in the textbooks.

    >>> import numpy as np
    >>> float(smoothed(np.array([[1.0], [2], [3], [4], [5]]), 0.3, even_start=False)[-1, 0])
    3.2269
    """
    level = np.empty_like(values)
    level[0] = values[0]
    for week in range(1, len(values)):
        weight = max(alpha, 1 / (week + 1)) if even_start else alpha
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


def sparse_rates(
    values: Floats, size_alpha: float, chance_alpha: float, *, even_start: bool = True
) -> tuple[Floats, Floats, Floats]:
    """Chance of any use in a week, mean size of a use, mean squared size; each (series,).

    The chance is smoothed every week, the size only in weeks with use, so that a series that has
    gone quiet fades. Sizes start from the first use.

    Source: Teunter, Syntetos and Babai (2011), "Intermittent demand: linking forecasting to
    inventory obsolescence", European Journal of Operational Research 214.
    """
    used = values > 0
    size = values[used.argmax(axis=0), np.arange(values.shape[1])].copy()
    squared = size**2
    chance = smoothed(used.astype(np.float64), chance_alpha, even_start=even_start)[-1]
    for week in range(len(values)):
        step = size_alpha * used[week]
        size += step * (values[week] - size)
        squared += step * (values[week] ** 2 - squared)
    return chance, size, squared

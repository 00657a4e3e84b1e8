"""The calendar of demand: peak months as stated, or the weeks of the year learnt from all series.

Factors multiply demand and have no unit; months are calendar months 1 to 12, weeks ISO weeks 1 to
53 (week 53 counts as week 52).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Final

import numpy as np

from stock.demand.known import Floats

Season = Mapping[int, float] | Sequence[tuple[int, float]]

LEAST_WEEKS: Final = 104
LEAST_SERIES: Final = 8
_SHRINK_YEARS: Final = 2.0
"""Years of no season the learnt one is pulled towards, in logs: chosen on open data."""


def season_of(season: Season) -> Mapping[int, float]:
    """The factors as a mapping; months not named have factor 1.

    Raises:
        ValueError: A month outside 1–12 or a factor that is not positive.
    """
    pairs = dict(season.items() if isinstance(season, Mapping) else season)
    for month, factor in pairs.items():
        if month not in range(1, 13):
            raise ValueError(f"{month} is not a month (1 to 12)")
        if not (np.isfinite(factor) and factor > 0):
            raise ValueError(f"the peak factor of month {month} is {factor}; expected above 0")
    return pairs


def week_factors(season: Season, mondays: Iterable[date]) -> Floats:
    """Mean factor over the seven days that begin at each given day, shape (weeks,).

    >>> week_factors({12: 2.0}, [date(2026, 11, 30)]).round(4).tolist()
    [1.8571]
    """
    pairs = season_of(season)
    days = list(mondays)
    if not pairs:
        return np.ones(len(days))
    return np.array(
        [sum(pairs.get((day + timedelta(days=k)).month, 1.0) for k in range(7)) / 7 for day in days]
    )


def calendar_factors(
    season: Season, values: Floats, mondays: Sequence[date], start: date, horizon_weeks: int
) -> tuple[Floats, Floats]:
    """Factors of the weeks of the past and of the weeks ahead.

    Stated months are used as they are. Without any, weeks of the year are learnt
    (:func:`learn_weeks`) where there are two years of at least eight series; else all are 1.

    Args:
        values: Use per week, shape (series, weeks).
        mondays: The past weeks.
        start: First day of the first week ahead, any weekday.
    """
    coming = [start + timedelta(days=7 * k) for k in range(horizon_weeks)]
    if season:
        return week_factors(season, mondays), week_factors(season, coming)
    index = learn_weeks(values, mondays)
    if index is None:
        return np.ones(len(mondays)), np.ones(horizon_weeks)
    return index[_week_of(mondays)], index[_week_of(coming)]


def learn_weeks(values: Floats, mondays: Sequence[date]) -> Floats | None:
    """Factor of each week of the year from the mean over all series, shape (52,).

    Each series counts with its own mean as 1; a week's share of the moving average over the
    year around it is averaged in logs over the years, pulled towards none as if two more years
    had none, and smoothed over its neighbours (¼, ½, ¼).

    Returns:
        None with fewer than 104 weeks or fewer than 8 series known throughout.
    """
    whole = ~np.isnan(values).any(axis=1) & (np.nansum(values, axis=1) > 0)
    if len(mondays) < LEAST_WEEKS or whole.sum() < LEAST_SERIES:
        return None
    known = values[whole]
    together = (known / known.mean(axis=1, keepdims=True)).mean(axis=0)
    sums = np.concatenate([[0.0], np.cumsum(together)])
    weeks = np.arange(len(together))
    first, last = np.maximum(weeks - 26, 0), np.minimum(weeks + 27, len(together))
    usual = (sums[last] - sums[first]) / (last - first)
    logs = np.log(np.maximum(together / np.maximum(usual, 1e-12), 0.05))
    place = _week_of(mondays)
    years = np.bincount(place, minlength=52)
    index = np.bincount(place, logs, minlength=52) / (years + _SHRINK_YEARS)
    smooth: Floats = np.exp(0.25 * np.roll(index, 1) + 0.5 * index + 0.25 * np.roll(index, -1))
    return smooth


def _week_of(days: Sequence[date]) -> list[int]:
    return [min(day.isocalendar().week, 52) - 1 for day in days]

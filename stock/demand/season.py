"""Peak months: how much more than usual is printed in a given week.

Factors multiply demand and have no unit; months are calendar months 1 to 12.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

import numpy as np

from stock.demand.known import Floats

Season = Mapping[int, float] | Sequence[tuple[int, float]]


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

"""Forecasts of weekly use as quantiles of the total over the next h weeks, for every h.

What is needed is the total over a protection interval, not a band around one week scaled by √h:
each model gives quantiles of the h-week total directly, and the models' quantiles are averaged.
Amounts are in the series' own unit. Nothing here knows what an item is, or what is on the book.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final

import numpy as np
import numpy.typing as npt

from stock.demand import pool
from stock.demand.classes import classify
from stock.demand.draws import running_ranks
from stock.demand.known import Floats, History
from stock.demand.season import Season, season_of, week_factors
from stock.demand.stocked_out import lift_floors

LEVELS: Final[Floats] = pool.LEVELS


@dataclass(frozen=True, eq=False)
class Forecast:
    """What n series will use over the next H weeks.

    Args:
        keys: Series names, as in the history.
        start: First day of week 1.
        classes: Demand class of each series.
        models: How each series was forecast, in words for the person.
        weekly_mean: Expected use in week 1 … H, shape (n, H).
        levels: Quantile levels between 0 and 1, rising, shape (Q,).
        total_quantiles: Quantiles of the total over the first h weeks, h = 1 … H, shape
            (n, H, Q); never negative, rising in h and in level.
    """

    keys: tuple[str, ...]
    start: date
    classes: tuple[str, ...]
    models: tuple[str, ...]
    weekly_mean: Floats
    levels: Floats
    total_quantiles: Floats
    _rows: dict[str, int] = field(default_factory=dict, repr=False)

    def row(self, key: str) -> int:
        """Position of series ``key``; raises ``KeyError`` when there is none."""
        if not self._rows:
            self._rows.update({name: place for place, name in enumerate(self.keys)})
        return self._rows[key]

    def quantile(self, level: float | Sequence[float], weeks: int) -> Floats:
        """Quantile of the total over the first ``weeks`` weeks, shape (n,) or (n, levels).

        Levels between those kept are interpolated; beyond the outermost they are held.
        """
        wanted = np.atleast_1d(np.asarray(level, float))
        low, weight = _between(self.levels, wanted)
        grid = self.total_quantiles[:, weeks - 1]
        found: Floats = grid[:, low] * (1 - weight) + grid[:, low + 1] * weight
        return found[:, 0] if np.ndim(level) == 0 else found

    def sample(self, rows: Iterable[int], n_paths: int, seed: int) -> npt.NDArray[np.float32]:
        """Weekly paths, shape (rows, n_paths, H), whose h-week totals have these quantiles.

        A series' paths depend on the seed and its key only, not on which rows are asked for.
        Past the outermost levels kept the quantile function is carried on in a straight line.
        """
        chosen = list(rows)
        ranks_at = (np.arange(n_paths) + 0.5) / n_paths
        low, weight = _between(self.levels, ranks_at, beyond=True)
        weeks = self.total_quantiles.shape[1]
        paths = np.empty((len(chosen), n_paths, weeks), np.float32)
        column = np.arange(weeks)
        for place, row in enumerate(chosen):
            grid = self.total_quantiles[row]
            table = grid[:, low] * (1 - weight) + grid[:, low + 1] * weight
            np.maximum(table, 0.0, out=table)
            ranks = running_ranks(seed, self.keys[row], n_paths, weeks, _correlation(grid))
            totals = np.maximum.accumulate(table[column, ranks], axis=1)
            paths[place, :, 0] = totals[:, 0]
            paths[place, :, 1:] = np.diff(totals, axis=1)
        return paths


def forecast(
    history: History,
    horizon_weeks: int,
    *,
    season: Season = (),
    autoets: bool = True,
    seed: int = 20_260_105,
    start: date | None = None,
) -> Forecast:
    """Forecast every series of ``history`` over ``horizon_weeks`` weeks.

    Weeks in which an item ran out are floors and are lifted to what is usual at or above them.
    A series with no use at all is class ``none``, with zero quantiles and a label that says so; a
    series with no known week at all is labelled ``no history`` and must be given a prior.

    Args:
        history: Weekly use; NaN only before a series began.
        horizon_weeks: H, at least 1.
        season: Demand multiplier by month, as a mapping or as (month, factor) pairs; the history
            is divided by it before and the forecast multiplied by it after.
        autoets: Whether AutoETS may take its share (see :mod:`stock.demand.pool`).
        seed: Seed of the block bootstrap.
        start: First day of week 1; default the day after the history's last week.
    """
    if horizon_weeks < 1:
        raise ValueError(f"the horizon is {horizon_weeks} weeks; at least 1 was expected")
    weeks = len(history.mondays)
    first = start or (
        history.mondays[-1].astype(object) + timedelta(days=7) if weeks else date(1970, 1, 5)
    )
    factors = season_of(season)
    past = week_factors(factors, [day.astype(object) for day in history.mondays])
    ahead = week_factors(factors, [first + timedelta(days=7 * k) for k in range(horizon_weeks)])
    values = lift_floors(history.values, history.stocked_out) / past
    classes = classify(history.values)
    pooled = pool.total_quantiles(values, horizon_weeks, classes, autoets=autoets, seed=seed)
    quantiles = pooled.quantiles
    mean = pooled.weekly_mean * ahead
    if np.any(ahead != 1.0):
        stretch = np.cumsum(ahead) / np.arange(1, horizon_weeks + 1)
        quantiles = quantiles * stretch[None, :, None]
    quantiles = np.maximum.accumulate(np.maximum.accumulate(quantiles, axis=2), axis=1)
    return Forecast(
        history.keys, first, tuple(map(str, classes)), pooled.labels, mean, LEVELS, quantiles
    )


def _between(
    levels: Floats, wanted: Floats, *, beyond: bool = False
) -> tuple[npt.NDArray[np.intp], Floats]:
    low = np.clip(np.searchsorted(levels, wanted, side="right") - 1, 0, len(levels) - 2)
    weight = (wanted - levels[low]) / (levels[low + 1] - levels[low])
    return low, weight if beyond else np.clip(weight, 0.0, 1.0)


def _correlation(grid: Floats) -> float:
    """Week-to-week correlation that makes week 1's spread grow into that of all H weeks."""
    weeks = len(grid)
    if weeks == 1:
        return 0.0
    inner = slice(len(LEVELS) // 4, -(len(LEVELS) // 8))
    spread = grid[:, inner].max(axis=1) - grid[:, inner].min(axis=1)
    if spread[0] <= 0:
        return 0.0
    return float(((spread[-1] / spread[0]) ** 2 / weeks - 1) / (weeks - 1))

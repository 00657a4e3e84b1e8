"""Forecasts of weekly use as quantiles of the total over the next h weeks, for every h.

What is needed is the total over a protection interval, not a band around one week scaled by √h:
each model of the pool gives quantiles of the h-week total directly, their quantiles are averaged
with weights by class, and the average is widened where that class asks for it. Amounts are in the
series' own unit. Nothing here knows what an item is, or what is on the book.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from stock.demand import autoets as ets
from stock.demand.alike import KEPT, Alike, calm_rows, learn_alike
from stock.demand.classes import classify
from stock.demand.draws import running_ranks
from stock.demand.known import Bools, Floats, History
from stock.demand.pool import LEAST_WEEKS, MODELS, pool_quantiles
from stock.demand.quantile_tables import LEVELS, MEDIAN
from stock.demand.season import Season, calendar_factors
from stock.demand.stocked_out import fill_gaps, lift_floors
from stock.demand.trust import Trust, learn_trust, some_of
from stock.demand.young import usual_cv2, young_quantiles

_ROWS_AT_ONCE = 512
_SPARSE_MEDIAN = 0.1
"""Week 1's median over its 90 % quantile below which a series counts as sparse in its paths."""
_SPARSE_CORRELATION = 0.6


@dataclass(frozen=True, eq=False)
class Learned:
    """What many series say together, so that each can then be forecast by itself.

    Args:
        trust: Weights of the models and widening, by class.
        alike: Usual widths by class.
        past, ahead: Calendar factors of the past weeks and of the weeks ahead.
        borrowed_cv2: Squared coefficient of variation of a week, for series too short to tell.
        autoets: Whether AutoETS takes its share.
    """

    trust: Trust
    alike: Alike
    past: Floats
    ahead: Floats
    borrowed_cv2: float
    autoets: bool


@dataclass(frozen=True, eq=False)
class Forecast:
    """What n series will use over the next H weeks.

    Args:
        keys: Series names, as in the history.
        start: First day of week 1.
        classes: Demand class of each series.
        models: How each series was forecast, in words for the person.
        weekly_mean: Expected use in week 1 … H, the mean of the quantile functions, shape (n, H).
        levels: Quantile levels between 0 and 1, rising, shape (Q,).
        total_quantiles: Quantiles of the total over the first h weeks, h = 1 … H, shape
            (n, H, Q); never negative, rising in h and in level, not rounded.
        whole: Whether a series counts whole things: :meth:`quantile` and paths are then whole.
        trust: Weights and widening used, by class.
    """

    keys: tuple[str, ...]
    start: date
    classes: tuple[str, ...]
    models: tuple[str, ...]
    weekly_mean: Floats
    levels: Floats
    total_quantiles: Floats
    whole: Bools
    trust: Trust
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
        found[self.whole] = np.rint(found[self.whole])
        return found[:, 0] if np.ndim(level) == 0 else found

    def draw(self, row: int, n_paths: int, seed: int) -> npt.NDArray[np.float32]:
        """Weekly paths of one series, shape (H, n_paths), whose h-week totals have its quantiles.

        They depend on the seed and the series' key only. Past the outermost levels kept the
        quantile function is carried on in a straight line. Whole things are drawn whole, rounded
        up in as many paths as the fraction says, so that rare use keeps its mean.
        """
        grid = self.total_quantiles[row]
        weeks = len(grid)
        table = grid.astype(np.float32) @ _reading(n_paths)
        np.maximum(table, 0.0, out=table)
        ranks, turn = running_ranks(
            seed, self.keys[row], n_paths, weeks, _correlation(grid), _skew(grid[0])
        )
        totals = np.take_along_axis(table, ranks, axis=1)
        if self.whole[row]:
            totals += _thresholds(n_paths)
            np.floor(totals, out=totals)
        np.maximum.accumulate(totals, axis=0, out=totals)
        totals[1:] -= totals[:-1].copy()
        return np.roll(totals, turn, axis=1)

    def sample(self, rows: Iterable[int], n_paths: int, seed: int) -> npt.NDArray[np.float32]:
        """Weekly paths of these series (see :meth:`draw`), shape (rows, n_paths, H)."""
        chosen = list(rows)
        weeks = self.total_quantiles.shape[1]
        paths = np.empty((len(chosen), weeks, n_paths), np.float32)
        for place, row in enumerate(chosen):
            paths[place] = self.draw(row, n_paths, seed)
        return paths.transpose(0, 2, 1)


def forecast(
    history: History,
    horizon_weeks: int,
    *,
    season: Season = (),
    autoets: bool = False,
    seed: int = 20_260_105,
    start: date | None = None,
    learned: Learned | None = None,
) -> Forecast:
    """Forecast every series of ``history`` over ``horizon_weeks`` weeks.

    Weeks in which an item ran out are floors and are lifted to what is usual at or above them.
    A series with no use at all is class ``none``, with zero quantiles and a label that says so; a
    series with no known week is labelled ``no history``. Series of fewer than 12 weeks take
    their spread from the others.

    Args:
        history: Weekly use; NaN before a series began (NaN later is filled from its neighbours).
        horizon_weeks: H, at least 1.
        season: Demand multiplier by month, as a mapping or as (month, factor) pairs; empty: learnt
            over all series where there are two years of them. The history is divided by it
            before and the forecast multiplied by it after.
        autoets: Whether AutoETS takes a share where it may (see :mod:`stock.demand.autoets`).
        seed: Which series are looked back on where there are many.
        start: First day of week 1; default the day after the history's last week.
        learned: What to take over instead of learning it from these series (:func:`learn`); with
            it each series is forecast by itself, whatever others are beside it.

    Raises:
        ValueError: A horizon below 1 week, or negative or infinite use.
    """
    if horizon_weeks < 1:
        raise ValueError(f"the horizon is {horizon_weeks} weeks; at least 1 was expected")
    raw = _usable(history)
    classes = classify(raw)
    first = start or _day_after(history)
    if learned is None:
        learned = learn(
            history, horizon_weeks, season=season, autoets=autoets, seed=seed, start=first
        )
    found = _Found(calm_rows(raw / learned.past, classes), classes, horizon_weeks)
    found.fill_from_pool(learned.trust)
    if learned.autoets:
        found.add_autoets()
    found.widen(learned.trust)
    found.settle(learned.alike)
    found.fill_young(learned.borrowed_cv2)
    whole = np.array([bool(np.all(row[~np.isnan(row)] % 1 == 0)) for row in history.values], bool)
    quantiles = found.quantiles
    np.maximum(quantiles, 0.0, out=quantiles)
    stretch = np.cumsum(learned.ahead) / np.arange(1, horizon_weeks + 1)
    quantiles *= stretch[None, :, None]
    np.maximum.accumulate(quantiles, axis=2, out=quantiles)
    np.maximum.accumulate(quantiles, axis=1, out=quantiles)
    return Forecast(
        history.keys,
        first,
        tuple(map(str, classes)),
        tuple(found.labels),
        np.diff(quantiles @ _mean_weights(), axis=1, prepend=0.0),
        LEVELS,
        quantiles,
        whole,
        learned.trust,
    )


def learn(
    history: History,
    horizon_weeks: int,
    *,
    season: Season = (),
    autoets: bool = False,
    seed: int = 20_260_105,
    start: date | None = None,
) -> Learned:
    """What the series of ``history`` say together; arguments as :func:`forecast`."""
    raw = _usable(history)
    classes = classify(raw)
    mondays = [day.astype(object) for day in history.mondays]
    first = start or _day_after(history)
    past, ahead = calendar_factors(season, raw, mondays, first, horizon_weeks)
    values = raw / past
    known = (~np.isnan(raw)).sum(axis=1)
    trust = learn_trust(values, classes, horizon_weeks, seed)
    return Learned(
        trust,
        _learn_alike(values, classes, horizon_weeks, trust, seed),
        past,
        ahead,
        usual_cv2(values),
        autoets and bool(len(ets.rows_for(classes, known))),
    )


def _learn_alike(
    values: Floats, classes: npt.NDArray[np.str_], horizon: int, trust: Trust, seed: int
) -> Alike:
    """Usual widths from as many series of each class as :func:`learn_trust` looks at."""
    long_enough = (~np.isnan(values)).sum(axis=1) >= LEAST_WEEKS
    asked = [some_of(np.flatnonzero((classes == name) & long_enough), seed) for name in KEPT]
    rows = np.concatenate(asked)
    if not len(rows):
        return Alike()
    found = _Found(calm_rows(values[rows], classes[rows]), classes[rows], horizon)
    found.fill_from_pool(trust)
    found.widen(trust)
    return learn_alike(found.quantiles, found.values, classes[rows])


def _usable(history: History) -> Floats:
    if np.any(history.values < 0) or np.any(np.isinf(history.values)):
        raise ValueError("weekly use holds a negative or infinite amount")
    return lift_floors(fill_gaps(history.values), history.stocked_out)


def _day_after(history: History) -> date:
    if not len(history.mondays):
        return date(1970, 1, 5)
    last: date = history.mondays[-1].astype(object)
    return last + timedelta(days=7)


class _Found:
    """Quantiles of every series as they are gathered."""

    def __init__(self, values: Floats, classes: npt.NDArray[np.str_], horizon: int) -> None:
        self.values, self.classes, self.horizon = values, classes, horizon
        known = ~np.isnan(values)
        self.known_weeks = known.sum(axis=1)
        self.quantiles = np.zeros((len(values), horizon, len(LEVELS)))
        self.labels = [
            "no history" if not weeks else f"no use in {weeks} week{'s' if weeks > 1 else ''}"
            for weeks in self.known_weeks
        ]
        self.pooled = (self.known_weeks >= LEAST_WEEKS) & (classes != "none")

    def _blocks(self) -> Iterator[tuple[npt.NDArray[np.intp], Floats]]:
        """Rows known from the same week on, some hundred at a time.

        Long pasts are cut to a multiple of eight weeks, so that there are few different lengths.
        """
        weeks = self.known_weeks
        length = np.where(weeks > 40, np.maximum(40, weeks // 8 * 8), weeks)
        length[weeks == self.values.shape[1]] = self.values.shape[1]
        for one in np.unique(length[self.pooled]):
            rows = np.flatnonzero(self.pooled & (length == one))
            for begin in range(0, len(rows), _ROWS_AT_ONCE):
                part = rows[begin : begin + _ROWS_AT_ONCE]
                yield part, self.values[part, -int(one) :]

    def fill_from_pool(self, trust: Trust) -> None:
        """Average the models' quantiles with each class's weights."""
        horizons = range(1, self.horizon + 1)
        for rows, block in self._blocks():
            names = self.classes[rows]
            weights = np.array([trust.weights[str(name)] for name in names]).T
            place_of = {model: place for place, model in enumerate(MODELS)}
            gathered = np.zeros((self.horizon, len(rows), len(LEVELS)))
            for h, model, found in pool_quantiles(block, horizons):
                np.maximum(found, 0.0, out=found)
                found *= weights[place_of[model]][:, None]
                gathered[h] += found
            self.quantiles[rows] = gathered.transpose(1, 0, 2)
        for row in np.flatnonzero(self.pooled):
            self.labels[row] = f"average of {len(MODELS)} models"

    def add_autoets(self) -> None:
        """Give AutoETS its share in the series it takes part in."""
        for row in ets.eligible(self.classes, self.known_weeks):
            series = self.values[row, -int(self.known_weeks[row]) :]
            found = ets.autoets_quantiles(series, self.horizon)
            if found is not None:
                self.quantiles[row] += ets.SHARE * (found - self.quantiles[row])
                self.labels[row] += " and AutoETS"

    def widen(self, trust: Trust) -> None:
        """Move each quantile away from the median by its class's factor."""
        for name in trust.widening:
            rows = np.flatnonzero(self.pooled & (self.classes == name))
            middle = self.quantiles[rows, :, MEDIAN : MEDIAN + 1]
            self.quantiles[rows] = middle + trust.stretch(name) * (self.quantiles[rows] - middle)

    def settle(self, alike: Alike) -> None:
        """Draw the upper quantiles of series alike together."""
        rows = np.flatnonzero(self.pooled)
        if not len(rows) or not alike.usual:
            return
        settled = self.quantiles[rows]
        alike.settle(settled, self.values[rows], self.classes[rows])
        self.quantiles[rows] = settled

    def fill_young(self, borrowed_cv2: float) -> None:
        """Series of fewer than 12 known weeks."""
        rows = np.flatnonzero(~self.pooled & (self.known_weeks > 0) & (self.classes != "none"))
        if not len(rows):
            return
        self.quantiles[rows] = young_quantiles(self.values[rows], self.horizon, borrowed_cv2)
        for row in rows:
            weeks = self.known_weeks[row]
            of = "1 week" if weeks == 1 else f"{weeks} weeks"
            self.labels[row] = f"mean of {of}, spread of the others"


def _between(
    levels: Floats, wanted: Floats, *, beyond: bool = False
) -> tuple[npt.NDArray[np.intp], Floats]:
    low = np.clip(np.searchsorted(levels, wanted, side="right") - 1, 0, len(levels) - 2)
    weight = (wanted - levels[low]) / (levels[low + 1] - levels[low])
    return low, weight if beyond else np.clip(weight, 0.0, 1.0)


@lru_cache(maxsize=4)
def _reading(n_paths: int) -> npt.NDArray[np.float32]:
    """Weights that read the quantile function at (rank + ½)/n_paths, shape (levels, paths)."""
    low, part = _between(LEVELS, (np.arange(n_paths) + 0.5) / n_paths, beyond=True)
    weights = np.zeros((len(LEVELS), n_paths), np.float32)
    weights[low, np.arange(n_paths)] = 1 - part
    weights[low + 1, np.arange(n_paths)] = part
    return weights


@lru_cache(maxsize=4)
def _thresholds(n_paths: int) -> npt.NDArray[np.float32]:
    """Numbers spread evenly over 0 to 1, one per path (multiples of the golden section)."""
    return (np.arange(n_paths) * 0.6180339887498949 % 1).astype(np.float32)


@lru_cache(maxsize=1)
def _mean_weights() -> Floats:
    """Weight of each kept quantile in the mean, the function running straight between them."""
    ranks = (np.arange(20_000) + 0.5) / 20_000
    low, part = _between(LEVELS, ranks, beyond=True)
    weights = np.zeros(len(LEVELS))
    np.add.at(weights, low, 1 - part)
    np.add.at(weights, low + 1, part)
    found: Floats = weights / len(ranks)
    return found


def _skew(first: Floats) -> float:
    """Spread of the logarithm of a week whose tail is at least as heavy as week 1's.

    That of the lognormal with its median and 95 % quantile, half as much again: what running
    totals are raised by when a rank falls back is then least (tried on open data).
    """
    middle, high = first[MEDIAN], first[np.searchsorted(LEVELS, 0.95)]
    if middle <= 0.02 * high:
        return 2.5
    return float(1.5 * np.log(high / middle) / 1.645)


def _correlation(grid: Floats) -> float:
    """Week-to-week correlation that makes week 1's spread grow into that of all H weeks.

    Where most weeks have hardly any use it is held high: paths that keep their place do so without
    a total falling back, which would be made good at the cost of the mean.
    """
    weeks = len(grid)
    if weeks == 1:
        return 0.0
    low, high = np.searchsorted(LEVELS, (0.1, 0.9))
    spread = grid[:, high] - grid[:, low]
    if spread[0] <= 0:
        return 1.0
    grown = float(((spread[-1] / spread[0]) ** 2 / weeks - 1) / (weeks - 1))
    sparse = grid[0, MEDIAN] < _SPARSE_MEDIAN * grid[0, high]
    return max(grown, _SPARSE_CORRELATION) if sparse else grown

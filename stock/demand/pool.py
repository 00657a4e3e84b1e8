"""The pool: cheap models that each say what the total over the next h weeks will be.

Every model gives a mean and a variance of the h-week total and a shape (gamma or normal); the
variance is what its own h-week forecasts were wrong by in the past, not a week's error scaled by
√h. Amounts are in the series' own unit; nothing here looks at a calendar.

    one-step        level smoothed at the rate that fits the series' one-week errors best, as
                    exponential smoothing with additive errors: normal, and gamma
    scaled fast     level smoothed at 0.5, errors growing with the root of the level: gamma
    scaled mix      rates 0.05 … 0.5 mixed by past h-week errors, growing with the level: gamma
    direct mix      the same mix, errors as they were: gamma
    discounted      mean and variance of all past weeks, fading by 0.9, 0.95, 0.98 a week: gamma
    recent errors   level smoothed at 0.2, h-week errors fading by 0.95 a week: gamma
    slow average    four-week average smoothed at 0.2, h-week errors: gamma
    damped trend    level and fading trend, h-week errors: gamma
    sparse          chance of any use and size of a use smoothed apart at 0.2, weeks independent
                    but for the doubt about the level: gamma
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from stock.demand.known import Floats
from stock.demand.quantile_tables import gamma_at_levels, normal_at_levels
from stock.demand.smoothers import averaged, damped_trend, smoothed, sparse_rates

MODELS: Final = (
    "one-step normal",
    "one-step gamma",
    "scaled fast",
    "scaled mix",
    "direct mix",
    "discounted 0.9",
    "discounted 0.95",
    "discounted 0.98",
    "recent errors",
    "slow average",
    "damped trend",
    "sparse",
)
LEAST_WEEKS: Final = 12
"""Known weeks below which the pool is not asked."""

_ALPHAS: Final = (0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7)
_ONE_STEP_PENALTY: Final = (1.0, 1.0, 1.0, 1.0, 1.0, 1.01, 1.02)
_MIXED: Final = (0.05, 0.1, 0.2, 0.3, 0.5)
_MIX_PENALTY: Final = (1.02, 1.0, 1.0, 1.02, 1.05)
_BURN: Final = 4
_FLOOR: Final = 0.2
"""Share of the whole past's mean below which no level is taken to have fallen."""
_PHI: Final = 0.9
_SPARSE: Final = 0.2


def reach_of(weeks: int, horizon: int) -> int:
    """Longest total whose past errors ``weeks`` weeks can show: at least about three apart."""
    return max(1, min(horizon, (weeks - _BURN) // 3))


def pool_quantiles(values: Floats, horizons: Sequence[int]) -> Iterator[tuple[int, str, Floats]]:
    """Each model's quantiles of the h-week total, one (h, model, quantiles) at a time.

    Args:
        values: Use per week, shape (series, weeks), all known, at least 12 weeks.
        horizons: The h asked for, in weeks.

    Yields:
        Place of h in ``horizons``, model name, quantiles at the kept levels, shape (series,
        levels), not yet cut at 0. For an h longer than the past can show, the error variance of
        the longest shown total grows with the 1.5th power of h.
    """
    past = _Past(np.ascontiguousarray(values.T, dtype=np.float64))
    for place, h in enumerate(horizons):
        shown = reach_of(past.weeks, h)
        stretch = (h / shown) ** 1.5
        for model, mean, variance in past.moments(h, shown, stretch):
            shape = normal_at_levels if model == "one-step normal" else gamma_at_levels
            yield place, model, shape(mean, variance)


class _Past:
    """Levels of every series at every week, computed once and used for each h."""

    def __init__(self, values: Floats) -> None:
        self.values = values
        self.weeks = len(values)
        self.sums = np.zeros((self.weeks + 1, values.shape[1]))
        np.cumsum(values, axis=0, out=self.sums[1:])
        self.floor = _FLOOR * self.sums[-1] / self.weeks + 1e-12
        self.level = {alpha: smoothed(values, alpha) for alpha in _ALPHAS}
        self.slow = smoothed(averaged(values, 4), 0.2)
        self.trend_level, self.trend = damped_trend(values, phi=_PHI)
        self.floored = {a: np.maximum(self.level[a], self.floor) for a in _MIXED}
        self._fit_one_step()
        chance, size, squared = sparse_rates(values, _SPARSE, _SPARSE)
        self.sparse_mean = np.maximum(chance * size, self.floor)
        self.sparse_variance = np.maximum(chance * squared - (chance * size) ** 2, 0.0)

    def _fit_one_step(self) -> None:
        errors = np.array(
            [((self.values[3:] - self.level[a][2:-1]) ** 2).mean(axis=0) for a in _ALPHAS]
        )
        best = (errors * np.array(_ONE_STEP_PENALTY)[:, None]).argmin(axis=0)
        series = np.arange(self.values.shape[1])
        self.one_step_rate = np.array(_ALPHAS)[best]
        self.one_step_level = np.array([self.level[a][-1] for a in _ALPHAS])[best, series]
        self.one_step_variance = errors[best, series] * (self.weeks - 3) / (self.weeks - 5)

    def discounted(self, fade: float) -> tuple[Floats, Floats, float]:
        """Faded mean, faded variance and the number of weeks they are worth."""
        weight = fade ** np.arange(self.weeks)[::-1]
        total = weight.sum()
        mean = np.maximum(np.einsum("t,tn->n", weight, self.values) / total, self.floor / 2)
        variance = np.einsum("t,tn->n", weight, (self.values - mean) ** 2) / total
        return mean, variance, float(total**2 / (weight**2).sum())

    def _errors(self, level: Floats, shown: int) -> Floats:
        """What ``shown`` × level, said after week t, was wrong by, for every t past the burn."""
        totals = self.sums[_BURN + shown :] - self.sums[_BURN:-shown]
        found: Floats = totals - shown * level[_BURN - 1 : -shown]
        return found

    def moments(self, h: int, shown: int, stretch: float) -> Iterator[tuple[str, Floats, Floats]]:
        """(model, mean, variance) of the total over the next ``h`` weeks."""
        floor = self.floor
        ahead = np.arange(h)
        grown = (1 + self.one_step_rate[None, :] * ahead[:, None]) ** 2
        variance = self.one_step_variance * grown.sum(axis=0)
        yield "one-step normal", h * self.one_step_level, variance
        yield "one-step gamma", h * np.maximum(self.one_step_level, floor), variance

        squared = {a: self._errors(self.level[a], shown) ** 2 for a in _MIXED}
        direct = np.array([squared[a].mean(axis=0) for a in _MIXED])
        scaled = np.array(
            [
                (squared[a] / self.floored[a][_BURN - 1 : -shown]).mean(axis=0)
                * self.floored[a][-1]
                for a in _MIXED
            ]
        )
        means = np.array([self.floored[a][-1] for a in _MIXED])
        fast = _MIXED.index(0.5)
        yield "scaled fast", h * means[fast], stretch * scaled[fast]

        cost = direct * np.array(_MIX_PENALTY)[:, None]
        trust = (cost.min(axis=0) / np.maximum(cost, 1e-300)) ** 4
        trust[:, cost.min(axis=0) <= 0] = 1.0
        trust /= trust.sum(axis=0)
        mixed = (trust * means).sum(axis=0)
        yield "scaled mix", h * mixed, stretch * (trust * scaled).sum(axis=0)
        yield "direct mix", h * mixed, stretch * (trust * direct).sum(axis=0)

        for fade in (0.9, 0.95, 0.98):
            mean, spread, worth = self.discounted(fade)
            inflated = spread * worth / (worth - 1) * (h + h * h / worth)
            yield f"discounted {fade}", h * mean, inflated

        fading = 0.95 ** np.arange(len(squared[0.2]))[::-1]
        recent = np.einsum("t,tn->n", fading / fading.sum(), squared[0.2])
        yield "recent errors", h * self.floored[0.2][-1], stretch * recent

        slow = (self._errors(self.slow, shown) ** 2).mean(axis=0)
        yield "slow average", h * np.maximum(self.slow[-1], floor), stretch * slow

        drift = _trend_weeks(shown) * self.trend[_BURN - 1 : -shown]
        wrong = ((self._errors(self.trend_level, shown) - drift) ** 2).mean(axis=0)
        mean = h * self.trend_level[-1] + _trend_weeks(h) * self.trend[-1]
        yield "damped trend", np.maximum(mean, h * floor), stretch * wrong

        doubt = h + h * h / (2 / _SPARSE - 1)
        yield "sparse", h * self.sparse_mean, self.sparse_variance * doubt


def _trend_weeks(h: int) -> float:
    """How often the current trend counts in the total over h weeks: Σ_k Σ_{i ≤ k} φ^i."""
    steps = np.cumsum(_PHI ** np.arange(1, h + 1))
    return float(steps.sum())

"""Quantiles of gamma and normal amounts read from tables, for whole arrays at once.

The gamma distribution is given by its mean and variance in any unit. Tables are exact to about
1e-4 of the mean for coefficients of variation from 0.02 to 8; beyond these the nearest is used.
"""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist
from typing import Final

import numpy as np

from stock.demand.known import Floats

LEVELS: Final[Floats] = np.array(
    [0.005, 0.01, 0.025, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6]
    + [0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.925, 0.95, 0.97, 0.98, 0.99, 0.995]
)
"""The quantile levels every forecast carries."""
MEDIAN: Final = int(np.searchsorted(LEVELS, 0.5))

_LEAST_CV, _MOST_CV, _STEPS = 0.02, 8.0, 400
_POINTS = 1500


@lru_cache(maxsize=1)
def _gamma_table() -> Floats:
    """Quantile / mean, a row per step of log coefficient of variation, a column per level."""
    spread = np.exp(np.linspace(math.log(_LEAST_CV), math.log(_MOST_CV), _STEPS))
    table = np.empty((_STEPS, len(LEVELS)))
    for step, cv in enumerate(spread):
        table[step] = gamma_quantiles(float(cv) ** -2) * cv**2
    return table


def gamma_quantiles(shape: float) -> Floats:
    """Quantiles at :data:`LEVELS` of a gamma distribution with scale 1, by quadrature.

    The density is summed over log x, from the point below which lies less than 1e-6 of the mass
    (there x^shape / Γ(shape + 1), an upper bound of the mass below x, is 1e-6).
    """
    low = (math.log(1e-6) + math.lgamma(shape + 1)) / shape
    high = math.log(shape + 12 * math.sqrt(shape) + 25)
    low = max(low, -600.0)
    bend = max(low, -4.0)
    grid = np.concatenate(
        [np.linspace(low, bend, _POINTS // 3)[:-1], np.linspace(bend, high, _POINTS)]
    )
    height = shape * grid - np.exp(grid)
    density = np.exp(height - height.max())
    parts = np.diff(grid) * (density[1:] + density[:-1]) / 2
    mass = np.concatenate([[0.0], np.cumsum(parts)])
    found: Floats = np.exp(np.interp(LEVELS, mass / mass[-1], grid))
    return found


@lru_cache(maxsize=1)
def normal_scores() -> Floats:
    """Standard normal quantiles at :data:`LEVELS`."""
    return np.array([NormalDist().inv_cdf(float(level)) for level in LEVELS])


def gamma_at_levels(mean: Floats, variance: Floats) -> Floats:
    """Quantiles at :data:`LEVELS` of gamma amounts, shape of ``mean`` and a last axis of levels.

    A mean of 0 gives 0 throughout; a variance of 0 gives the mean (to the least spread held).
    """
    table = _gamma_table()
    safe = np.maximum(mean, 1e-300)
    cv = np.clip(np.sqrt(np.maximum(variance, 0.0)) / safe, _LEAST_CV, _MOST_CV)
    place = (np.log(cv) - math.log(_LEAST_CV)) * (
        (_STEPS - 1) / (math.log(_MOST_CV) - math.log(_LEAST_CV))
    )
    row = np.minimum(place.astype(np.intp), _STEPS - 2)
    part = (place - row)[..., None]
    found = table[row]
    found += part * (table[row + 1] - found)
    found *= np.maximum(mean, 0.0)[..., None]
    return found


def normal_at_levels(mean: Floats, variance: Floats) -> Floats:
    """Quantiles at :data:`LEVELS` of normal amounts, shape of ``mean`` and a last axis."""
    spread = np.sqrt(np.maximum(variance, 0.0))[..., None]
    found: Floats = mean[..., None] + spread * normal_scores()
    return found

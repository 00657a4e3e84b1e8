"""A pool of cheap models, each giving quantiles of the h-week total; their quantiles averaged.

Every model is fitted to all series at once. Amounts are in the series' own unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from stock.demand.known import Floats

LEVELS: Final[Floats] = np.array(
    [0.005, 0.01, 0.025, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6]
    + [0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.925, 0.95, 0.97, 0.98, 0.99, 0.995]
)


@dataclass(frozen=True, eq=False)
class Pooled:
    """Quantiles of h-week totals (n, H, Q), weekly means (n, H), a label per series."""

    quantiles: Floats
    weekly_mean: Floats
    labels: tuple[str, ...]


def _levels_over_time(values: Floats, alpha: float) -> Floats:
    level = np.full(values.shape, np.nan)
    now = np.full(len(values), np.nan)
    for week in range(values.shape[1]):
        seen = values[:, week]
        now = np.where(
            np.isnan(now), seen, np.where(np.isnan(seen), now, now + alpha * (seen - now))
        )
        level[:, week] = now
    return level


def _averages_over_time(values: Floats, window: int) -> Floats:
    known = ~np.isnan(values)
    sums = np.cumsum(np.where(known, values, 0.0), axis=1)
    counts = np.cumsum(known, axis=1).astype(float)
    sums[:, window:] -= sums[:, :-window].copy() if window < values.shape[1] else 0.0
    counts[:, window:] -= counts[:, :-window].copy() if window < values.shape[1] else 0.0
    average: Floats = np.divide(sums, counts, out=np.full(values.shape, np.nan), where=counts > 0)
    return average


def total_quantiles(
    values: Floats, horizon: int, classes: npt.NDArray[np.str_], *, autoets: bool, seed: int
) -> Pooled:
    """Quantiles of the total over the next h weeks for every series and h = 1 … ``horizon``."""
    n, weeks = values.shape
    quantiles = np.zeros((n, horizon, len(LEVELS)))
    mean = np.zeros((n, horizon))
    labels = ["no history" if c == "none" else "average of 4 models" for c in classes]
    if not weeks:
        return Pooled(quantiles, mean, tuple(["no history"] * n))
    known = (~np.isnan(values)).sum(axis=1)
    sums = np.cumsum(np.nan_to_num(values), axis=1)
    parts = [_levels_over_time(values, a) for a in (0.1, 0.3)]
    parts += [_averages_over_time(values, w) for w in (8, 26)]
    for level in parts:
        now = np.nan_to_num(level[:, -1])
        mean += now[:, None] / len(parts)
        for h in range(1, horizon + 1):
            reach = min(h, max(1, weeks // 3))
            errors = np.full((n, 1), 0.0)
            if weeks > reach:
                errors = sums[:, reach:] - sums[:, :-reach] - reach * level[:, :-reach]
                errors *= np.sqrt(h / reach)
            enough = (~np.isnan(errors)).sum(axis=1) > 0
            spread = np.zeros((n, len(LEVELS)))
            if enough.any():
                spread[enough] = np.nanquantile(errors[enough], LEVELS, axis=1).T
            quantiles[:, h - 1] += (h * now[:, None] + spread) / len(parts)
    for row in range(n):
        if known[row] and classes[row] == "none":
            labels[row] = f"no use in {known[row]} weeks"
    return Pooled(np.maximum(quantiles, 0.0), mean, tuple(labels))

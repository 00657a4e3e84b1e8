"""Scores of forecasts against what happened.

Errors are in the unit of what was forecast, ratios have none; lower is better except for coverage.
Every score takes the forecasts as given at the time: nothing here forecasts.
"""

from __future__ import annotations

import numpy as np

from stock.demand.known import Floats


def mean_absolute_error(truth: Floats, forecast: Floats) -> float:
    """Mean of |truth − forecast|.

    >>> import numpy as np
    >>> mean_absolute_error(np.array([11.0, 13, 12, 14]), np.array([10.0, 12, 13, 13]))
    1.0
    """
    return float(np.abs(truth - forecast).mean())


def root_mean_squared_error(truth: Floats, forecast: Floats) -> float:
    """Root of the mean of (truth − forecast)²."""
    return float(np.sqrt(((truth - forecast) ** 2).mean()))


def bias(truth: Floats, forecast: Floats) -> float:
    """Mean of forecast − truth: above 0 where too much was forecast."""
    return float((forecast - truth).mean())


def weighted_absolute_percentage_error(truth: Floats, forecast: Floats) -> float:
    """Σ |truth − forecast| / Σ |truth|; infinite when nothing happened but was forecast."""
    happened = float(np.abs(truth).sum())
    wrong = float(np.abs(truth - forecast).sum())
    if happened == 0:
        return 0.0 if wrong == 0 else float("inf")
    return wrong / happened


def mean_absolute_scaled_error(
    truth: Floats, forecast: Floats, past: Floats, season: int = 1
) -> float:
    """Mean absolute error over that of the seasonal naive forecast within the past.

    Source: Hyndman and Koehler (2006), "Another look at measures of forecast accuracy",
    International Journal of Forecasting 22.
    """
    naive = float(np.abs(past[season:] - past[:-season]).mean())
    return mean_absolute_error(truth, forecast) / naive


def root_mean_squared_scaled_error(
    truth: Floats, forecast: Floats, past: Floats, season: int = 1
) -> float:
    """Root of mean squared error over that of the seasonal naive forecast within the past.

    Source: Makridakis, Spiliotis and Assimakopoulos (2022), "The M5 accuracy competition",
    International Journal of Forecasting 38.
    """
    naive = float(((past[season:] - past[:-season]) ** 2).mean())
    return float(np.sqrt(((truth - forecast) ** 2).mean() / naive))


def pinball(truth: Floats, quantiles: Floats, levels: Floats) -> Floats:
    """Pinball loss of each quantile; ``quantiles`` has a last axis of ``levels``.

    Source: Koenker and Bassett (1978), "Regression quantiles", Econometrica 46.

    >>> import numpy as np
    >>> pinball(np.array([10.0]), np.array([[12.0]]), np.array([0.9])).round(3).tolist()
    [[0.2]]
    """
    short = truth[..., None] - quantiles
    loss: Floats = np.maximum(levels * short, (levels - 1) * short)
    return loss


def interval_score(truth: Floats, lower: Floats, upper: Floats, alpha: float) -> Floats:
    """Width of the central 1 − ``alpha`` band plus 2/alpha times what it was missed by.

    Source: Gneiting and Raftery (2007), "Strictly proper scoring rules, prediction, and
    estimation", Journal of the American Statistical Association 102, eq. 43.
    """
    missed = np.maximum(lower - truth, 0) + np.maximum(truth - upper, 0)
    score: Floats = upper - lower + 2 / alpha * missed
    return score


def crps_of_sample(truth: float, sample: Floats, weights: Floats | None = None) -> float:
    """Continuous ranked probability score of a weighted sample: E|X − y| − ½ E|X − X'|.

    Source: Gneiting and Raftery (2007), eq. 21.

    >>> import numpy as np
    >>> crps_of_sample(1.0, np.array([0.0, 2.0]))
    0.5
    """
    order = np.argsort(sample, kind="stable")
    values = np.asarray(sample, float)[order]
    share = np.full(len(values), 1 / len(values)) if weights is None else np.asarray(weights)[order]
    share = share / share.sum()
    above = np.cumsum(share)
    gaps = np.diff(values)
    spread = 2 * float((above[:-1] * (1 - above[:-1]) * gaps).sum())
    return float((share * np.abs(values - truth)).sum() - spread / 2)


def coverage(truth: Floats, quantiles: Floats) -> tuple[Floats, Floats]:
    """Shares of cases with truth below each quantile and at most it, over the first axis.

    A quantile of counts holds its level when below ≤ level ≤ at most.
    """
    near = 1e-9 * np.maximum(np.abs(quantiles), 1.0)
    below: Floats = (truth[..., None] < quantiles - near).mean(axis=0)
    at_most: Floats = (truth[..., None] <= quantiles + near).mean(axis=0)
    return below, at_most

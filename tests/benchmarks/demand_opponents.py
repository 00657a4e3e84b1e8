"""What the forecast is measured against: four usual ways to put a band on an h-week total.

Arrays are (series, weeks); quantiles come out as (series, totals, levels), cut at 0.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from tests.benchmarks.demand_data import Floats

LEVELS = np.array([0.5, 0.8, 0.9, 0.95, 0.99])
WEEKS = (2, 4, 6)
SCORES = np.array([NormalDist().inv_cdf(float(level)) for level in LEVELS])


def _normal(mean: Floats, spread: Floats) -> Floats:
    return np.maximum(mean[..., None] + spread[..., None] * SCORES, 0.0)


def seasonal_naive(values: Floats) -> Floats | None:
    """The same weeks of last year, band from what that was wrong by before; None under a year."""
    weeks = values.shape[1]
    if weeks < 53:
        return None
    sums = np.cumsum(np.pad(values, ((0, 0), (1, 0))), axis=1)
    means, spreads = [], []
    for h in WEEKS:
        means.append(sums[:, weeks - 52 + h] - sums[:, weeks - 52])
        if weeks - 52 - h >= 8:
            at = np.arange(52, weeks - h + 1)
            wrong = sums[:, at + h] - sums[:, at] - sums[:, at - 52 + h] + sums[:, at - 52]
            spreads.append(np.sqrt((wrong**2).mean(axis=1)))
        else:
            spreads.append(np.sqrt(h) * np.diff(values, axis=1).std(axis=1))
    return _normal(np.array(means).T, np.array(spreads).T)


def moving_average(values: Floats, window: int = 8) -> Floats:
    """Mean of the last eight weeks, one week's error scaled by √h."""
    sums = np.cumsum(np.pad(values, ((0, 0), (1, 0))), axis=1)
    level = (sums[:, window:] - sums[:, :-window]) / window
    return _root_h(level[:, -1], values[:, window:] - level[:, :-1])


def smoothing_root_h(values: Floats, alpha: float = 0.1) -> Floats:
    """Exponential smoothing at 0.1, one week's error scaled by √h: the textbooks' normal band."""
    level = values[:, 0].copy()
    errors = []
    for week in range(1, values.shape[1]):
        if week >= 4:
            errors.append(values[:, week] - level)
        level = level + max(alpha, 1 / (week + 1)) * (values[:, week] - level)
    return _root_h(level, np.array(errors).T)


def _root_h(level: Floats, errors: Floats) -> Floats:
    spread = np.sqrt((errors**2).mean(axis=1))
    h = np.array(WEEKS)
    return _normal(level[:, None] * h, spread[:, None] * np.sqrt(h))


def autoets(values: Floats, fallback: Floats, paths: int = 1000) -> Floats:
    """AutoETS of statsforecast, its own model simulated ``paths`` times for the totals."""
    from statsforecast.models import AutoETS

    draws = np.random.default_rng(0).standard_normal((paths, max(WEEKS)))
    found = np.empty((len(values), len(WEEKS), len(LEVELS)))
    for row, series in enumerate(values):
        try:
            fitted = AutoETS(season_length=1).fit(np.ascontiguousarray(series)).model_
        except (ValueError, NotImplementedError, IndexError):
            found[row] = fallback[row]
            continue
        totals = _simulated(fitted, draws)
        found[row] = np.quantile(totals[:, np.array(WEEKS) - 1], LEVELS, axis=0).T
    return np.maximum(found, 0.0)


def _simulated(fitted: dict, draws: Floats) -> Floats:
    error, trend, _, damped = fitted["components"]
    alpha, beta, _, phi = fitted["par"][:4]
    phi = phi if damped == "D" else 1.0
    noise = draws * np.sqrt(fitted["sigma2"])
    state = fitted["states"][-1]
    level = np.full(len(draws), state[0])
    slope = np.full(len(draws), state[1] if trend != "N" else 0.0)
    weeks = []
    for week in range(draws.shape[1]):
        ahead = level + phi * slope
        shock = noise[:, week] if error == "A" else ahead * noise[:, week]
        weeks.append(ahead + shock)
        level = ahead + alpha * shock
        slope = phi * slope + (beta * shock if trend != "N" else 0.0)
    return np.cumsum(np.array(weeks).T, axis=1)


def croston(values: Floats, alpha: float = 0.1) -> tuple[Floats, Floats]:
    """Mean size and mean interval of demands, smoothed when one comes; use per week is their ratio.

    The first demand and its place, counted from the start, begin the smoothing.

    Source: Croston (1972), "Forecasting and stock control for intermittent demands", Operational
    Research Quarterly 23.
    """
    used = values > 0
    size, interval = np.zeros(len(values)), np.ones(len(values))
    since = np.zeros(len(values))
    begun = np.zeros(len(values), bool)
    for week in range(values.shape[1]):
        since += 1
        now = used[:, week]
        first, again = now & ~begun, now & begun
        size = np.where(first, values[:, week], size)
        interval = np.where(first, since, interval)
        size = np.where(again, size + alpha * (values[:, week] - size), size)
        interval = np.where(again, interval + alpha * (since - interval), interval)
        since[now] = 0
        begun |= now
    return size, interval


def means(values: Floats) -> dict[str, Floats]:
    """Use per week by the usual point forecasts for sparse series, each (series,)."""
    from statsforecast.models import ADIDA, IMAPA

    size, interval = croston(values)
    level = values[:, 0].copy()
    for week in range(1, values.shape[1]):
        level = level + max(0.1, 1 / (week + 1)) * (values[:, week] - level)
    found = {
        "Croston": size / interval,
        "SBA": 0.95 * size / interval,
        "smoothing 0.1": level,
        "average 8": values[:, -8:].mean(axis=1),
    }
    for name, model in (("ADIDA", ADIDA()), ("IMAPA", IMAPA())):
        found[name] = np.array(
            [model.forecast(y=np.ascontiguousarray(series), h=1)["mean"][0] for series in values]
        )
    return found

"""Paths promise what the forecast says: their running totals have its means and quantiles."""

from __future__ import annotations

import numpy as np
import pytest

from stock.demand.forecast import Forecast, forecast
from stock.demand.known import History

WEEKS = 8


def forecast_of(name: str) -> Forecast:
    draws = np.random.default_rng(4)
    rows = {
        "smooth": draws.poisson(60.0, (12, 80)).astype(float),
        "erratic": np.rint(draws.lognormal(2.5, 1.1, (12, 80))),
        "lumpy": np.rint(draws.lognormal(2.5, 1.1, (12, 80))) * (draws.random((12, 80)) < 0.4),
        "intermittent": (draws.random((12, 80)) < 0.3).astype(float) * 3,
    }[name]
    mondays = np.datetime64("2024-01-01") + 7 * np.arange(80)
    keys = tuple(f"{name} {place}" for place in range(len(rows)))
    return forecast(History(keys, mondays, rows, np.zeros(rows.shape, bool)), WEEKS)


@pytest.mark.parametrize(
    ("name", "mean_off", "high_off"),
    [
        ("smooth", 0.003, 0.02),
        ("erratic", 0.01, 0.08),
        ("lumpy", 0.015, 0.08),
        ("intermittent", 0.03, 0.08),
    ],
)
def test_running_totals_have_the_forecast_s_mean_and_high_quantiles(
    name: str, mean_off: float, high_off: float
) -> None:
    """Totals that fell back would be raised: a path with one huge week must keep its place."""
    seen = forecast_of(name)
    paths = seen.sample(range(len(seen.keys)), 2000, 7).astype(float).cumsum(axis=2)
    said = seen.weekly_mean.cumsum(axis=1)
    for weeks in (1, 3, WEEKS):
        totals = paths[:, :, weeks - 1]
        assert abs(totals.mean(axis=1).sum() / said[:, weeks - 1].sum() - 1) < mean_off
        high = np.quantile(totals, 0.95, axis=1).sum() / seen.quantile(0.95, weeks).sum()
        assert abs(high - 1) < high_off


def test_week_by_week_every_path_needs_something_or_nothing_but_never_less() -> None:
    for name in ("erratic", "lumpy"):
        assert (forecast_of(name).sample(range(12), 500, 1) >= 0).all()

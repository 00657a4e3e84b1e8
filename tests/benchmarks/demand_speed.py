"""Forecasting 10,000 series with all quantiles against the same point models in statsforecast.

    python -m tests.benchmarks.demand_speed

The opponent fits point forecasts only: smoothing at the six rates the pool mixes or fades by, the
optimised rate, a four-week average and TSB. Its damped trend is left out: fitted there it alone
takes a hundred times as long as all the others. One process on either side. Invented gamma-Poisson
series of 156 weeks, 8 weeks ahead.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from time import perf_counter

import numpy as np

from stock.demand.forecast import forecast
from stock.demand.known import History
from tests.benchmarks.ratios import Ratio, compare, table

WEEKS, AHEAD = 156, 8


def series(count: int) -> History:
    """So many weekly series."""
    draws = np.random.default_rng(0)
    rate = draws.gamma(0.7, 8.0, count)[:, None]
    values = draws.poisson(rate * draws.gamma(3, 1 / 3, (count, WEEKS))).astype(float)
    mondays = np.datetime64("2023-01-02") + 7 * np.arange(WEEKS)
    keys = tuple(map(str, range(count)))
    return History(keys, mondays, values, np.zeros(values.shape, bool))


def _took(count: int) -> float:
    history = series(count)
    begun = perf_counter()
    forecast(history, AHEAD)
    return perf_counter() - begun


def _peak_gb() -> float:
    """Peak memory of a fresh process that forecasts 10,000 series, GB."""
    program = (
        "from tests.benchmarks.demand_speed import peak_of, series; print(peak_of(series(10_000)))"
    )
    found = subprocess.run(
        [sys.executable, "-c", program], check=True, capture_output=True, text=True
    )
    return float(found.stdout)


def peak_of(history: History) -> float:
    """Forecast, then this process's own peak memory (Linux), GB."""
    forecast(history, AHEAD)
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024**2


def point_forecasts(history: History) -> Callable[[], object]:
    """The opponent: statsforecast fitting the same point models to ``history``, one process."""
    import pandas as pd
    from statsforecast import StatsForecast
    from statsforecast.models import (
        TSB,
        SimpleExponentialSmoothing,
        SimpleExponentialSmoothingOptimized,
        WindowAverage,
    )

    count = len(history.keys)
    frame = pd.DataFrame(
        {
            "unique_id": np.repeat(history.keys, WEEKS),
            "ds": np.tile(history.mondays.astype("datetime64[ns]"), count),
            "y": history.values.ravel(),
        }
    )
    models = [
        *(
            SimpleExponentialSmoothing(rate, alias=f"smoothing {rate}")
            for rate in (0.02, 0.05, 0.1, 0.2, 0.3, 0.5)
        ),
        SimpleExponentialSmoothingOptimized(),
        WindowAverage(4),
        TSB(0.2, 0.2),
    ]
    return lambda: StatsForecast(models=models, freq="W-MON", n_jobs=1).forecast(df=frame, h=AHEAD)


def rows() -> Iterator[Ratio]:
    """The one ratio, with how the time grows and the memory."""
    history = series(10_000)
    grown = ", ".join(f"{size:,}: {_took(size):.2f} s" for size in (1_000, 10_000, 100_000))
    yield compare(
        "forecast 10,000 series × 156 weeks, all quantiles of 1 … 8 weeks",
        "statsforecast alone, point only, the same point models",
        lambda: forecast(history, AHEAD),
        point_forecasts(history),
        1.5,
        repeats=3,
        scaling=f"seconds by series {grown}",
        note=f"peak {_peak_gb():.2f} GB",
    )


if __name__ == "__main__":
    print(table(rows()))

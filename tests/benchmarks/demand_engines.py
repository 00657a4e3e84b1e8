"""The forecast on another engine: equal to here, and how long it takes.

    python -m tests.benchmarks.demand_engines dask|ray|spark [series]

Invented Poisson series of 104 weeks, half of them sparse; two local workers. Prints the largest
relative difference (bound 1e-6) and both times, the engine's start included and not.
"""

from __future__ import annotations

import sys
from time import perf_counter

import numpy as np

from stock.demand.engines import forecast_on
from stock.demand.forecast import forecast, learn
from stock.demand.history_file import rows_of
from stock.demand.known import History

WEEKS, LEVELS = 6, [0.5, 0.9, 0.99]


def series(count: int) -> History:
    """So many weekly series of 104 weeks."""
    draws = np.random.default_rng(7)
    rate = (
        draws.gamma(0.7, 8.0, count)[:, None] * np.where(np.arange(count) % 2, 1.0, 0.05)[:, None]
    )
    values = draws.poisson(rate, (count, 104)).astype(float)
    mondays = np.datetime64("2024-01-01") + 7 * np.arange(104)
    keys = tuple(f"series {place:06d}" for place in range(count))
    return History(keys, mondays, values, np.zeros(values.shape, bool))


def main(name: str, count: int) -> bool:
    """Forecast here and on the engine, compare."""
    history = series(count)
    learned = learn(history, WEEKS)
    begun = perf_counter()
    here = rows_of(forecast(history, WEEKS, learned=learned), LEVELS)
    local = perf_counter() - begun
    begun = perf_counter()
    engine: object = name
    if name == "dask":
        from dask.distributed import Client

        engine = Client(n_workers=2, threads_per_worker=1)
    elif name == "ray":
        import ray

        ray.init(num_cpus=2, include_dashboard=False, log_to_driver=False)
    forecast_on(engine, series(100), WEEKS, LEVELS, learned)
    ready = perf_counter() - begun
    begun = perf_counter()
    there = forecast_on(engine, history, WEEKS, LEVELS, learned)
    away = perf_counter() - begun
    worst = 0.0
    for one, other in zip(here, there, strict=True):
        assert one["item"] == other["item"]
        assert one["model"] == other["model"]
        mine = np.array([*one["weekly"], *one["total"]["quantiles"].values()])
        theirs = np.array([*other["weekly"], *other["total"]["quantiles"].values()])
        worst = max(worst, float((np.abs(mine - theirs) / np.maximum(np.abs(mine), 1.0)).max()))
    print(f"{name}: {count} series, largest relative difference {worst:.1e} (bound 1e-6)")
    print(f"here {local:.1f} s; there {away:.1f} s once begun, {ready:.1f} s to begin")
    return worst <= 1e-6


if __name__ == "__main__":
    fine = main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 50_000)
    sys.exit(0 if fine else 1)

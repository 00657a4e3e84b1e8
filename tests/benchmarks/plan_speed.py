"""The weekly list of 10,000 items from three suppliers each, against forecasting alone.

    python -m tests.benchmarks.plan_speed

The opponent is what one would write instead: automatic exponential smoothing of statsforecast with
bands for the same 10,000 histories, and nothing planned. The list itself takes no model of
statsforecast unless told to; the cheap point models of its pool, fitted in statsforecast, are timed
in the note. One process on either side. Invented gamma-Poisson series of 156 weeks.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import timedelta

import numpy as np

from stock.demand.known import History, ItemTerms
from stock.plan.decide import plan
from stock.plan.snapshot import Offer, Snapshot, StockLot, SupplierTerms
from tests.benchmarks.demand_speed import WEEKS, point_forecasts, series
from tests.benchmarks.ratios import Ratio, compare, peak_mib, seconds, table

SUPPLIERS = (("NEAR", 2.0, 1), ("FAR", 8.0, 12), ("PORT", 20.0, 72))


def a_shop(items: int) -> Snapshot:
    """So many items with 156 weeks behind them, two weeks' need on the shelf, three offers each."""
    history = series(items)
    usual = history.values.mean(axis=1)
    skus = history.keys
    day = (history.mondays[-1] + 7).astype("datetime64[D]").astype(object)
    return Snapshot(
        day,
        tuple(ItemTerms(sku, "supply", "each", service=0.95) for sku in skus),
        stock=tuple(
            StockLot(sku, "L", "SHELF", "shelf", float(np.ceil(2 * mean)) + 1.0)
            for sku, mean in zip(skus, usual, strict=True)
        ),
        offers=tuple(
            Offer(sku, code, f"{code} {sku}", float(pack), (310.0 - 20 * place) * pack)
            for sku in skus
            for place, (code, _, pack) in enumerate(SUPPLIERS)
        ),
        suppliers=tuple(
            SupplierTerms(
                code,
                lead_days=lead,
                line_cost_minor=100.0,
                lead_history=tuple(
                    (day - timedelta(days=60 + 7 * n), day - timedelta(days=45 + 7 * n), 1.0, 1.0)
                    for n in range(20)
                ),
            )
            for code, lead, _ in SUPPLIERS
        ),
        history=history,
    )


def took(items: int) -> float:
    """Seconds of one list."""
    shop = a_shop(items)
    begun = time.perf_counter()
    plan(shop)
    return time.perf_counter() - begun


def automatic(history: History) -> Callable[[], object]:
    """The opponent: AutoETS with three bands, 12 weeks ahead, one process."""
    import pandas as pd
    from statsforecast import StatsForecast
    from statsforecast.models import AutoETS

    count = len(history.keys)
    frame = pd.DataFrame(
        {
            "unique_id": np.repeat(history.keys, WEEKS),
            "ds": np.tile(history.mondays.astype("datetime64[ns]"), count),
            "y": history.values.ravel(),
        }
    )
    models = [AutoETS(season_length=1)]

    def fit(rows: int) -> object:
        asked = StatsForecast(models=models, freq="W-MON", n_jobs=1)
        return asked.forecast(df=frame.head(rows * WEEKS), h=12, level=[90, 95, 99])

    fit(5)  # compiled before the clock starts
    return lambda: fit(count)


def rows() -> Iterator[Ratio]:
    """The one ratio, with how the time grows and the memory."""
    shop = a_shop(10_000)
    grown = f"seconds by items 100: {took(100):.2f} s, 1,000: {took(1_000):.1f} s"
    cheap = seconds(point_forecasts(shop.history))
    yield compare(
        f"weekly list, 10,000 items × {WEEKS} weeks × 3 suppliers",
        "AutoETS of statsforecast with bands, alone",
        lambda: plan(shop),
        automatic(shop.history),
        2.0,
        repeats=1,
        scaling=grown,
        note=f"peak {peak_mib():.0f} MiB; cheap point models in statsforecast {cheap:.1f} s",
    )


if __name__ == "__main__":
    print(table(rows()))

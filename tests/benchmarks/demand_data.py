"""Open data for the demand studies, and where anyone can get it.

The folder is named by the environment variable STOCK_STUDY_DATA; without it only the pizza sales
that ship inside the ``great-tables`` package are used.

======================================  ==========================================================
pizza (91 series × 51 weeks, 2015)      PyPI ``great-tables`` 1.1.0, data/05-pizzaplace.csv, MIT
yaz_daily.csv (7 × 765 days)            PyPI ``ddop`` 0.7.6 source archive, MIT/BSD-3: ingredients
                                        used by one kitchen
bakery_daily_half.csv (53 × 1,215 days) the same archive: bakery sales, every second product
onlineretail_weekly_half.csv            R package ``onlineretail`` 0.1.2, CC0: 1,425 × 52 weeks,
                                        every second product
hotel_orderbook_cancels.csv             Antonio, de Almeida and Nunes (2019), Data in Brief 22,
                                        CC BY: the resort hotel's bookings and cancellations
======================================  ==========================================================
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Days = npt.NDArray[np.datetime64]

DAILY = {"yaz": "yaz_daily.csv", "bakery": "bakery_daily_half.csv"}
WEEKLY = {"retail": "onlineretail_weekly_half.csv"}


def folder() -> Path | None:
    """The folder of open data, or None."""
    named = os.environ.get("STOCK_STUDY_DATA", "")
    return Path(named) if named and Path(named).is_dir() else None


def pizza_weeks() -> tuple[Floats, Days]:
    """Weekly sales of each pizza and size, whole weeks of 2015 only."""
    from great_tables import data

    sold = data.pizzaplace[["date", "name", "size"]].copy()
    import pandas as pd

    sold["ds"] = pd.to_datetime(sold["date"])
    sold["unique_id"] = sold["name"] + "_" + sold["size"]
    sold["y"] = 1.0
    return _weeks(sold[["unique_id", "ds", "y"]], drop_ends=True)


def all_weeks() -> dict[str, tuple[Floats, Days]]:
    """Weekly series of every data set at hand: name → (series × weeks, Mondays)."""
    import pandas as pd

    found = {"pizza": pizza_weeks()}
    home = folder()
    if home is None:
        return found
    for name, file in {**DAILY, **WEEKLY}.items():
        table = pd.read_csv(home / file, parse_dates=["ds"])
        found[name] = _weeks(table, drop_ends=name in DAILY)
    return found


def _weeks(table: object, *, drop_ends: bool) -> tuple[Floats, Days]:
    import pandas as pd

    assert isinstance(table, pd.DataFrame)
    table = table.assign(week=table.ds - pd.to_timedelta(table.ds.dt.weekday, unit="D"))
    wide = table.pivot_table(index="unique_id", columns="week", values="y", aggfunc="sum")
    weeks = pd.date_range(table.week.min(), table.week.max(), freq="W-MON")
    wide = wide.reindex(columns=weeks).fillna(0.0)
    if drop_ends:
        wide = wide.iloc[:, 1:-1]
    return wide.to_numpy(float), wide.columns.to_numpy().astype("datetime64[D]")


def hotel_book() -> tuple[Days, Days, Floats, npt.NDArray[np.bool_], Days] | None:
    """The hotel's order book: booked on, due on, quantity, kept, left on."""
    import pandas as pd

    home = folder()
    if home is None:
        return None
    table = pd.read_csv(
        home / "hotel_orderbook_cancels.csv", parse_dates=["booked_on", "due_on", "status_on"]
    )
    day = "datetime64[D]"
    return (
        table.booked_on.to_numpy().astype(day),
        table.due_on.to_numpy().astype(day),
        table.qty.to_numpy(float),
        (table.status == "fulfilled").to_numpy(),
        table.status_on.to_numpy().astype(day),
    )

"""Open sales and lead-time data as pasts to replay; the folder is taken from STOCK_STUDY_DATA.

======================================  ==========================================================
pizza (91 series × 51 weeks, 2015)      PyPI ``great-tables`` 1.1.0, data/05-pizzaplace.csv, MIT
yaz_daily.csv (7 × 765 days)            PyPI ``ddop`` 0.7.6 source archive, MIT/BSD-3: ingredients
                                        used by one kitchen
onlineretail_weekly_half.csv            R package ``onlineretail`` 0.1.2, CC0: 1,425 × 52 weeks,
                                        every second product
po_lead_times_scms.csv                  USAID Supply Chain Shipment Pricing Data, US federal:
                                        purchase lines with order and delivery dates
======================================  ==========================================================

Assumed throughout: holding 0.4 % of value per week, 2 per order line, a unit short for a week
20 % of its value. Money is minor units. Packs, minimums and price breaks play no part.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from stock.demand.classes import classify
from stock.plan.replay import Past
from tests.benchmarks.demand_data import Floats, pizza_weeks

Ints = npt.NDArray[np.int64]

HOLD_PER_WEEK = 0.004
ORDER_COST = 200.0
SHORT_SHARE = 0.20
SUPPLIERS = 16
CAP = 6.0
"""Weeks above so many times the item's mean are cut in the retail set without spikes."""


@dataclass(frozen=True, eq=False)
class Study:
    """One data set ready to replay: the past, and each item's class over all its weeks."""

    name: str
    past: Past
    classes: npt.NDArray[np.str_]

    def valued(self, unit_value: float) -> Study:
        """The same need with every unit worth ``unit_value`` minor units."""
        count = len(self.past.items)
        past = replace(
            self.past,
            unit_value=np.full(count, unit_value),
            short_per_week=np.full(count, SHORT_SHARE * unit_value),
        )
        return replace(self, past=past)

    def rows(self) -> dict[str, Ints]:
        """Rows by class, ``all`` first; a class of fewer than five items says nothing."""
        found = {"all": np.arange(len(self.classes))}
        for kind in ("smooth", "erratic", "intermittent", "lumpy"):
            chosen = np.flatnonzero(self.classes == kind)
            if 5 <= chosen.size < len(self.classes):
                found[kind] = chosen
        return found


def folder() -> Path:
    """Where the data files are."""
    named = os.environ.get("STOCK_STUDY_DATA")
    if not named:
        raise SystemExit("STOCK_STUDY_DATA must name the folder that holds the open data files.")
    return Path(named)


def lead_times(weeks: int, earlier: int, seed: int) -> tuple[Ints, tuple[Ints, ...]]:
    """Lead times of 16 vendors scaled to 1–4 weeks, resampled per week: (ahead, seen before).

    Each vendor's middle nine tenths are stretched onto 7–28 days and the rest cut there.
    Negative and zero lead times of the source (dirt, or stock on the spot) are left out; lines
    of one order on one day are one delivery.
    """
    lines = pd.read_csv(
        folder() / "po_lead_times_scms.csv", parse_dates=["ordered_on", "received_on"]
    )
    lines["lead"] = (lines["received_on"] - lines["ordered_on"]).dt.days
    seen = lines[lines["lead"] > 0].drop_duplicates(["vendor", "ordered_on", "received_on"])
    counts = seen.groupby("vendor")["lead"].size().sort_values(ascending=False)
    draws = np.random.default_rng(seed)
    ahead, before = [], []
    for vendor in counts.index[:SUPPLIERS]:
        days = seen.loc[seen["vendor"] == vendor, "lead"].to_numpy(float)
        low, high = np.quantile(days, [0.05, 0.95])
        scaled = np.clip(np.rint(7 + 21 * (days - low) / (high - low)), 7, 28)
        ahead.append(draws.choice(scaled, weeks))
        before.append(draws.choice(scaled, earlier))
    return np.array(ahead, np.int64), tuple(np.array(days, np.int64) for days in before)


def study_of(
    name: str,
    weekly: Floats,
    monday: date,
    warm: int,
    leads: tuple[Ints, tuple[Ints, ...]],
    *,
    daily: Floats | None = None,
) -> Study:
    """A past whose first ``warm`` weeks are known at the start.

    Args:
        weekly: Use, shape (items, weeks); items with fewer than two such weeks before the start
            are left out.
        monday: Of the first week replayed.
        leads: Lead days by supplier and replayed week, and those seen before.
        daily: Use by day, for need on all days of the week; default: spread over Mon–Fri.
    """
    kept = np.flatnonzero((weekly[:, :warm] > 0).sum(axis=1) >= 2)
    values = weekly[kept]
    if daily is None:
        share = np.array([0.2] * 5 + [0.0] * 2)
        need = (values[:, warm:, None] * share).reshape(len(values), -1)
    else:
        need = daily[kept][:, 7 * warm :]
    ahead, before = leads
    supplier = np.arange(len(values)) % len(before)
    lead_weeks = np.array([days.mean() / 7 for days in before])[supplier]
    count = len(values)
    past = Past(
        items=tuple(f"{name}-{row}" for row in kept),
        first_monday=monday,
        before=values[:, :warm],
        need=need,
        supplier=supplier,
        lead_days=ahead,
        earlier_leads=before,
        unit_value=np.ones(count),
        order_cost=np.full(count, ORDER_COST),
        hold_per_week=HOLD_PER_WEEK,
        short_per_week=np.full(count, SHORT_SHARE),
        start=np.ceil(values[:, :warm].mean(axis=1) * (lead_weeks + 2)),
        life_days=np.zeros(count, np.int64),
        weekdays=frozenset(range(5 if daily is None else 7)),
    )
    return Study(name, past, np.asarray(classify(values)))


def pizza(every: int = 1, offset: int = 0, seed: int = 1) -> Study:
    """91 sizes and kinds of pizza, the whole weeks of 2015, the first 20 known."""
    weekly, mondays = pizza_weeks()
    weekly = weekly[offset::every]
    warm = 20
    leads = lead_times(weekly.shape[1] - warm, 20, seed)
    return study_of("pizza", weekly, mondays[warm].astype(object), warm, leads)


def retail(every: int = 1, offset: int = 0, seed: int = 1, cap: float | None = None) -> Study:
    """Online retail, 52 weeks, the first 20 known; ``cap`` cuts weeks above so many means."""
    long = pd.read_csv(
        folder() / "onlineretail_weekly_half.csv", parse_dates=["ds"], dtype={"unique_id": str}
    )
    table = long.pivot_table(index="unique_id", columns="ds", values="y", aggfunc="sum")
    weekly = np.nan_to_num(table.to_numpy(float))[offset::every]
    if cap is not None:
        weekly = np.minimum(weekly, np.ceil(cap * weekly.mean(axis=1, keepdims=True)))
    warm = 20
    leads = lead_times(weekly.shape[1] - warm, 20, seed)
    name = "retail" if cap is None else "retail, spikes cut"
    return study_of(name, weekly, table.columns[warm].date(), warm, leads)


def yaz(seed: int = 1) -> Study:
    """7 kitchen ingredients, 108 whole weeks, the first 40 known; needed on all days."""
    long = pd.read_csv(folder() / "yaz_daily.csv", parse_dates=["ds"])
    table = long.pivot_table(index="unique_id", columns="ds", values="y", aggfunc="sum")
    first = table.columns[0] + pd.Timedelta(days=(7 - table.columns[0].weekday()) % 7)
    days = pd.date_range(first, table.columns[-1])
    days = days[: len(days) // 7 * 7]
    daily = np.nan_to_num(table.reindex(columns=days).to_numpy(float))
    weekly = daily.reshape(len(daily), -1, 7).sum(axis=2)
    warm = 40
    leads = lead_times(weekly.shape[1] - warm, 20, seed)
    return study_of("yaz", weekly, days[7 * warm].date(), warm, leads, daily=daily)

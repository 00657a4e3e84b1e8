"""The accuracy log: what the plan believed each item would need, kept as given, scored later.

Kept are quantiles of each item's total need over the next 2 and 4 weeks, of the same joint paths
the list is made from, with the day they were given. The truth is what the item lost in that time:
printed, spoiled and drawn for upkeep, for ink also what the scale found missing. Amounts are base
units.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from sqlalchemy import Connection, insert, select

from stock.book.opening import Book
from stock.book.tables import forecast_log, item
from stock.demand.accuracy import (
    KEPT_LEVELS,
    Accuracy,
    Drift,
    GivenForecast,
    Outcome,
    drift,
    score,
)
from stock.shop.snapshot.daily import daily_loss
from stock.shop.snapshot.demand import history_of

if TYPE_CHECKING:
    from stock.plan.snapshot import Snapshot

HORIZONS: Final = (2, 4)
MOST_ROUNDS: Final = 60
"""Rounds looked back on: more than a year of weekly lists."""


@dataclass(frozen=True, eq=False)
class Record:
    """How the kept forecasts did: scores by horizon in weeks, drift, how many await their truth."""

    on: date
    scores: dict[int, tuple[Accuracy, ...]]
    drifts: dict[int, Drift]
    waiting: int

    @property
    def drifting(self) -> bool:
        """Whether any horizon is flagged."""
        return any(found.flagged for found in self.drifts.values())

    def to_json(self) -> dict[str, Any]:
        """Scores and drift by horizon."""
        return {
            "on": self.on.isoformat(),
            "waiting": self.waiting,
            "horizons": [
                {
                    "weeks": weeks,
                    "scores": [_score_json(row) for row in rows],
                    "drift": {
                        "flagged": self.drifts[weeks].flagged,
                        "reasons": list(self.drifts[weeks].reasons),
                    },
                }
                for weeks, rows in sorted(self.scores.items())
            ],
        }


def _score_json(row: Accuracy) -> dict[str, Any]:
    by_level = {
        f"{level:g}": {"below": float(low), "at_most": float(high), "pinball": float(loss)}
        for level, low, high, loss in zip(
            row.levels, row.below, row.at_most, row.pinball, strict=True
        )
    }
    return {
        "class": row.kind,
        "cases": row.cases,
        "rounds": row.rounds,
        "bias": None if np.isnan(row.bias) else row.bias,
        "crps": row.crps,
        "levels": by_level,
    }


def keep_needs(book: Book, day: date, snapshot: Snapshot | None = None) -> int:
    """Keep what the plan believes on ``day``; returns how many forecasts are new.

    What was kept for that day before stays as it was given.
    """
    from stock.shop.planning import snapshot_of

    rows = _given(snapshot or snapshot_of(book, day))

    def work(connection: Connection) -> int:
        ids = {row.sku: row.id for row in connection.execute(select(item.c.id, item.c.sku))}
        there = {
            (row.item_id, row.horizon_weeks)
            for row in connection.execute(
                select(forecast_log.c.item_id, forecast_log.c.horizon_weeks).where(
                    forecast_log.c.made_on == day
                )
            )
        }
        fresh = [
            {
                "made_on": day,
                "item_id": ids[said.key],
                "horizon_weeks": said.weeks,
                "model": model[:60],
                "quantiles": {
                    "class": said.kind,
                    "mean": said.mean,
                    "levels": list(said.levels),
                    "values": list(said.quantiles),
                },
            }
            for said, model in rows
            if said.key in ids and (ids[said.key], said.weeks) not in there
        ]
        if fresh:
            connection.execute(insert(forecast_log), fresh)
        return len(fresh)

    return book.write(work)


def _given(snapshot: Snapshot) -> list[tuple[GivenForecast, str]]:
    """Every item's total need over each horizon, with how it was forecast."""
    from stock.plan.needs import paths_of

    paths = paths_of(snapshot, max(HORIZONS))
    found: list[tuple[GivenForecast, str]] = []
    for rows, weekly in paths.chunks():
        totals = np.cumsum(weekly, axis=2)
        for place_of, row in enumerate(rows):
            sku = paths.items[row].sku
            if not totals[place_of, :, -1].any():
                continue
            for weeks in HORIZONS:
                total = totals[place_of, :, weeks - 1].astype(float)
                marks = np.quantile(total, KEPT_LEVELS, method="inverted_cdf")
                found.append(
                    (
                        GivenForecast(
                            sku,
                            snapshot.day,
                            snapshot.day,
                            weeks,
                            paths.classes[row],
                            float(total.mean()),
                            KEPT_LEVELS,
                            tuple(float(mark) for mark in marks),
                        ),
                        paths.models[row],
                    )
                )
    return found


def accuracy_record(book: Book, day: date) -> Record:
    """Score every kept forecast whose weeks are over by ``day``."""
    with book.reading() as connection:
        kept = _kept(connection, day)
        done = [said for said in kept if said.end < day]
        cases = _outcomes(connection, done, day)
    by_horizon: dict[int, list[Outcome]] = defaultdict(list)
    for one in cases:
        by_horizon[one.given.weeks].append(one)
    return Record(
        day,
        {weeks: tuple(score(found)) for weeks, found in by_horizon.items()},
        {weeks: drift(found) for weeks, found in by_horizon.items()},
        len(kept) - len(done),
    )


def _kept(connection: Connection, day: date) -> list[GivenForecast]:
    rounds = list(
        connection.scalars(
            select(forecast_log.c.made_on)
            .where(forecast_log.c.made_on <= day)
            .distinct()
            .order_by(forecast_log.c.made_on.desc())
            .limit(MOST_ROUNDS)
        )
    )
    if not rounds:
        return []
    rows = connection.execute(
        select(forecast_log, item.c.sku)
        .join(item, item.c.id == forecast_log.c.item_id)
        .where(forecast_log.c.made_on >= rounds[-1], forecast_log.c.made_on <= day)
        .order_by(forecast_log.c.made_on, item.c.sku, forecast_log.c.horizon_weeks)
    )
    return [
        GivenForecast(
            row.sku,
            row.made_on,
            row.made_on,
            row.horizon_weeks,
            row.quantiles["class"],
            row.quantiles["mean"],
            tuple(row.quantiles["levels"]),
            tuple(row.quantiles["values"]),
        )
        for row in rows
    ]


def _outcomes(connection: Connection, kept: Sequence[GivenForecast], day: date) -> list[Outcome]:
    """What happened to each; weeks in which the item ran out say too little and are left out."""
    if not kept:
        return []
    history = history_of(connection, day)
    found: list[Outcome] = []
    spans: dict[tuple[date, date], list[GivenForecast]] = defaultdict(list)
    for said in kept:
        spans[said.start, said.end].append(said)
    for (start, end), group in spans.items():
        lost = lost_between(connection, start, end)
        mondays = history.mondays.astype("datetime64[D]")
        inside = (mondays + 6 >= np.datetime64(start)) & (mondays <= np.datetime64(end))
        for said in group:
            try:
                short = bool(history.stocked_out[history.row(said.key), inside].any())
            except KeyError:
                short = False
            if not short:
                found.append(Outcome(said, lost.get(said.key, 0.0)))
    return found


def lost_between(connection: Connection, start: date, end: date) -> dict[str, float]:
    """What each item lost from ``start`` to ``end``, both counted."""
    daily = daily_loss(connection, start, end + timedelta(days=1))
    return {sku: max(float(amounts.sum()), 0.0) for sku, amounts in daily.items()}

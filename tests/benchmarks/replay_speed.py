"""Time of a replay against as many weekly lists: 2 years × 500 items, every policy and the bound.

    python -m tests.benchmarks.replay_speed

Need is the pizza sales of 2015 that ship in the ``great-tables`` package (91 series × 51 weeks),
laid end to end and side by side. The planner's part of a replay is timed over a few weeks of the
middle and counted for all 104, as each week is one list; rules of thumb, textbook and bound walk
the whole two years.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from stock.plan.bound import clairvoyant
from stock.plan.decide import plan
from stock.plan.policies import FixedLevel, LastPack, Planned, TextbookNormal, WeeksOfCover
from stock.plan.replay import Moment, Past, walk
from stock.plan.snapshot import PlanSettings
from stock.shop.replaying import PATHS
from tests.benchmarks.demand_data import pizza_weeks
from tests.benchmarks.ratios import Ratio, seconds, table

ITEMS, WEEKS, TIMED_WEEKS, REPEATS = 500, 104, 2, 3
LEADS = np.array([7, 9, 14, 21, 28], np.int64)


def two_years() -> Past:
    """500 items, a year known and two years replayed, five suppliers."""
    weekly, _ = pizza_weeks()
    series = np.tile(weekly, (-(-ITEMS // len(weekly)), 4))[:ITEMS]
    known = series.shape[1] - WEEKS
    need = np.zeros((ITEMS, WEEKS, 7))
    need[:, :, :5] = series[:, known:, None] / 5
    draws = np.random.default_rng(1)
    value = 1000.0
    return Past(
        items=tuple(f"item {row}" for row in range(ITEMS)),
        first_monday=date(2016, 1, 4),
        before=series[:, :known],
        need=need.reshape(ITEMS, -1),
        supplier=np.arange(ITEMS) % len(LEADS),
        lead_days=draws.choice(LEADS, (len(LEADS), WEEKS)),
        earlier_leads=tuple(draws.choice(LEADS, 20) for _ in LEADS),
        unit_value=np.full(ITEMS, value),
        order_cost=np.full(ITEMS, 200.0),
        hold_per_week=0.004,
        short_per_week=np.full(ITEMS, 0.2 * value),
        start=series[:, :known].mean(axis=1) * 4,
        life_days=np.zeros(ITEMS, np.int64),
    )


def middle(past: Past) -> Past:
    """The few weeks timed, a year into the replay."""
    begin = WEEKS // 2
    return replace(
        past,
        first_monday=past.first_monday + timedelta(weeks=begin),
        before=np.hstack([past.before, past.weekly()[:, :begin]]),
        need=past.need[:, 7 * begin : 7 * (begin + TIMED_WEEKS)],
        lead_days=past.lead_days[:, begin : begin + TIMED_WEEKS],
    )


def rows() -> Iterator[Ratio]:
    """The one row."""
    past = two_years()
    part = middle(past)
    count = len(past.items)
    asked = Planned("list", paths=PlanSettings().paths)
    asked.begin(part)
    leads = [
        [(place - len(seen) - 12, int(days)) for place, days in enumerate(seen)]
        for seen in part.earlier_leads
    ]
    moment = Moment(0, part.first_monday, part.before, part.start, np.zeros(count), [], leads)
    snapshot = asked.snapshot(moment)
    simple = [FixedLevel(), WeeksOfCover(), LastPack(), TextbookNormal()]
    simple.append(TextbookNormal(with_lot=True, name="textbook normal with lots"))

    def around() -> None:
        for policy in simple:
            walk(past, policy)
        clairvoyant(past)

    ours, theirs = [], []
    for _ in range(REPEATS):
        theirs.append(WEEKS * seconds(lambda: plan(snapshot)))
        weeks = seconds(lambda: walk(part, Planned("list", paths=PATHS)))
        ours.append(seconds(around) + weeks * WEEKS / TIMED_WEEKS)
    yield Ratio(
        f"replay, {WEEKS} weeks × {ITEMS} items, 6 policies and the bound",
        f"{WEEKS} × one list of {ITEMS} items",
        (min(ours), statistics.median(ours)),
        (min(theirs), statistics.median(theirs)),
        1.0,
        scaling=f"planner timed over {TIMED_WEEKS} weeks",
        note=f"replay draws {PATHS} paths, the list {PlanSettings().paths}",
    )


if __name__ == "__main__":
    print(table(rows()))

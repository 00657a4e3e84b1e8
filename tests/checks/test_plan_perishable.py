"""What expires and what is spoiled: the replay's shelves and the plan's misprints."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from stock.demand.known import ItemTerms, OrderLine, PieceUse
from stock.demand.paths import need_paths
from stock.plan.decide import plan
from stock.plan.replay import Moment, Past, walk
from stock.plan.snapshot import PlanSettings
from tests.checks.textbook import DAY, seen

ITEMS, WEEKS, RUN_IN = 2500, 40, 8


class UpTo:
    """Every week up to a level, whatever its date."""

    name = "up to"

    def __init__(self, level: float) -> None:
        self.level = level

    def begin(self, past: Past) -> None:
        """Nothing to learn."""

    def order(self, moment: Moment) -> np.ndarray:
        """What is missing to the level."""
        return np.maximum(self.level - moment.position, 0.0)


@pytest.mark.parametrize(
    ("level", "mean", "outdated", "short"),
    [
        # Constructed: first in first out, order up to 8, life of two periods, Poisson need, no
        # lead time; stationary solution and power iteration.
        (8, 5, 0.320518894506, 0.122109292575),
        (6, 3, 0.591114033413, 0.0507026142409),
    ],
)
def test_the_shelves_of_a_replay_outdate_as_the_markov_chain_does(level, mean, outdated, short):
    need = np.zeros((ITEMS, 7 * WEEKS))
    need[:, ::7] = np.random.default_rng(0).poisson(mean, (ITEMS, WEEKS))
    past = Past(
        items=tuple(f"I{n}" for n in range(ITEMS)),
        first_monday=date(2026, 1, 5),
        before=np.full((ITEMS, 1), float(mean)),
        need=need,
        supplier=np.zeros(ITEMS, np.int64),
        lead_days=np.zeros((1, WEEKS), np.int64),
        earlier_leads=(np.array([1]),),
        unit_value=np.ones(ITEMS),
        order_cost=np.zeros(ITEMS),
        hold_per_week=0.0,
        short_per_week=np.ones(ITEMS),
        start=np.zeros(ITEMS),
        life_days=np.full(ITEMS, 14, np.int64),
        weekdays=frozenset(range(7)),
    )
    found = walk(past, UpTo(level), measure_from=RUN_IN)
    periods = ITEMS * (WEEKS - RUN_IN)
    # Three standard errors over 80,000 periods are .011 (a period outdates with deviation 1).
    assert found.outdated.sum() / periods == pytest.approx(outdated, abs=0.011)
    assert found.short.sum() / periods == pytest.approx(short, abs=0.011)


def an_order(pieces: int) -> OrderLine:
    return OrderLine(
        "A",
        1,
        "confirmed",
        DAY - timedelta(days=3),
        DAY + timedelta(days=1),
        float(pieces),
        uses=(PieceUse("X", 1.0),),
    )


def test_a_job_of_24_has_a_misprint_in_38_of_100_cases():
    # 1 − .98²⁴, binomial.
    paths = need_paths(
        [ItemTerms("X", "blank", "each")],
        [an_order(24)],
        day=DAY,
        horizon_weeks=2,
        n_paths=4000,
        seed=1,
        misprint_prior=(0.02, 1e12),
    )
    need = paths.chunk([0])[0].sum(axis=1)
    assert (need > 24.5).mean() == pytest.approx(0.384219663491, abs=0.025)
    assert need.mean() - 24 == pytest.approx(0.48 / 0.98, abs=0.05)


def test_52_blanks_let_48_pieces_come_out_with_95_in_100():
    # Binomial search and negative-binomial waiting time: misprint rate .03, achieved .980.
    start = seen(("X",), lead_days=7, service=0.95)
    settings = PlanSettings(
        weekdays=start.settings.weekdays, misprint_prior=(0.03, 1e12), paths=4000
    )
    found = plan(replace(start, order_lines=(an_order(48),), settings=settings))
    assert found.lines[0].level == pytest.approx(52)

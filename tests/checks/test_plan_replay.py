"""The weekly list replayed on open data: pizza sales of 2015, in package ``great-tables`` (MIT).

A small part of the study in tests/benchmarks/plan_replay.py that runs every time. Costs are that
study's, a unit worth 1. Lead times: 1 to 4 weeks drawn evenly, no source.
"""

from datetime import date

import numpy as np
import pytest

from stock.plan.bound import clairvoyant
from stock.plan.policies import (
    FixedLevel,
    LastPack,
    Planned,
    TextbookNormal,
    WeeksOfCover,
)
from stock.plan.replay import walk
from tests.benchmarks.demand_data import pizza_weeks
from tests.benchmarks.plan_study_data import study_of

WARM, EVERY, PATHS = 24, 4, 200
THUMB = (FixedLevel(), WeeksOfCover(), LastPack())


@pytest.fixture(scope="module")
def study():
    weekly, mondays = pizza_weeks()
    draws = np.random.default_rng(4)
    span = weekly.shape[1] - WARM
    leads = draws.integers(7, 29, (4, span)), tuple(draws.integers(7, 29, 20) for _ in range(4))
    monday = mondays[WARM].astype(object)
    assert isinstance(monday, date)
    return study_of("pizza", weekly[::EVERY], monday, WARM, leads).valued(100.0)


@pytest.fixture(scope="module")
def ours(study):
    return walk(study.past, Planned(paths=PATHS))


def test_the_list_costs_less_than_every_rule_of_thumb(study, ours):
    thumb = {rule.name: walk(study.past, rule).total() for rule in THUMB}
    assert ours.total() <= 0.85 * min(thumb.values()), thumb


def test_the_list_costs_no_more_than_the_textbook_with_a_lot(study, ours):
    assert ours.total() <= walk(study.past, TextbookNormal(with_lot=True)).total()


def test_no_knowledge_of_the_past_beats_knowing_the_future(study, ours):
    bound = clairvoyant(study.past)
    assert (bound.cost <= ours.cost + 1e-6).all()
    assert (bound.cost <= walk(study.past, TextbookNormal(with_lot=True)).cost + 1e-6).all()
    assert bound.total() >= 0.3 * ours.total()

"""What the rates leave unsure is in the need, in the level and in the reasons of a line."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from stock.demand.known import Link, OrderLine, PieceUse, Upkeep
from stock.plan.decide import plan
from stock.plan.rate_doubt import rate_doubt
from stock.plan.snapshot import Snapshot, StockLot
from tests.checks.textbook import DAY, seen

PIECES, ML = 400, 8.0


def booked(ml_sd: float) -> Snapshot:
    """An ink of which a booked order will take 3200 mL, give or take what its rate is unsure by."""
    order = OrderLine(
        "A1", 1, "released", DAY, DAY + timedelta(days=5), PIECES, uses=(PieceUse("X", ML, ml_sd),)
    )
    stock = (StockLot("X", "L", "SHELF", "shelf", 100.0),)
    terms = seen(lead_days=3, service=0.95, unit="mL", pack=350.0)
    return replace(terms, order_lines=(order,), stock=stock)


def test_an_unsure_rate_raises_the_level_and_is_given_as_a_reason():
    sure, unsure = (plan(booked(sd)) for sd in (0.0, 2.0))
    firm = PIECES * ML
    assert sure.state("X").level == pytest.approx(firm, rel=0.05)
    # 95 of 100 courses need less than 1.645 standard deviations above the mean (normal quantile).
    assert unsure.state("X").level == pytest.approx(firm * (1 + 1.645 * 2.0 / ML), rel=0.05)
    (told,) = re.findall(r"leave it unsure by ± ([\d,]+) mL", " ".join(unsure.lines[0].why))
    assert float(told.replace(",", "")) == pytest.approx(firm * 2.0 / ML, rel=0.05)  # + misprints
    assert "leave it unsure" not in " ".join(sure.lines[0].why)


def test_the_doubt_of_prints_and_upkeep_is_that_of_a_simulation():
    # One error for all prints, one for all days (checked by drawing them).
    loss = Upkeep("X", 3.0, 1.5)
    snapshot = replace(booked(2.0), upkeep=(loss, replace(loss, printer="P2")))
    told = rate_doubt(snapshot, "X", printed=1000.0, days=10.0, upkeep=60.0)
    rng = np.random.default_rng(3)
    draws = rng.standard_normal((200_000, 3)) @ np.array([1000 * 2.0 / ML, 15.0, 15.0])
    assert told == pytest.approx(draws.std(), rel=0.01)


def test_without_orders_the_loosest_link_speaks():
    plain = replace(booked(0.0), order_lines=(), links=(Link("X", "cm2:W:P1", 0.005, 0.001),))
    assert rate_doubt(plain, "X", printed=100.0, days=7.0, upkeep=0.0) == pytest.approx(20.0)
    assert rate_doubt(plain, "Y", printed=100.0, days=7.0, upkeep=0.0) == 0.0

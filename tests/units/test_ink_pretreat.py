"""Pretreat doses from wet weighings."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stock.errors import Refused
from stock.ink.mode import PretreatDose
from stock.ink.pretreat import WetWeighing, calibrate_dose, sprayed_g

PRIOR = PretreatDose()


def weighing(dose: float, width: float = 40.64, height: float = 50.8) -> WetWeighing:
    return WetWeighing(150.0, 150.0 + dose * width * height / 1000, width, height)


@pytest.mark.parametrize(
    ("inches", "grams", "mg_per_cm2"),
    [
        ((16, 20), 28, 13.6),  # a supplier's guide, no date
        ((16, 20), 32, 15.5),
        ((16, 20), 30, 14.5),  # a trade magazine, September 2015, p. 97
        ((16, 20), 34, 16.5),
        ((14, 14), 40, 31.6),  # three shirts, a trade magazine, October 2020, p. 71
        ((14, 14), 25, 19.8),
        ((14, 14), 12, 9.5),
    ],
)
def test_published_doses_per_area(inches: tuple[int, int], grams: float, mg_per_cm2: float) -> None:
    wide, high = (side * 2.54 for side in inches)
    found = WetWeighing(150.0, 150.0 + grams, wide, high).mg_per_cm2
    assert found == pytest.approx(mg_per_cm2, abs=0.05)


def test_no_weighing_leaves_the_prior() -> None:
    assert calibrate_dose(PRIOR, []) == PRIOR


def test_weighings_pull_the_dose_from_the_prior_and_narrow_it() -> None:
    one = calibrate_dose(PRIOR, [weighing(20.0)])
    five = calibrate_dose(PRIOR, [weighing(20.0)] * 5)
    assert PRIOR.mg_per_cm2 < one.mg_per_cm2 < five.mg_per_cm2 < 20.0
    assert PRIOR.mg_per_cm2_sd > one.mg_per_cm2_sd > five.mg_per_cm2_sd > 0
    assert one.calibrated


def test_uneven_pieces_leave_the_dose_less_sure() -> None:
    even = calibrate_dose(PRIOR, [weighing(d) for d in (15.0, 15.1, 14.9, 15.0)])
    uneven = calibrate_dose(PRIOR, [weighing(d) for d in (10.0, 20.0, 11.0, 19.0)])
    assert uneven.mg_per_cm2_sd > 2 * even.mg_per_cm2_sd


def test_true_doses_lie_within_the_stated_spread() -> None:
    rng = np.random.default_rng(8)
    hits = []
    for _ in range(400):
        true = rng.normal(PRIOR.mg_per_cm2, PRIOR.mg_per_cm2_sd)
        area = 40.64 * 50.8
        pieces = [
            WetWeighing(
                150 + rng.normal(0, 0.5),
                150 + true * (1 + 0.08 * rng.normal()) * area / 1000 + rng.normal(0, 0.5),
                40.64, 50.8,
            )
            for _ in range(5)
        ]  # fmt: skip
        found = calibrate_dose(PRIOR, pieces)
        hits.append(abs(found.mg_per_cm2 - true) <= 1.645 * found.mg_per_cm2_sd)
    assert 0.85 <= np.mean(hits) <= 0.95


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (WetWeighing(150.0, 149.0, 30.0, 40.0), "must gain"),
        (WetWeighing(150.0, math.nan, 30.0, 40.0), "expected more than 0"),
        (WetWeighing(150.0, 170.0, 0.0, 40.0), "sprayed rectangle"),
        (WetWeighing(150.0, 190.0, 5.0, 5.0), "more than any blank takes"),
    ],
)
def test_a_weighing_that_cannot_be_is_refused(wrong: WetWeighing, told: str) -> None:
    with pytest.raises(Refused, match=told):
        calibrate_dose(PRIOR, [weighing(15.0), wrong])


def test_the_sprayed_rectangle_has_its_margin() -> None:
    grams, sd = sprayed_g(PretreatDose(10.0, 1.0, margin_cm=2.0), 30.0, 40.0)
    assert grams == pytest.approx(34 * 44 * 10 / 1000)
    assert sd == pytest.approx(34 * 44 * 1 / 1000)

"""Cost of a print against a general reference library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import geom

from stock.plan.print_cost import Part, PieceCost, spoiled_per_good


@pytest.mark.parametrize("rate", [0.001, 0.02, 0.03, 0.25])
def test_spoiled_prints_per_good_one_are_the_mean_of_the_geometric_distribution(rate):
    # scipy.stats.geom counts trials up to the first success: one more than the failures.
    assert spoiled_per_good(rate) == pytest.approx(geom.mean(1 - rate) - 1)


def test_money_a_published_example_of_ink_and_pretreat_comes_out_to_the_cent():
    # Start Here, October 2020, p. 71 (a trade magazine's table of three shirts): ink 2.56 and
    # pretreat 0.53 make 3.09; the table prints 3.18, an error of addition.
    piece = PieceCost(
        ink={"W": Part("ink", 1.0, "mL", 256.0)}, pretreat=Part("pretreat", 40.0, "g", 53 / 40)
    )
    assert piece.total_minor == pytest.approx(309)


def test_the_spread_of_a_price_is_that_of_independent_channels():
    # Variances of independent errors add (any textbook of statistics); checked by simulation.
    rng = np.random.default_rng(5)
    piece = PieceCost(
        ink={
            "W": Part("white", 6.0, "mL", 30.0, 1.5),
            "C": Part("cyan", 1.0, "mL", 35.0, 0.3),
        },
        pretreat=Part("pretreat", 18.0, "g", 1.4, 3.0),
        blank=Part("tee", 1.0, "each", 310.0),
        misprint_rate=0.04,
    )
    errors = rng.standard_normal((200_000, 3)) * [1.5 * 30, 0.3 * 35, 3.0 * 1.4]
    totals = errors.sum(axis=1) / (1 - 0.04)
    assert piece.total_sd_minor == pytest.approx(totals.std(), rel=0.01)

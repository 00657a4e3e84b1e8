"""Cost of a print against a general reference library."""

from __future__ import annotations

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

"""The least cost in hindsight, with which replays are compared, on published lot-sizing examples.

One period is one day; each period's order comes that morning, and nothing may be late.
"""

from __future__ import annotations

import numpy as np
import pytest

from stock.plan.bound import least_cost


@pytest.mark.parametrize(
    ("order", "hold", "need", "cost", "amounts"),
    [
        # H. Wagner and T. Whitin (1958), Management Science 5, twelve periods (from memory,
        # recomputed).
        (
            [85, 102, 102, 101, 98, 114, 105, 86, 119, 110, 98, 114],
            1,
            [69, 29, 36, 61, 61, 26, 34, 67, 45, 67, 79, 56],
            864,
            None,
        ),
        # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 3.9.
        (500, 2, [90, 120, 80, 70], 1380, [210, 0, 150, 0]),
        # The same book, Problems 3.27 and 3.29, as in stockpyl's tests.
        (120, 0.8, [150, 100, 80, 200], 424, [150, 180, 0, 200]),
        (100, 0.1, [730, 580, 445, 650, 880], 423, [1310, 0, 1095, 0, 880]),
        # University of Southampton, exercise, edshare.soton.ac.uk document 4121.
        (100, 2, [40, 20, 10, 30, 20], 320, [70, 0, 0, 50, 0]),
        # W. Hopp and M. Spearman, Factory Physics, ten periods (from memory, recomputed).
        (100, 1, [20, 50, 10, 50, 50, 10, 20, 40, 20, 30], 580, None),
        # stockpyl, tests of wagner_whitin: periods without need.
        ([110, 108, 110, 120, 125, 134], 1, [0, 0, 0, 0, 0, 7], 131, [0, 0, 7, 0, 0, 0]),
    ],
)
def test_the_least_cost_is_the_published_optimum(order, hold, need, cost, amounts):
    days = len(need)
    found = least_cost(
        np.array(need, float),
        np.arange(days),
        np.broadcast_to(np.asarray(order, float), (days,)).copy(),
        hold,
        np.inf,
    )
    assert found.cost == pytest.approx(cost, abs=1e-9)
    if amounts is not None:
        assert found.amounts.tolist() == pytest.approx(amounts)


def test_prices_that_change_are_part_of_it():
    # stockpyl, instance scmo_ww_hw_c: all but the first period is bought at the price of 1.
    need = np.array([400, 500, 500, 1100, 900], float)
    found = least_cost(
        need, np.arange(5), np.full(5, 100.0), 0.1, np.inf, unit_cost=np.array([3, 1, 4, 6, 6.0])
    )
    assert found.cost == pytest.approx(4940)
    assert found.amounts.tolist() == [400, 3000, 0, 0, 0]

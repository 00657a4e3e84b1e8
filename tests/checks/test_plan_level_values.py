"""The planner's level and lot against textbook optima, through the function the list uses.

``best_policy`` is given what a textbook assumes (one item, one kind of demand, lead time nil or
fixed) as it is given the joint paths in a plan. A level means "order when below", so a textbook's
reorder point s or r is one unit lower.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from stock.plan.level import Outlook, Policy, Terms, best_policy, expected_short, expected_stock

NONE = np.array([np.nan])


def visits(chances: np.ndarray) -> np.ndarray:
    """Expected later reviews that find the position j lower: the renewal function's steps."""
    cells = len(chances)
    seen = np.zeros(cells)
    seen[0] = chances[0] / (1 - chances[0])
    for j in range(1, cells):
        before = np.dot(chances[1 : j + 1], seen[j - 1 :: -1][:j])
        seen[j] = (chances[j] + before) / (1 - chances[0])
    return seen


def policy(
    need: np.ndarray,
    cover: np.ndarray,
    *,
    hold: float,
    short: float,
    order: float,
    mean: float,
    step: float = 1.0,
) -> Policy:
    """The planner's policy: ``need`` per review and over the ``cover`` of an order, as chances."""
    steps = np.array([step])
    held = expected_stock(cover[None], steps)
    missing = expected_short(held, np.array([float(mean)]), steps)
    per_review = float(np.dot(np.arange(len(need)) * step, need))
    outlook = Outlook(
        step=steps,
        now_hold=held,
        now_short=missing,
        later_hold=held,
        later_short=missing,
        later_new_short=missing,
        visits=visits(need)[None],
        need_per_review=np.array([per_review]),
        outdated=np.zeros((1, len(need))),
    )
    terms = Terms(
        order_cost=np.array([float(order)]),
        hold_cost=np.array([float(hold)]),
        short_cost=np.array([float(short)]),
        unit_value=np.zeros(1),
        now_level=NONE,
        later_level=NONE,
        fill_rate=NONE,
        least_lot=np.array([step]),
    )
    return best_policy(outlook, terms)


def poisson(mean: float, cells: int) -> np.ndarray:
    return stats.poisson.pmf(np.arange(cells), mean)


@pytest.mark.parametrize(
    ("hold", "short", "order", "mean", "s", "up_to", "cost"),
    [
        # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 4.7.
        (1, 4, 5, 6, 4, 10, 8.03411156147),
        # Zheng & Federgruen (1991), Operations Research 39(4), instances with Poisson demand.
        (1, 9, 64, 15, 10, 49, 42.6978189226),
        (1, 9, 64, 21, 15, 65, 50.4060198929),
        (1, 9, 64, 40, 33, 87, 64.5118470979),
    ],
)
def test_the_level_and_lot_are_the_optimal_s_and_big_s(hold, short, order, mean, s, up_to, cost):
    need = poisson(mean, 256)
    found = policy(need, need, hold=hold, short=short, order=order, mean=mean)
    assert found.later_level[0] == s + 1
    assert found.later_up_to[0] == up_to
    assert found.cost_rate[0] == pytest.approx(cost, abs=1e-8)


@pytest.mark.parametrize(
    ("hold", "short", "mean", "periods", "up_to", "cost"),
    [
        # stockpyl 1.0.2, docstring of newsvendor.newsvendor_poisson.
        (0.18, 0.7, 50, 1, 56, 1.79723521181),
        # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Ex. 4.7 without fixed cost.
        (1, 4, 6, 1, 8, 3.57010694577),
        # Problem 4.19 of the same book, as in stockpyl's tests (lead time 4: 5 periods covered).
        (0.08, 1.25, 18, 5, 105, 1.54501886916),
    ],
)
def test_without_an_ordering_cost_it_is_the_newsvendor(hold, short, mean, periods, up_to, cost):
    need, cover = poisson(mean, 256), poisson(mean * periods, 256)
    found = policy(need, cover, hold=hold, short=short, order=0.0, mean=mean * periods)
    assert found.later_up_to[0] == up_to
    assert found.cost_rate[0] == pytest.approx(cost, abs=1e-6)


def test_a_newsvendor_with_any_distribution():
    # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Problem 4.7(b).
    need = np.zeros(64)
    need[1:9] = [0.25, 0.05, 0.10, 0.20, 0.15, 0.10, 0.10, 0.05]
    mean = float(np.dot(np.arange(64), need))
    found = policy(need, need, hold=500_000, short=1_000_000, order=0.0, mean=mean)
    assert found.later_up_to[0] == 5
    assert found.cost_rate[0] == pytest.approx(1_225_000)


def test_a_newsvendor_with_normal_demand():
    # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 4.3: S = 56.6, cost 2.0.
    step, cells = 0.1, 1024
    edges = (np.arange(cells + 1) - 0.5) * step
    need = np.diff(stats.norm.cdf(edges, 50, 8))
    found = policy(need, need, hold=0.18, short=0.7, order=0.0, mean=50, step=step)
    assert found.later_up_to[0] == pytest.approx(56.6039559274, abs=step)
    assert found.cost_rate[0] == pytest.approx(1.99760519318, rel=1e-3)


@pytest.mark.parametrize(
    ("order", "hold", "demand", "lot", "cost", "unit"),
    [
        # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 3.1.
        (8, 0.225, 1300, 304.046780026, 68.4105255059, 1.0),
        # Nahmias, Production and Operations Analysis (pencils).
        (12, 0.005, 3120, 3869.88371918, 19.3494185959, 8.0),
        # Chopra & Meindl, Supply Chain Management (EOQ example, D = 12,000).
        (4000, 100, 12000, 979.795897113, 97979.5897113, 2.0),
    ],
)
def test_with_certain_demand_the_lot_is_the_economic_order_quantity(
    order, hold, demand, lot, cost, unit
):
    """One unit is needed per review; holding is charged on the stock in the middle of a review."""
    cells, reviews = 1024, demand / unit
    need = np.zeros(cells)
    need[1] = 1.0
    grid = np.arange(cells) * unit
    held = np.maximum(grid - unit / 2, 0.0)[None]
    missing = np.where(grid < unit, unit - grid, 0.0)[None]
    outlook = Outlook(
        step=np.array([unit]),
        now_hold=held,
        now_short=missing,
        later_hold=held,
        later_short=missing,
        later_new_short=missing,
        visits=visits(need)[None],
        need_per_review=np.array([unit]),
        outdated=np.zeros((1, cells)),
    )
    terms = Terms(
        order_cost=np.array([float(order)]),
        hold_cost=np.array([hold / reviews]),
        short_cost=np.array([1e6 * hold]),
        unit_value=np.zeros(1),
        now_level=NONE,
        later_level=NONE,
        fill_rate=NONE,
        least_lot=np.array([unit]),
    )
    found = best_policy(outlook, terms)
    quantity = found.later_up_to[0] - (found.later_level[0] - unit)
    assert quantity == pytest.approx(lot, abs=unit)
    assert found.cost_rate[0] * reviews == pytest.approx(cost, rel=1e-4)


def test_with_unit_demand_and_continuous_review_it_is_the_r_q_policy():
    # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 5.8 (Poisson demand):
    # h = 20, p = 150, K = 100, 1.5 a year, lead time 2 years: r = 3, Q = 5, cost 107.92.
    rate, lead = 1.5, 2.0
    need = np.zeros(256)
    need[1] = 1.0
    cover = poisson(rate * lead, 256)
    found = policy(need, cover, hold=20 / rate, short=150 / rate, order=100.0, mean=rate * lead)
    assert found.later_level[0] == 3 + 1
    assert found.later_up_to[0] == 3 + 5
    assert found.cost_rate[0] * rate == pytest.approx(107.923580633, abs=1e-6)

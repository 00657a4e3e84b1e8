"""The planner's level and lot against textbook optima, through the function the list uses.

``best_policy`` is given what a textbook assumes (one item, one kind of demand, lead time nil or
fixed) as it is given the joint paths in a plan. A level means "order when below", so a textbook's
reorder point s or r is one unit lower.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from stock.plan.grid import expected_short, expected_stock
from stock.plan.level import Outlook, Policy, Terms, best_policy

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
    lot: float | None = None,
    before: np.ndarray | None = None,
    fill: float = np.nan,
) -> Policy:
    """The planner's policy: ``need`` per review and over the ``cover`` of an order, as chances.

    ``lot`` is the smallest amount on sale; ``before`` the need up to the start of the last review
    covered, with which a ``fill`` rate counts what falls short in that review only.
    """
    steps = np.array([step])
    held = expected_stock(cover[None], steps)
    missing = expected_short(held, np.array([float(mean)]), steps)
    per_review = float(np.dot(np.arange(len(need)) * step, need))
    new = missing
    if before is not None:
        start = float(np.dot(np.arange(len(before)) * step, before))
        new = missing - expected_short(
            expected_stock(before[None], steps), np.array([start]), steps
        )
    outlook = Outlook(
        step=steps,
        now_hold=held,
        now_short=missing,
        later_hold=held,
        later_short=missing,
        later_new_short=new,
        visits=visits(need)[None],
        need_per_review=np.array([per_review]),
        outdated=np.zeros((1, len(need))),
        over_usual=np.zeros(1),
    )
    terms = Terms(
        order_cost=np.array([float(order)]),
        hold_cost=np.array([float(hold)]),
        short_cost=np.array([float(short)]),
        unit_value=np.zeros(1),
        now_level=NONE,
        later_level=NONE,
        fill_rate=np.array([fill]),
        least_lot=np.array([step if lot is None else lot]),
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


def test_a_newsvendor_with_lognormal_demand():
    # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Problem 4.8(b).
    step, cells = 4.0, 512
    edges = np.maximum((np.arange(cells + 1) - 0.5) * step, 0.0)
    need = np.diff(stats.lognorm.cdf(edges, 0.3, scale=np.exp(6)))
    mean = float(np.exp(6 + 0.3**2 / 2))
    found = policy(need, need, hold=1, short=0.1765, order=0.0, mean=mean, step=step)
    assert found.later_up_to[0] == pytest.approx(295.626644807, abs=step)
    assert found.cost_rate[0] == pytest.approx(29.4425435821, rel=1e-3)


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
        over_usual=np.zeros(1),
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


def normal_chances(mean: float, sd: float, step: float, cells: int) -> np.ndarray:
    """A normal distribution on the grid, what is below 0 taken as 0."""
    edges = (np.arange(cells + 1) - 0.5) * step
    chances = np.diff(stats.norm.cdf(edges, mean, sd))
    chances[0] += stats.norm.cdf(edges[0], mean, sd)
    return chances


def certain_step(cells: int) -> np.ndarray:
    need = np.zeros(cells)
    need[1] = 1.0
    return need


# Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 5.1: h = .225, p = 7.5,
# K = 8, 1,300 ± 150 a year, lead time a month.
# One unit is needed per review, so half a unit more than the lead time's in its middle.
MONTH = {"mean": 1300 / 12, "sd": 150 / np.sqrt(12)}
COVER_5_1 = normal_chances(MONTH["mean"] + 0.5, MONTH["sd"], 1.0, 1024)
EXAMPLE_5_1 = {
    "hold": 0.225 / 1300,
    "short": 7.5 / 1300,
    "mean": float(np.dot(np.arange(1024), COVER_5_1)),
}


def test_with_normal_demand_it_is_the_r_q_policy():
    # Exact optimum by nested root and line search and by a simplex: r = 126.87, Q = 328.45, cost
    # 78.0711; the book's loss-function approximation (Example 5.6) gives the same to 1e-4.
    found = policy(certain_step(1024), COVER_5_1, order=8.0, **EXAMPLE_5_1)
    level = found.later_level[0] - 1
    assert level == pytest.approx(126.867062953, abs=1)
    assert found.later_up_to[0] - level == pytest.approx(328.449147041, abs=1)
    assert found.cost_rate[0] * 1300 == pytest.approx(78.0711462704, rel=1e-3)


@pytest.mark.parametrize(
    ("values", "cover", "lot", "level"),
    [
        # stockpyl 1.0.2, docstring of rq.r_q_optimal_r_for_q (data of Example 5.1, Q = 300).
        (EXAMPLE_5_1, COVER_5_1, 300.0, 129.427279698),
        # Problem 5.3 of the same book, Q = 318: h = 3/14, p = 40, 192 ± 17.4, lead time 3.
        (
            {"hold": 3 / 14 / 192, "short": 40 / 192, "mean": 3 * 192 + 0.5},
            normal_chances(3 * 192 + 0.5, 17.4 * np.sqrt(3), 1.0, 1024),
            318.0,
            612.133131345,
        ),
    ],
)
def test_the_level_for_a_lot_given_by_the_pack(values, cover, lot, level):
    found = policy(certain_step(1024), cover, order=0.0, lot=lot, **values)
    assert found.later_up_to[0] - (found.later_level[0] - 1) == pytest.approx(lot, abs=1)
    assert found.later_level[0] - 1 == pytest.approx(level, abs=1)


@pytest.mark.parametrize(
    ("mean", "sd", "lot", "fill", "level"),
    [
        # S. Nahmias, Production and Operations Analysis, type-2 service (from memory, recomputed):
        # z = 1.02, R = 126.
        (100, 25, 100, 0.98, 125.530971939),
        # Constructed, by two methods.
        (64, 22, 48, 0.995, 105.911933636),
        # Constructed, loss difference and quadrature; policy of Example 5.1 above.
        (1300 / 12, 150 / np.sqrt(12), 328.5, 0.970809986802, 126.8),
        (64, 22, 48, 0.873949692839, 70),
    ],
)
def test_the_level_for_a_fill_rate_with_a_lot(mean, sd, lot, fill, level):
    step, cells = 0.5, 2048
    cover = normal_chances(mean + step, sd, step, cells)
    found = policy(
        certain_step(cells),
        cover,
        hold=1e-3,
        short=0.0,
        order=0.0,
        mean=float(np.dot(np.arange(cells) * step, cover)),
        step=step,
        lot=lot,
        before=normal_chances(mean, sd, step, cells),
        fill=fill,
    )
    assert found.later_level[0] - step == pytest.approx(level, abs=1.5 * step)


def test_normal_demand_with_an_ordering_cost():
    # stockpyl 1.0.2, docstring of finite_horizon.finite_horizon_dp: K = 50, h = 1, p = 20, need
    # 100 ± 20 each period; of its five periods all but the last have s = 110, S = 133.
    edges = np.arange(513) - 0.5
    need = np.diff(stats.norm.cdf(edges, 100, 20))
    found = policy(need, need, hold=1, short=20, order=50, mean=100)
    assert found.later_level[0] == 110 + 1
    assert found.later_up_to[0] == 133

"""Lots with price breaks against textbook optima, through the whole plan with certain need.

A textbook's year is 26 weeks here (the planner looks half a year ahead at most), a review comes
every day, and going without costs so much that nothing is ever short. All-units breaks hold from
the stated number on; incremental ones for what is bought past it, so from the next unit on.
"""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from stock.plan.decisions import ReorderLine
from tests.checks.textbook import certain, line_of, seen

YEAR_WEEKS = 26
YEAR_DAYS = 7 * YEAR_WEEKS


def ordered(
    cost: float,
    rate: float,
    demand: float,
    prices: list[float],
    breaks: list[int],
    kind: str = "all_units",
) -> ReorderLine:
    """The list's line when ``demand`` a year is certain; money in main units."""
    return line_of(
        seen(
            price=100 * prices[0],
            review_days=1,
            hold_per_week=rate / YEAR_WEEKS,
            line_cost=100 * cost,
            breaks=[
                (start if kind == "all_units" else start + 1, 100 * price)
                for start, price in zip(breaks, prices[1:], strict=True)
            ],
            kind=kind,
            shortage_cost_minor=5000 * prices[0],
        ),
        certain(demand / YEAR_DAYS),
    )


def yearly_cost(lot, cost, rate, demand, prices, breaks, kind):
    """Price, ordering and holding a year of ordering ``lot`` each time."""
    starts = [0, *breaks]
    if kind == "all_units":
        price = max(
            (start, price) for start, price in zip(starts, prices, strict=True) if start <= lot
        )[1]
    else:
        ends = [*breaks, float("inf")]
        parts = zip(starts, ends, prices, strict=True)
        price = sum(max(min(lot, end) - start, 0) * each for start, end, each in parts) / lot
    return demand * price + cost * demand / lot + rate * price * lot / 2


@pytest.mark.parametrize(
    ("order", "rate", "demand", "prices", "breaks", "lot", "cost"),
    [
        # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 3.5.
        (8, 0.3, 1300, [0.75, 0.72, 0.68], [400, 800], 800, 978.6),
        # stockpyl 1.0.2, docstring of eoq.economic_order_quantity_with_all_units_discounts.
        (200, 0.2, 1000, [500, 475, 450], [200, 500], 500, 472_900),
        # S. Nahmias, Production and Operations Analysis, bags (from memory, recomputed).
        (8, 0.2, 600, [0.30, 0.29, 0.28], [500, 1000], 500, 198.1),
        # S. Chopra and P. Meindl, Supply Chain Management, vitamins (from memory, recomputed).
        (100, 0.2, 120_000, [3.0, 2.96, 2.92], [5000, 10_000], 10_000, 354_520),
    ],
)
def test_all_units_breaks(order, rate, demand, prices, breaks, lot, cost):
    line = ordered(order, rate, demand, prices, breaks)
    assert line.packs == lot
    assert line.cost == pytest.approx(100 * lot * prices[[0, *breaks].index(lot)])
    each = f"{prices[[0, *breaks].index(lot)]:,.2f}"
    assert any(f"From {lot} packs on every pack costs {each}" in said for said in line.why)
    found = yearly_cost(line.packs, order, rate, demand, prices, breaks, "all_units")
    assert found == pytest.approx(cost, rel=1e-6)


@pytest.mark.parametrize(
    ("order", "rate", "demand", "prices", "breaks", "lot", "cost"),
    [
        # S. Nahmias, Production and Operations Analysis, bags (from memory, recomputed).
        (8, 0.2, 600, [0.30, 0.29, 0.28], [500, 1000], 400, 204.0),
        # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 3.7.
        (8, 0.3, 1300, [0.75, 0.72, 0.68], [400, 800], 304.04678003, 1043.41052551),
        # stockpyl 1.0.2, docstring of eoq.economic_order_quantity_with_incremental_discounts.
        (150, 0.25, 2400, [100, 90, 80], [300, 600], 1481.89068423, 222_762.813685),
    ],
)
def test_incremental_breaks(order, rate, demand, prices, breaks, lot, cost):
    line = ordered(order, rate, demand, prices, breaks, "incremental")
    # The lot lies on a grid of 255 steps; its cost is flat there.
    assert line.packs == pytest.approx(lot, rel=0.04)
    found = yearly_cost(line.packs, order, rate, demand, prices, breaks, "incremental")
    assert found == pytest.approx(cost, rel=1e-3)


@pytest.mark.parametrize(
    ("order", "hold", "demand", "lot", "cost"),
    [
        # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 3.1.
        (8, 0.225, 1300, 304.046780026, 68.4105255059),
        # S. Nahmias, Production and Operations Analysis, pencils (from memory, recomputed). The
        # book's lot lasts 65 weeks; its year is half a year's order here, as in all cases.
        (12, 0.005, 3120 * 4, 3869.88371918 * 2, 19.3494185959 * 2),
        # S. Chopra and P. Meindl, Supply Chain Management (from memory, recomputed).
        (4000, 100, 12_000, 979.795897113, 97_979.5897113),
    ],
)
def test_without_breaks_the_lot_is_the_economic_order_quantity(order, hold, demand, lot, cost):
    price = 2.0 * hold
    line = ordered(order, hold / price, demand, [price], [])
    assert line.packs == pytest.approx(lot, rel=0.02)
    found = order * demand / line.packs + hold * line.packs / 2
    assert found == pytest.approx(cost, rel=1e-3)


def test_two_suppliers_are_compared_by_cost_a_week():
    """The dearer price with the cheaper ordering, from the same figures by hand.

    Ordering at 8.00 and holding .225 a year cost 68.41 (Example 3.1 as above) and 975 of price; at
    50.00 and the price of .72 they cost √(2 × 50 × .216 × 1300) = 167.57 and 936.
    """
    cheap_price = ordered(50, 0.3, 1300, [0.72], [])
    cheap_order = ordered(8, 0.3, 1300, [0.75], [])
    weekly = {8: (68.4105255059 + 975) / YEAR_WEEKS, 50: (167.570881 + 936) / YEAR_WEEKS}
    assert cheap_order.packs < cheap_price.packs
    assert weekly[8] < weekly[50]
    one = seen(
        price=75, review_days=1, hold_per_week=0.3 / YEAR_WEEKS, line_cost=800,
        shortage_cost_minor=3750,
    )  # fmt: skip
    other = replace(one.suppliers[0], code="T", line_cost_minor=5000.0)
    dearer = replace(one.offers[0], supplier="T", price_minor=72.0)
    both = replace(one, suppliers=(*one.suppliers, other), offers=(*one.offers, dearer))
    line = line_of(both, certain(1300 / YEAR_DAYS))
    assert line.supplier == "S"
    compared = next(said for said in line.why if said.startswith("Compared"))
    costs = [float(cost) for cost in re.findall(r"(\d+\.\d\d) EUR", compared)]
    assert costs == pytest.approx([weekly[8], weekly[50]], rel=0.01)

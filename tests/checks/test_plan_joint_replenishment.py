"""Items of one supplier that share an order, planned week by week, against the joint optimum."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stock.plan.snapshot import StockLot
from tests.checks.textbook import certain, decided, seen

# E. Silver (1976), as in stockpyl's tests: a joint order costs 10, five lines 1.87 to 8.87, holding
# .2 a unit and year; cost 218.69 a year with multiples 1, 1, 1, 3, 3 of 14.6 weeks.
JOINT, LINES = 10.0, [1.87, 5.27, 7.94, 8.19, 8.87]
DEMAND = np.array([1736.0, 656.0, 558.0, 170.0, 142.0])
HOLD, OPTIMUM = 0.2, 218.686320255
RUN_IN, YEARS = 52, 2


def test_orders_of_one_supplier_are_placed_together():
    """A supplier has one cost for every line here (their mean), lots are whole packs of one, and
    nothing is planned further than each list sees: an eighth dearer than the optimum is allowed,
    with every item on its own orders it is a third."""
    skus = [f"I{n}" for n in range(len(DEMAND))]
    per_week = DEMAND / 52
    need = {sku: certain(each / 7) for sku, each in zip(skus, per_week, strict=True)}
    start = seen(
        skus, hold_per_week=HOLD / 52, order_cost=100 * JOINT, shortage_cost_minor=1e4, unit="mL"
    )
    line_cost = float(np.mean(LINES))
    supplier = replace(start.suppliers[0], line_cost_minor=100 * line_cost)
    start = replace(start, suppliers=(supplier,))
    held, cost, late = np.zeros(len(skus)), 0.0, 0.0
    for week in range(RUN_IN + 52 * YEARS):
        lots = tuple(
            StockLot(sku, "L", "SHELF", "shelf", float(left))
            for sku, left in zip(skus, held, strict=True)
            if left > 1e-9
        )
        found = decided(replace(start, stock=lots), need)
        for line in found.lines:
            held[skus.index(line.item)] += line.amount
        late += float(np.maximum(per_week - held, 0).sum())
        if week >= RUN_IN:
            cost += JOINT * bool(found.lines) + line_cost * len(found.lines)
            cost += HOLD / 52 * float(np.maximum(held - per_week / 2, 0).sum())
        held = np.maximum(held - per_week, 0)
    assert late == pytest.approx(0, abs=1e-6)
    assert OPTIMUM * 0.99 < cost / YEARS < OPTIMUM * 1.15

"""Valuation held to worked values.

Sources: FIFO and perpetual moving average: constructed here, recomputed by a ledger walk and by a
unit-by-unit list of exact fractions (two independent methods). The rules themselves are those of
IAS 2 (Inventories), paragraphs 25 and 27: first-in, first-out, or weighted average cost.
"""

from __future__ import annotations

import pytest

from stock.book.valuation import AveragePile, FifoPile

MOVES = (("in", 100, 10.0), ("in", 100, 12.0), ("out", 120, 0), ("in", 50, 13.0), ("out", 60, 0))


@pytest.mark.parametrize(
    ("pile", "cost_of_use", "stock"),
    [(FifoPile(), 1960.0, 890.0), (AveragePile(), 2026.15384615, 823.846153846)],
)
def test_a_worked_ledger(pile: FifoPile | AveragePile, cost_of_use: float, stock: float) -> None:
    used = 0.0
    for kind, units, price in MOVES:
        if kind == "in":
            pile.put(units, units * price)
        else:
            used += pile.take(units)
    assert used == pytest.approx(cost_of_use, rel=1e-6)
    assert pile.value == pytest.approx(stock, rel=1e-6)
    assert pile.amount == 70


@pytest.mark.parametrize("pile", [FifoPile(), AveragePile()])
def test_what_left_and_what_is_left_add_up_to_what_came(pile: FifoPile | AveragePile) -> None:
    came = used = 0.0
    for number in range(1, 400):
        if number % 3:
            pile.put(number, number * (7 + number % 5))
            came += number * (7 + number % 5)
        else:
            used += pile.take(min(pile.amount, number * 2))
    assert used + pile.value == pytest.approx(came, rel=1e-9)


@pytest.mark.parametrize("pile", [FifoPile(), AveragePile()])
def test_what_left_before_it_came_is_paid_by_the_next_delivery(
    pile: FifoPile | AveragePile,
) -> None:
    assert pile.take(40) == 0
    pile.put(100, 1000.0)
    assert (pile.amount, pile.value) == (60, pytest.approx(600.0))


@pytest.mark.parametrize("pile", [FifoPile(), AveragePile()])
def test_what_a_count_finds_comes_in_at_the_cost_the_item_stands_at(
    pile: FifoPile | AveragePile,
) -> None:
    pile.put(10, 100.0)
    pile.put(5, None)
    assert pile.value == pytest.approx(150.0)

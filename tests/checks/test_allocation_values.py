"""Sharing whole units and choosing lots, held to worked values.

Sources: largest remainder with the Hare quota: the example of the encyclopaedia articles "Quota
method" and "Largest remainders" and the 25-seat case of the Alabama paradox there, both from
memory and recomputed (by floats and by exact integer division); a third case with ties and the
FEFO case are constructed (FEFO recomputed as a linear programme with expiry ranks as costs).
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stock.book.drawing import apportion, blended, fefo
from stock.book.holding import Holding


@pytest.mark.parametrize(
    ("weights", "units", "parts"),
    [
        ([47_000, 16_000, 15_900, 12_000, 6_100, 3_100], 10, [5, 2, 1, 1, 1, 0]),
        ([1500, 1500, 900, 500, 500, 200], 25, [7, 7, 4, 3, 3, 1]),
        ([31, 17, 9, 9, 4], 12, [5, 3, 2, 1, 1]),
    ],
)
def test_largest_remainder(weights: list[int], units: int, parts: list[int]) -> None:
    assert apportion(weights, units) == parts


@given(st.lists(st.integers(1, 10**12), min_size=1, max_size=12), st.integers(0, 10**12))
def test_no_unit_is_lost_and_every_part_is_within_one_of_its_quota(
    weights: list[int], units: int
) -> None:
    parts = apportion(weights, units)
    assert sum(parts) == units
    total = sum(weights)
    for weight, part in zip(weights, parts, strict=True):
        assert abs(part - Fraction(weight * units, total)) < 1


def _lot(number: int, code: str, amount: int, expiry: date, received: date) -> Holding:
    return Holding(number, 1, 1, number, None, amount, code, "", expiry, received)


MARCH = date(2026, 3, 1)
LOTS = [
    _lot(1, "A", 40, date(2026, 5, 31), date(2026, 1, 10)),
    _lot(2, "B", 25, date(2026, 4, 30), date(2026, 2, 1)),
    _lot(3, "C", 30, date(2026, 2, 28), date(2025, 11, 1)),
    _lot(4, "D", 50, date(2026, 9, 30), date(2026, 2, 20)),
]


def test_first_expired_first_out_leaves_the_expired_lot_alone() -> None:
    picks = {draw.holding.lot_code: draw.amount for draw in fefo(LOTS, 70, day=MARCH)}
    assert picks == {"B": 25, "A": 40, "D": 5}


def test_the_expired_lot_is_drawn_last_when_nothing_else_is_left() -> None:
    picks = [(draw.holding.lot_code, draw.amount) for draw in fefo(LOTS, 130, day=MARCH)]
    assert picks == [("B", 25), ("A", 40), ("D", 50), ("C", 15)]


@given(st.lists(st.integers(1, 10**9), min_size=1, max_size=8), st.integers(1, 10**10))
def test_a_blend_gives_in_proportion_and_never_more_than_there_is(
    amounts: list[int], asked: int
) -> None:
    there = [_lot(n, f"L{n}", amount, MARCH, MARCH) for n, amount in enumerate(amounts, 1)]
    draws = blended(there, asked)
    assert sum(draw.amount for draw in draws) == min(asked, sum(amounts))
    assert all(draw.amount <= draw.holding.amount for draw in draws)

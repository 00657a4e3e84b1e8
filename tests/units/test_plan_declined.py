"""An item below its level for which no order is worth its cost says so."""

from __future__ import annotations

import numpy as np

from tests.checks.textbook import decided, seen, spread_over


def test_below_its_level_and_not_ordered_is_said() -> None:
    """A dear pack of many years' need that lives three weeks, for a unit now and then."""
    draws = np.random.default_rng(2)
    need = spread_over(draws.poisson(0.3, (400, 30)).astype(float), 7)
    shelf = seen(
        stock={"X": 1.0}, pack=400.0, price=900.0, unit="mL",
        service=0.99, waste_risk=0.02, shelf_life_days=21,
    )  # fmt: skip
    found = decided(shelf, {"X": need})
    state = found.state("X")
    assert not found.lines
    assert state.on_hand_usable < state.level
    assert state.declined
    assert "nothing is ordered" in state.why_not


def test_an_item_above_its_level_has_nothing_to_say() -> None:
    need = spread_over(np.full((200, 30), 1.0), 7)
    state = decided(seen(stock={"X": 50.0}), {"X": need}).state("X")
    assert not state.declined
    assert state.why_not == ""

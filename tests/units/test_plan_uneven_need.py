"""Where need is uneven, what is bought at a peak outlasts it: holding counts more there."""

from __future__ import annotations

import numpy as np

from stock.plan.decide import plan
from stock.plan.decisions import Decisions
from tests.checks.textbook import GivenNeeds, seen, spread_over


class Called(GivenNeeds):
    """The same need, called by a class of demand."""

    def __init__(self, daily: dict[str, np.ndarray], kind: str) -> None:
        super().__init__(daily)
        self._kind = kind

    def kind(self, row: int) -> str:
        return self._kind


def uneven() -> np.ndarray:
    """Gamma need of mean 20 a week with a coefficient of variation of 1.2."""
    draws = np.random.default_rng(11)
    return spread_over(draws.gamma(1 / 1.44, 20 * 1.44, (1000, 30)), 7)


def decided_as(kind: str, **terms: object) -> Decisions:
    shelf = seen(stock={"X": 1.0}, lead_days=14, **terms)  # type: ignore[arg-type]
    return plan(shelf, Called({"X": uneven()}, kind))


def test_uneven_need_holds_less_cover_where_cost_decides() -> None:
    """Cover is the newsvendor's at 20 / (20 + 0.4) for even need, at 20 / (20 + 1) for lumpy.

    Source of the ratio: Silver, Pyke and Thomas, "Inventory and Production Management in Supply
    Chains", 4th ed. 2017, chapter 9 (from memory; the holding factor is this project's own).
    """
    levels = {
        kind: decided_as(kind, shortage_cost_minor=20.0).state("X").level
        for kind in ("smooth", "erratic", "lumpy")
    }
    assert levels["smooth"] > levels["erratic"] > levels["lumpy"]
    daily = uneven()
    through = np.cumsum(daily, axis=1)[:, 20]
    for kind, times in (("smooth", 1.0), ("lumpy", 2.5)):
        ratio = 20 / (20 + 0.4 * times)
        assert abs(levels[kind] / np.quantile(through, ratio) - 1) < 0.06


def test_a_stated_service_keeps_its_level_however_uneven_need_is() -> None:
    levels = {
        kind: decided_as(kind, service=0.95, service_kind="cycle").state("X").level
        for kind in ("smooth", "lumpy")
    }
    assert levels["smooth"] == levels["lumpy"]


def test_the_line_says_how_often_holding_counts() -> None:
    said = decided_as("lumpy", shortage_cost_minor=20.0).lines[0].why
    assert any("holding counts 2.5 times" in sentence for sentence in said)
    even = decided_as("smooth", shortage_cost_minor=20.0).lines[0].why
    assert not any("holding counts" in sentence for sentence in even)

"""The planner under a textbook's assumptions: given need paths, a fixed lead time, no calendar.

Amounts are units, money minor units, days calendar days from ``DAY``. Nothing here computes what
is checked: it only builds what :func:`stock.plan.decide.plan` is given.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from stock.demand.known import ItemTerms
from stock.plan.decide import plan
from stock.plan.decisions import Decisions, ReorderLine
from stock.plan.snapshot import (
    Offer,
    PlanSettings,
    PriceBreak,
    Snapshot,
    StockLot,
    SupplierTerms,
)

DAY = date(2026, 1, 5)
ALL_DAYS = frozenset(range(7))
CHANCES_AHEAD = 5


class GivenNeeds:
    """Need per day of each item, shape (paths, days), as the planner asks for it."""

    notes: tuple[str, ...] = ()

    def __init__(self, daily: Mapping[str, npt.ArrayLike]) -> None:
        self._daily = [np.asarray(need, np.float32) for need in daily.values()]
        self._skus = list(daily)
        self.n_paths, days = self._daily[0].shape
        self.horizon_weeks = days // 7
        self.items = tuple(ItemTerms(sku, "supply", "each") for sku in daily)

    def row(self, sku: str) -> int:
        return self._skus.index(sku)

    def daily(self, rows: Iterable[int]) -> npt.NDArray[np.float32]:
        return np.stack([self._daily[row] for row in rows])

    def known_parts(self, row: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        nothing = np.zeros(self._daily[row].shape[1])
        return nothing, nothing, nothing

    def kind(self, row: int) -> str:
        return "none"


def spread_over(need: npt.ArrayLike, every: int) -> np.ndarray:
    """Need per period, shape (paths, periods), put on the first of each ``every`` days."""
    per_period = np.asarray(need, float)
    daily = np.zeros((per_period.shape[0], per_period.shape[1] * every))
    daily[:, ::every] = per_period
    return daily


def certain(per_day: float, days: int = 364, paths: int = 8) -> np.ndarray:
    """The same need every day on every path."""
    return np.full((paths, days), per_day)


def seen(
    skus: Iterable[str] = ("X",),
    *,
    price: float | Mapping[str, float] = 100.0,
    lead_days: int = 0,
    review_days: int = 7,
    hold_per_week: float = 0.004,
    order_cost: float = 0.0,
    line_cost: float | None = None,
    pack: float = 1.0,
    min_packs: int = 1,
    breaks: Iterable[tuple[int, float]] = (),
    kind: str = "all_units",
    stock: Mapping[str, float] | None = None,
    unit: str = "each",
    suppliers: int = 1,
    lead_costs: float = 0.0,
    **item: object,
) -> Snapshot:
    """One supplier of all items, whose orders take ``lead_days``, any day of the week."""
    names = list(skus)
    announced = tuple(
        (DAY + timedelta(days=out), DAY + timedelta(days=out + lead_days))
        for out in range(0, CHANCES_AHEAD * review_days, review_days)
    )
    terms = SupplierTerms(
        "S",
        lead_days=float(lead_days),
        order_days=ALL_DAYS,
        order_cost_minor=order_cost,
        line_cost_minor=lead_costs if line_cost is None else line_cost,
        announced=announced,
    )
    prices = price if isinstance(price, Mapping) else dict.fromkeys(names, price)
    return Snapshot(
        DAY,
        tuple(ItemTerms(sku, "supply", unit, **item) for sku in names),  # type: ignore[arg-type]
        stock=tuple(
            StockLot(sku, "L", "SHELF", "shelf", held) for sku, held in (stock or {}).items()
        ),
        offers=tuple(
            Offer(
                sku,
                "S",
                "pack",
                pack,
                prices[sku] * pack,
                min_packs=min_packs,
                breaks=tuple(PriceBreak(*step) for step in breaks),
                breaks_kind=kind,  # type: ignore[arg-type]
            )
            for sku in names
        ),
        suppliers=(terms,),
        settings=PlanSettings(
            review_days=review_days, holding_per_week=hold_per_week, weekdays=ALL_DAYS
        ),
    )


def decided(snapshot: Snapshot, daily: Mapping[str, npt.ArrayLike]) -> Decisions:
    """The weekly list's own function on given need."""
    return plan(snapshot, GivenNeeds(daily))


def line_of(snapshot: Snapshot, daily: npt.ArrayLike) -> ReorderLine:
    """The list's line for the one item."""
    found = decided(snapshot, {"X": daily})
    assert not found.findings, found.findings
    return found.lines[0]

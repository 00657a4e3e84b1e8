"""Cost by month, and how much ink really went for each mL the prints were estimated to take.

Money is minor units, ink mL. *Estimated* is what the prints asked of their slots; *real* is what
left the slots: prints, upkeep, and what weighing found missing. A month in which nothing was
weighed has no surprise in it, only an estimate: its ratio says so (``weighed``).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from sqlalchemy import Connection, func, select

from stock.book.opening import Book
from stock.book.tables import entry, item, overrun, print_run, reading
from stock.book.undo import reversed_entries
from stock.shop.prices import lot_prices
from stock.shop.where_it_went import where_it_went

MEASURES = ("weigh", "dip", "swap")
"""Readings that say what is really left in a machine."""


@dataclass
class MonthCost:
    """One month: pieces, cost by what it was spent on, and ink in mL.

    ``cost`` has ``ink``, ``pretreat``, ``blank`` and ``supply`` of good prints, ``upkeep``,
    ``misprint`` and ``waste`` (expired, unusable rest, scrapped, unexplained).
    """

    month: str
    good: int = 0
    misprints: int = 0
    cost: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    estimated_ml: float = 0.0
    real_ml: float = 0.0
    upkeep_ml: float = 0.0
    unexplained_ml: float = 0.0
    weighed: int = 0

    @property
    def total_minor(self) -> float:
        """All of it."""
        return sum(self.cost.values())

    @property
    def ratio(self) -> float | None:
        """Real over estimated ink; None when nothing was printed."""
        return self.real_ml / self.estimated_ml if self.estimated_ml > 0 else None

    def to_json(self) -> dict[str, Any]:
        """Money in major units."""
        names = ("ink", "pretreat", "blank", "supply", "upkeep", "misprint", "waste")
        per_piece = self.total_minor / 100 / self.good if self.good else None
        return {
            "month": self.month,
            "good": self.good,
            "misprints": self.misprints,
            "cost": {name: round(self.cost.get(name, 0.0) / 100, 4) for name in names},
            "total": round(self.total_minor / 100, 4),
            "per_good_piece": None if per_piece is None else round(per_piece, 4),
            "ink_ml": {
                "estimated": round(self.estimated_ml, 3),
                "real": round(self.real_ml, 3),
                "upkeep": round(self.upkeep_ml, 3),
                "unexplained": round(self.unexplained_ml, 3),
            },
            "real_to_estimated": None if self.ratio is None else round(self.ratio, 4),
            "weighed": self.weighed,
        }


@dataclass(frozen=True, slots=True)
class CostOverTime:
    """Months, oldest first."""

    currency: str
    months: tuple[MonthCost, ...]

    def to_json(self) -> dict[str, Any]:
        """The months with the currency beside them."""
        return {"currency": self.currency, "months": [month.to_json() for month in self.months]}


def cost_by_month(book: Book, day: date, *, months: int = 12) -> CostOverTime:
    """The month of ``day`` and those before it, ``months`` in all."""
    from stock.shop.planning import plan_settings

    currency = plan_settings(book).currency
    first = _months_before(day, months - 1)
    made = {f"{first:%Y-%m}": MonthCost(f"{first:%Y-%m}")}
    step = first
    while (step := _next_month(step)) <= day:
        made[f"{step:%Y-%m}"] = MonthCost(f"{step:%Y-%m}")
    with book.reading() as connection:
        prices = lot_prices(connection)
        for went in where_it_went(connection, first, day, by_day=True):
            if went.owner or went.day is None:
                continue
            _add(
                made[f"{went.day:%Y-%m}"],
                went.column,
                went.item_kind,
                went.amount,
                prices.get(went.lot_id, 0.0),
            )
        _add_runs(connection, first, day, made)
    return CostOverTime(currency, tuple(made[name] for name in sorted(made)))


def _months_before(day: date, count: int) -> date:
    months = day.year * 12 + day.month - 1 - count
    return date(max(months // 12, 1), months % 12 + 1, 1)


def _next_month(day: date) -> date:
    return (day.replace(day=1) + timedelta(days=32)).replace(day=1)


def _add(month: MonthCost, column: str, kind: str, amount: int, price: float) -> None:
    cost = amount * price
    if column == "printed":
        month.cost[kind] += cost
    elif column in ("upkeep", "misprint"):
        month.cost[column] += cost
    elif column in ("expired", "unusable_rest", "scrapped", "unexplained"):
        month.cost["waste"] += cost
    if kind != "ink":
        return
    ml = amount / 1000
    if column in ("printed", "misprint"):
        month.estimated_ml += ml
        month.real_ml += ml
    elif column == "upkeep":
        month.upkeep_ml += ml
        month.real_ml += ml
    elif column == "unexplained":
        month.unexplained_ml += ml
        month.real_ml += ml


def _add_runs(connection: Connection, first: date, last: date, made: dict[str, MonthCost]) -> None:
    """Pieces, what prints asked for and did not find, and how often somebody measured."""
    standing = entry.c.id.not_in(reversed_entries())
    between = (entry.c.day >= first, entry.c.day <= last, standing)
    for day, good, misprints in connection.execute(
        select(entry.c.day, func.sum(print_run.c.good), func.sum(print_run.c.misprints))
        .join(print_run, print_run.c.entry_id == entry.c.id)
        .where(*between)
        .group_by(entry.c.day)
    ):
        month = made[f"{day:%Y-%m}"]
        month.good += int(good)
        month.misprints += int(misprints)
    for day, missing in connection.execute(
        select(entry.c.day, func.sum(overrun.c.asked - overrun.c.taken))
        .join(overrun, overrun.c.entry_id == entry.c.id)
        .join(item, item.c.id == overrun.c.item_id)
        .where(*between, entry.c.kind == "print", item.c.kind == "ink")
        .group_by(entry.c.day)
    ):
        made[f"{day:%Y-%m}"].estimated_ml += int(missing) / 1000
    for day, readings in connection.execute(
        select(entry.c.day, func.count())
        .join(reading, reading.c.entry_id == entry.c.id)
        .where(*between, reading.c.kind.in_(MEASURES))
        .group_by(entry.c.day)
    ):
        made[f"{day:%Y-%m}"].weighed += int(readings)

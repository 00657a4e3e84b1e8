"""What will be needed: by item and week with where it comes from, of one order, and by forecast.

Amounts are base units; week k is the seven days from the planning day + 7 (k − 1).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from stock.book.opening import Book
from stock.demand.known import Floats
from stock.errors import Refused, Unknown, WrongUsage

if TYPE_CHECKING:
    from stock.plan.snapshot import Snapshot

MOST_WEEKS = 52


@dataclass(frozen=True, eq=False)
class ItemNeed:
    """One item's expected need per week by where it comes from, and 9 in 10 of the total."""

    item: str
    kind: str
    unit: str
    firm: Floats
    quotes: Floats
    unbooked: Floats
    upkeep: Floats
    total_p90: float
    model: str

    @property
    def total(self) -> Floats:
        """All parts together, per week."""
        return self.firm + self.quotes + self.unbooked + self.upkeep

    def to_json(self) -> dict[str, Any]:
        """Lists by week."""
        return {
            "item": self.item,
            "kind": self.kind,
            "unit": self.unit,
            "firm": self.firm.tolist(),
            "quotes": self.quotes.tolist(),
            "unbooked": self.unbooked.tolist(),
            "upkeep": self.upkeep.tolist(),
            "total": self.total.tolist(),
            "total_p90": self.total_p90,
            "model": self.model,
        }


@dataclass(frozen=True, eq=False)
class Needs:
    """What every item will need, week by week."""

    on: date
    weeks: tuple[date, ...]
    items: tuple[ItemNeed, ...]
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Weeks by their first day, items in turn."""
        return {
            "on": self.on.isoformat(),
            "weeks": [day.isoformat() for day in self.weeks],
            "items": [item.to_json() for item in self.items],
            "notes": list(self.notes),
        }


@dataclass(frozen=True, slots=True)
class OrderNeed:
    """What one order still takes of one item, misprints counted in, and what is here of it."""

    item: str
    unit: str
    amount: float
    sd: float
    here: float

    def to_json(self) -> dict[str, Any]:
        """Plain numbers."""
        return {
            "item": self.item,
            "unit": self.unit,
            "amount": self.amount,
            "sd": self.sd,
            "here": self.here,
        }


def needs_by_week(book: Book, day: date, weeks: int) -> Needs:
    """Need of every item over the next ``weeks`` weeks; items nobody needs are left out.

    Raises:
        WrongUsage: Fewer than 1 or more than 52 weeks.
    """
    from stock.plan.needs import paths_of
    from stock.shop.planning import snapshot_of

    if not 1 <= weeks <= MOST_WEEKS:
        raise WrongUsage(f"--weeks {weeks}: 1 to {MOST_WEEKS} can be looked ahead.")
    paths = paths_of(snapshot_of(book, day), weeks)
    found: list[ItemNeed] = []
    for rows, weekly in paths.chunks():
        for place, row in enumerate(rows):
            total = weekly[place].sum(axis=1, dtype=np.float64)
            if not total.any():
                continue
            terms = paths.items[row]
            firm, quotes, upkeep = paths.firm[row], paths.quotes[row], paths.upkeep[row]
            mean = weekly[place].mean(axis=0, dtype=np.float64)
            rest = np.maximum(mean - firm - quotes - upkeep, 0.0)
            mark = float(np.quantile(total, 0.9, method="inverted_cdf"))
            found.append(
                ItemNeed(
                    terms.sku,
                    terms.kind,
                    terms.unit,
                    firm,
                    quotes,
                    rest,
                    upkeep,
                    mark,
                    paths.models[row],
                )
            )
    starts = tuple(day + timedelta(days=7 * week) for week in range(weeks))
    return Needs(day, starts, tuple(found), paths.notes)


def needs_of_order(book: Book, day: date, order: str) -> tuple[OrderNeed, ...]:
    """What one open order or quote still takes, as if it were sure, with its misprints.

    Raises:
        Unknown: No open order of that name.
    """
    import difflib

    from stock.demand.chances import misprint_rates
    from stock.shop.planning import snapshot_of

    snapshot = snapshot_of(book, day)
    lines = [line for line in snapshot.order_lines if line.order == order]
    if not lines:
        known = list(dict.fromkeys(line.order for line in snapshot.order_lines))
        raise Unknown("open order", order, difflib.get_close_matches(order, known, 3, 0.6))
    rates = misprint_rates(snapshot.misprints, snapshot.settings.misprint_prior)
    units = {item.sku: item.unit for item in snapshot.items}
    amounts: dict[str, float] = defaultdict(float)
    spread: dict[str, float] = defaultdict(float)
    for line in lines:
        rate = rates.rate(line.location)
        made = line.pieces * (1 + rate)
        for use in line.uses:
            amounts[use.item] += made * use.amount
            spread[use.item] += (made * use.sd) ** 2
            spread[use.item] += line.pieces * rate * (1 - rate) * use.amount**2
    return tuple(
        OrderNeed(sku, units.get(sku, ""), amount, spread[sku] ** 0.5, _here(snapshot, sku))
        for sku, amount in amounts.items()
    )


def _here(snapshot: Snapshot, sku: str) -> float:
    """What of an item may be used on the snapshot's day."""
    from stock.plan.cover import Shelf, sort_out

    return sort_out(snapshot.stock, snapshot.day).get(sku, Shelf()).amount


def forecast_book(
    book: Book, day: date, weeks: int, levels: Sequence[float], engine: str | None = None
) -> list[dict[str, Any]]:
    """Each item's own use forecast from the book's weekly history, without a look at its orders.

    An item that replaces another has that one's past, and the replaced one is left out.

    Raises:
        WrongUsage: Weeks, levels or engine out of range.
        Refused: No complete week of use is in the book.
    """
    from sqlalchemy import select

    from stock.book.tables import item
    from stock.demand.drivers import own_use
    from stock.demand.history_file import checked_request, forecast_history
    from stock.demand.known import ItemTerms
    from stock.shop.planning import plan_settings
    from stock.shop.snapshot.demand import history_of

    asked = checked_request(weeks, levels)
    settings = plan_settings(book, day)
    with book.reading() as connection:
        history = history_of(connection, day)
        items = [
            ItemTerms(row.sku, row.kind, row.unit, replaces=row.replaces)
            for row in connection.execute(select(item).order_by(item.c.sku))
        ]
    table = own_use(items, history)
    if not table.keys:
        raise Refused("The book holds no complete week of prints yet: nothing can be forecast.")
    return forecast_history(
        table,
        weeks,
        asked,
        engine,
        autoets=settings.blend_autoets,
        season=settings.peak_factor,
    )

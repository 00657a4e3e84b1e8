"""Usage and waste between two days: where everything that left the shelves and slots went.

Amounts are integers of thousandths of the base unit, money is minor units. Every movement of the
days asked for falls into one column, a movement that takes another back into the same column with
the opposite sign, so that for each item

    opening + received + made = printed + misprint + upkeep + expired + unusable rest + scrapped
                                + returned + into mixes + unexplained + closing

holds to the last thousandth. *Unexplained* is what weighing and counting found missing (negative:
found too much). Customers' garments have rows of their own and no cost.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, Row, case, func, literal, select

from stock.book.catalogue import HOLDING_KINDS
from stock.book.opening import Book
from stock.book.tables import entry, item, lot, movement, overrun, place
from stock.errors import Refused
from stock.shop.prices import lot_prices
from stock.shop.where_it_went import USES, WASTED, Went, where_it_went
from stock.units import from_thousandths


@dataclass(frozen=True, slots=True)
class ItemUsage:
    """One item's row, thousandths; ``cost_minor`` by column. ``owner``: a customer's garments.

    ``asked_too_much`` is what prints and upkeep asked of slots and shelf and did not find there:
    it is in no column, since it never moved.
    """

    item: str
    name: str
    kind: str
    unit: str
    owner: str
    opening: int
    received: int
    made: int
    used: dict[str, int]
    closing: int
    cost_minor: dict[str, float]
    asked_too_much: int = 0

    @property
    def wasted_minor(self) -> float:
        """Cost of the columns nobody wanted."""
        return sum(self.cost_minor[column] for column in WASTED)

    def to_json(self) -> dict[str, Any]:
        """Amounts in base units, money in major units."""
        return {
            "item": self.item,
            "kind": self.kind,
            "owner": self.owner or None,
            "unit": self.unit,
            "opening": from_thousandths(self.opening),
            "received": from_thousandths(self.received),
            "made": from_thousandths(self.made),
            **{column: from_thousandths(self.used[column]) for column in USES},
            "closing": from_thousandths(self.closing),
            "asked_too_much": from_thousandths(self.asked_too_much),
            "cost": {column: round(self.cost_minor[column] / 100, 4) for column in USES},
            "wasted_cost": round(self.wasted_minor / 100, 4),
        }


@dataclass(frozen=True, slots=True)
class UsageReport:
    """Rows of the items that moved or are there, between two days (both counted)."""

    first: date
    last: date
    currency: str
    rows: tuple[ItemUsage, ...]

    def to_json(self) -> dict[str, Any]:
        """Totals of cost by column beside the rows."""
        return {
            "from": self.first.isoformat(),
            "to": self.last.isoformat(),
            "currency": self.currency,
            "items": [row.to_json() for row in self.rows],
            "cost": {
                column: round(sum(row.cost_minor[column] for row in self.rows) / 100, 4)
                for column in USES
            },
            "wasted_cost": round(sum(row.wasted_minor for row in self.rows) / 100, 4),
        }


def usage(book: Book, first: date, last: date) -> UsageReport:
    """Where everything went from ``first`` to ``last``, both counted.

    Raises:
        Refused: The days are the wrong way round.
    """
    if last < first:
        raise Refused(f"From {first} to {last} is no time: the second day comes first.")
    from stock.shop.planning import plan_settings

    currency = plan_settings(book).currency
    with book.reading() as connection:
        return UsageReport(first, last, currency, _rows(connection, first, last))


@dataclass
class _Sums:
    """What is added up of one item and owner."""

    before: int = 0
    received: int = 0
    made: int = 0

    def __post_init__(self) -> None:
        self.used: dict[str, int] = dict.fromkeys(USES, 0)
        self.cost: dict[str, float] = dict.fromkeys(USES, 0.0)


def _rows(connection: Connection, first: date, last: date) -> tuple[ItemUsage, ...]:
    prices = lot_prices(connection)
    sums: dict[tuple[int, str], _Sums] = defaultdict(_Sums)
    for row in _before(connection, first):
        sums[(row.item_id, row.owner)].before += int(row.net or 0)
    for went in where_it_went(connection, first, last):
        _add(sums[(went.item_id, went.owner)], went, prices.get(went.lot_id, 0.0))
    asked = _asked_too_much(connection, first, last)
    items = {row.id: row for row in connection.execute(select(item))}
    found = []
    for (item_id, owner), summed in sums.items():
        known = items[item_id]
        closing = summed.before + summed.received + summed.made - sum(summed.used.values())
        moved = summed.received or summed.made or any(summed.used.values())
        if not (moved or summed.before or closing):
            continue
        found.append(
            ItemUsage(
                known.sku,
                known.name,
                known.kind,
                known.unit,
                owner,
                summed.before,
                summed.received,
                summed.made,
                summed.used,
                closing,
                summed.cost,
                asked.get(item_id, 0) if not owner else 0,
            )
        )
    order = ("ink", "pretreat", "blank", "supply")
    return tuple(sorted(found, key=lambda row: (order.index(row.kind), row.item, row.owner)))


def _before(connection: Connection, first: date) -> list[Row[Any]]:
    """Stock by item and owner at the end of the day before ``first``."""
    source, target = place.alias("source"), place.alias("target")
    comes = case((target.c.kind.in_(HOLDING_KINDS), movement.c.amount), else_=literal(0))
    goes = case((source.c.kind.in_(HOLDING_KINDS), movement.c.amount), else_=literal(0))
    return list(
        connection.execute(
            select(movement.c.item_id, lot.c.owner, func.sum(comes - goes).label("net"))
            .join(lot, lot.c.id == movement.c.lot_id)
            .join(source, source.c.id == movement.c.from_place_id)
            .join(target, target.c.id == movement.c.to_place_id)
            .where(movement.c.day < first)
            .group_by(movement.c.item_id, lot.c.owner)
        )
    )


def _add(summed: _Sums, row: Went, price: float) -> None:
    if row.column == "received":
        summed.received += row.amount
    elif row.column == "made":
        summed.made += row.amount
    else:
        summed.used[row.column] += row.amount
        summed.cost[row.column] += row.amount * price


def _asked_too_much(connection: Connection, first: date, last: date) -> dict[int, int]:
    """What was asked and not there, by item; entries taken back do not count."""
    taken_back = select(entry.c.reverses).where(entry.c.reverses.is_not(None))
    rows = connection.execute(
        select(overrun.c.item_id, func.sum(overrun.c.asked - overrun.c.taken))
        .join(entry, entry.c.id == overrun.c.entry_id)
        .where(entry.c.day >= first, entry.c.day <= last, entry.c.id.not_in(taken_back))
        .group_by(overrun.c.item_id)
    )
    return {item_id: int(amount) for item_id, amount in rows}

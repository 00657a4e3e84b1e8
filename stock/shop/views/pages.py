"""Long lists of the book a page at a time: items, movements, entries.

Each answers how many rows there are in all and the rows from ``first`` on; amounts are integers
of thousandths. Nothing here writes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Generic, TypeVar

from sqlalchemy import ColumnElement, Select, case, func, or_, select

from stock.book.opening import Book
from stock.book.tables import balance, container, entry, item, lot, movement, place
from stock.shop.views.entries import EntryRow, entry_rows
from stock.shop.views.stockroom import ItemRow

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Page(Generic[Row]):
    """Rows from ``first`` on, of ``count`` in all."""

    count: int
    first: int
    rows: Sequence[Row]


def items_page(
    book: Book, *, first: int = 0, most: int = 200, like: str = "", kind: str = ""
) -> Page[ItemRow]:
    """Items by code, whether or not there is any; ``like`` looks in code and name."""
    wanted: list[ColumnElement[bool]] = []
    if like:
        part = f"%{_literal(like.lower())}%"
        wanted.append(
            or_(
                func.lower(item.c.sku).like(part, escape="\\"),
                func.lower(item.c.name).like(part, escape="\\"),
            )
        )
    if kind:
        wanted.append(item.c.kind == kind)
    chosen = (
        select(item.c.id).where(*wanted).order_by(item.c.sku).offset(first).limit(most).subquery()
    )

    def part_of(which: str) -> Any:
        return func.coalesce(func.sum(case((place.c.kind == which, balance.c.amount))), 0)

    query = (
        select(
            item.c.sku,
            item.c.name,
            item.c.kind,
            item.c.unit,
            part_of("shelf"),
            part_of("slot"),
            part_of("quarantine"),
            func.count(func.distinct(balance.c.lot_id)),
            func.min(
                case(
                    (
                        place.c.kind == "shelf",
                        func.coalesce(container.c.effective_expiry, lot.c.sealed_expiry),
                    )
                )
            ),
        )
        .join(chosen, chosen.c.id == item.c.id)
        .outerjoin(balance, (balance.c.item_id == item.c.id) & (balance.c.amount > 0))
        .outerjoin(lot, lot.c.id == balance.c.lot_id)
        .outerjoin(place, place.c.id == balance.c.place_id)
        .outerjoin(container, container.c.id == balance.c.container_id)
        .group_by(item.c.id, item.c.sku, item.c.name, item.c.kind, item.c.unit)
        .order_by(item.c.sku)
    )
    with book.reading() as connection:
        count = connection.scalar(select(func.count()).select_from(item).where(*wanted)) or 0
        rows = [
            ItemRow(
                *(row[0], row[1], row[2], row[3]),
                *(int(row[4]), int(row[5]), int(row[6]), int(row[7])),
                row[8],
            )
            for row in connection.execute(query)
        ]
    return Page(count, first, rows)


def _literal(text: str) -> str:
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")


@dataclass(frozen=True, slots=True)
class MovementRow:
    """One movement: so much of a lot from one place to another, in which entry."""

    entry: int
    kind: str
    day: date
    item: str
    lot: str
    amount: int
    unit: str
    source: str
    target: str
    who: str
    note: str


def movements_page(
    book: Book,
    *,
    first: int = 0,
    most: int = 200,
    sku: str = "",
    lot_code: str = "",
    entry_id: int | None = None,
) -> Page[MovementRow]:
    """Movements, newest first; of one item or lot, or of one entry, when it is named."""
    from_place, to_place = place.alias(), place.alias()
    with book.reading() as connection:
        wanted: list[ColumnElement[bool]] = []
        if entry_id is not None:
            wanted.append(movement.c.entry_id == entry_id)
        if sku:
            item_id = connection.scalar(select(item.c.id).where(item.c.sku == sku))
            wanted.append(movement.c.item_id == item_id)
            if lot_code:
                lots = select(lot.c.id).where(lot.c.item_id == item_id, lot.c.code == lot_code)
                wanted.append(movement.c.lot_id.in_(lots))
        count = connection.scalar(select(func.count()).select_from(movement).where(*wanted)) or 0
        chosen = (
            select(movement.c.id)
            .where(*wanted)
            .order_by(movement.c.id.desc())
            .offset(first)
            .limit(most)
            .subquery()
        )
        query: Select[Any] = (
            select(
                *(entry.c.id, entry.c.kind, movement.c.day, item.c.sku, lot.c.code),
                *(movement.c.amount, item.c.unit, from_place.c.code, to_place.c.code),
                *(entry.c.who, entry.c.note),
            )
            .select_from(movement)
            .join(chosen, chosen.c.id == movement.c.id)
            .join(entry, entry.c.id == movement.c.entry_id)
            .join(item, item.c.id == movement.c.item_id)
            .join(lot, lot.c.id == movement.c.lot_id)
            .join(from_place, from_place.c.id == movement.c.from_place_id)
            .join(to_place, to_place.c.id == movement.c.to_place_id)
            .order_by(movement.c.id.desc())
        )
        rows = [MovementRow(*row) for row in connection.execute(query)]
    return Page(count, first, rows)


def entries_page(
    book: Book, *, first: int = 0, most: int = 200, kinds: Sequence[str] = ()
) -> Page[EntryRow]:
    """Entries, newest first; ``kinds`` keeps to these."""
    wanted = [entry.c.kind.in_(list(kinds))] if kinds else []
    with book.reading() as connection:
        count = connection.scalar(select(func.count()).select_from(entry).where(*wanted)) or 0
        rows = entry_rows(
            connection,
            select(entry).where(*wanted).order_by(entry.c.id.desc()).offset(first).limit(most),
        )
    return Page(count, first, rows)

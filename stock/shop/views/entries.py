"""The last entries of the book, to show what was booked and to take it back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import islice
from typing import Any

from sqlalchemy import Connection, Select, func, select

from stock.book.opening import Book
from stock.book.tables import entry, item, lot, movement

NAMED = 20
"""Items named of one entry: a few lines of a screen."""


@dataclass(frozen=True, slots=True)
class EntryRow:
    """One entry in a line: what moved of what."""

    entry: int
    kind: str
    day: date
    who: str
    note: str
    what: str
    undone: bool


def last_entries(book: Book, *, kinds: Sequence[str] = (), most: int = 50) -> list[EntryRow]:
    """The newest entries first; ``kinds`` keeps to these."""
    query = select(entry).order_by(entry.c.id.desc()).limit(most)
    if kinds:
        query = query.where(entry.c.kind.in_(kinds))
    with book.reading() as connection:
        return entry_rows(connection, query)


def entry_rows(connection: Connection, query: Select[Any]) -> list[EntryRow]:
    """Entries of a query, each with what it moved."""
    rows = connection.execute(query).all()
    ids = [row.id for row in rows]
    undone = set(connection.scalars(select(entry.c.reverses).where(entry.c.reverses.in_(ids))))
    moved: dict[int, dict[tuple[str, str], dict[str, int]]] = {}
    for entry_id, sku, unit, code, amount in connection.execute(
        select(
            movement.c.entry_id,
            item.c.sku,
            item.c.unit,
            lot.c.code,
            func.sum(movement.c.amount),
        )
        .join(item, item.c.id == movement.c.item_id)
        .join(lot, lot.c.id == movement.c.lot_id)
        .where(movement.c.entry_id.in_(ids))
        .group_by(movement.c.entry_id, item.c.sku, item.c.unit, lot.c.code)
        .order_by(movement.c.entry_id, item.c.sku, lot.c.code)
    ):
        moved.setdefault(entry_id, {}).setdefault((sku, unit), {})[code] = int(amount)
    return [
        EntryRow(
            row.id,
            row.kind,
            row.day,
            row.who,
            row.note,
            _of_items(moved.get(row.id, {})),
            row.id in undone,
        )
        for row in rows
    ]


def _of_items(moved: dict[tuple[str, str], dict[str, int]]) -> str:
    """What an entry moved, in a line; of an import of thousands, the first.

    >>> moved = {(f"I{n}", "each"): {"A": 1000} for n in range(5000)}
    >>> _of_items(moved)[-46:]
    'I18 1 lot A; I19 1 lot A; and 4,980 items more'
    """
    named = [_of_item(*what, lots) for what, lots in islice(moved.items(), NAMED)]
    if len(moved) > NAMED:
        named.append(f"and {len(moved) - NAMED:,} items more")
    return "; ".join(named)


def _of_item(sku: str, unit: str, lots: dict[str, int]) -> str:
    """What an entry moved of one item: a blend's lots are only counted.

    >>> _of_item("INK-C", "mL", {"A": 2000, "B": 574}), _of_item("TEE", "each", {"C": 3000})
    ('INK-C 2.574 mL of 2 lots', 'TEE 3 lot C')
    """
    amount = f"{sum(lots.values()) / 1000:,.6g} {unit}".replace(" each", "")
    which = f"lot {next(iter(lots))}" if len(lots) == 1 else f"of {len(lots)} lots"
    return f"{sku} {amount} {which}"

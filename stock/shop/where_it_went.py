"""Where goods went: every movement out of, or into, the shop's stock put into one column.

Amounts are integers of thousandths. A movement that takes another back goes into the same column
with the opposite sign, on its own day; movements within the shop (shelf to slot, to quarantine)
are in none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Final

from sqlalchemy import Connection, case, func, select

from stock.book.catalogue import HOLDING_KINDS
from stock.book.tables import container, entry, item, lot, movement, place

USES: Final = (
    "printed",
    "misprint",
    "upkeep",
    "expired",
    "unusable_rest",
    "scrapped",
    "returned",
    "into_mixes",
    "unexplained",
)
"""Columns that take away from stock."""

WASTED: Final = ("misprint", "expired", "unusable_rest", "scrapped", "unexplained")
"""Columns nobody wanted."""

_WASTE_BY_ENTRY: Final = {"print": "misprint", "expire": "expired", "trial": "upkeep"}
_TAKEN_OUT: Final = ("load", "swap", "unload")
"""Entries that take a cartridge out: what goes to waste then is first what never comes out."""
_BY_TARGET: Final = {
    "printed": "printed",
    "upkeep": "upkeep",
    "returned": "returned",
    "mixing": "into_mixes",
}


@dataclass(frozen=True, slots=True)
class Went:
    """So much of a lot on one day (or over all days asked for) in one column.

    ``column`` is one of :data:`USES`, ``received`` or ``made``; ``amount`` is negative where more
    was taken back than moved.
    """

    day: date | None
    item_id: int
    item_kind: str
    lot_id: int
    owner: str
    column: str
    amount: int


def where_it_went(
    connection: Connection, first: date, last: date, *, by_day: bool = False
) -> Iterator[Went]:
    """Movements from ``first`` to ``last`` (both counted), added up by lot and column."""
    source, target = place.alias("source"), place.alias("target")
    undone = entry.alias("undone")
    kind = func.coalesce(undone.c.kind, entry.c.kind)
    rest = case(
        (movement.c.amount < container.c.unusable_rest, movement.c.amount),
        else_=container.c.unusable_rest,
    )
    never_came_out = case((kind.in_(_TAKEN_OUT), func.coalesce(rest, 0)), else_=0)
    columns = [
        movement.c.item_id,
        item.c.kind.label("item_kind"),
        movement.c.lot_id,
        lot.c.owner,
        source.c.kind.label("source"),
        target.c.kind.label("target"),
        kind.label("kind"),
        entry.c.reverses.is_not(None).label("back"),
    ]
    if by_day:
        columns.append(movement.c.day)
    rows = connection.execute(
        select(
            *columns,
            func.sum(movement.c.amount).label("amount"),
            func.sum(never_came_out).label("never_came_out"),
        )
        .join(entry, entry.c.id == movement.c.entry_id)
        .join(item, item.c.id == movement.c.item_id)
        .join(lot, lot.c.id == movement.c.lot_id)
        .join(source, source.c.id == movement.c.from_place_id)
        .join(target, target.c.id == movement.c.to_place_id)
        .outerjoin(undone, undone.c.id == entry.c.reverses)
        .outerjoin(
            container,
            container.c.id
            == func.coalesce(movement.c.from_container_id, movement.c.to_container_id),
        )
        .where(movement.c.day >= first, movement.c.day <= last)
        .group_by(*columns)
    )
    for row in rows:
        went_from, went_to, amount = row.source, row.target, int(row.amount)
        if row.back:
            went_from, went_to, amount = went_to, went_from, -amount
        column = _column(row.kind, went_from, went_to)
        if not column:
            continue
        if went_from == "correction":
            amount = -amount
        parts = {column: amount}
        if column == "scrapped" and row.never_came_out:
            rest_part = int(row.never_came_out) * (-1 if row.back else 1)
            parts = {"unusable_rest": rest_part, "scrapped": amount - rest_part}
        for name, part in parts.items():
            if part:
                yield Went(
                    row.day if by_day else None,
                    row.item_id,
                    row.item_kind,
                    row.lot_id,
                    row.owner,
                    name,
                    part,
                )


def _column(kind: str, source: str, target: str) -> str:
    """The column of a movement by its places; empty for one within the shop."""
    if source in HOLDING_KINDS and target in HOLDING_KINDS:
        return ""
    if source == "supplier":
        return "received"
    if source == "mixing":
        return "made"
    if "correction" in (source, target):
        return "unexplained"
    if target == "waste":
        return _WASTE_BY_ENTRY.get(kind, "scrapped")
    return _BY_TARGET[target]

"""What each item lost day by day: prints, upkeep, and ink the scale missed; in base units.

The same losses the accuracy log takes for the truth, by day. Customers' garments do not count; what
a print asked for beyond the book does, except ink, which the next weighing finds.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement, Connection, Select, and_, case, func, or_, select

from stock.book.tables import entry, item, lot, movement, order_line, overrun, place, print_run
from stock.demand.known import Floats
from stock.shop.snapshot.known_on import stands
from stock.units import THOUSAND


def first_loss(connection: Connection) -> date | None:
    """The first day something was printed."""
    found: date | None = connection.scalar(
        select(func.min(entry.c.day)).where(entry.c.kind == "print", stands(entry.c.id))
    )
    return found


def daily_loss(connection: Connection, start: date, end: date) -> dict[str, Floats]:
    """Net loss of each item on each day from ``start`` to the day before ``end``.

    A day on which the scale found more than the book thought may be below 0.
    """
    days = (end - start).days
    found: dict[str, Floats] = defaultdict(lambda: np.zeros(days))
    for query, sign in (*_moved(), (_missed(), 1)):
        dated = query.where(entry.c.day >= start, entry.c.day < end, stands(entry.c.id))
        for sku, when, amount in connection.execute(dated.group_by(item.c.sku, entry.c.day)):
            found[sku][(when - start).days] += sign * float(amount) / THOUSAND
    return dict(found)


def _moved() -> list[tuple[Select[Any], int]]:
    """(sku, day, amount) of what went out, and of what the scale gave back."""
    spent = or_(
        and_(entry.c.kind.in_(("print", "trial")), place.c.kind.in_(("printed", "waste"))),
        place.c.kind == "upkeep",
    )
    corrected = and_(item.c.kind == "ink", place.c.kind == "correction")
    sides: tuple[tuple[ColumnElement[Any], int, ColumnElement[bool]], ...] = (
        (movement.c.to_place_id, 1, or_(spent, corrected)),
        (movement.c.from_place_id, -1, corrected),
    )
    return [
        (
            select(item.c.sku, entry.c.day, func.sum(movement.c.amount))
            .join(movement, movement.c.item_id == item.c.id)
            .join(entry, entry.c.id == movement.c.entry_id)
            .join(lot, lot.c.id == movement.c.lot_id)
            .join(place, place.c.id == side)
            .where(counts, lot.c.owner == ""),
            sign,
        )
        for side, sign, counts in sides
    ]


def _missed() -> Select[Any]:
    brought: ColumnElement[bool] = and_(
        item.c.kind == "blank", func.coalesce(order_line.c.owner, "") != ""
    )
    missing = case((item.c.kind == "ink", 0), else_=overrun.c.asked - overrun.c.taken)
    return (
        select(item.c.sku, entry.c.day, func.sum(missing))
        .join(overrun, overrun.c.item_id == item.c.id)
        .join(entry, entry.c.id == overrun.c.entry_id)
        .outerjoin(print_run, print_run.c.entry_id == entry.c.id)
        .outerjoin(order_line, order_line.c.id == print_run.c.order_line_id)
        .where(~brought)
    )

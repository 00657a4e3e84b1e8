"""What the book knew on a day: which entries count, and which week a day falls in.

Business days decide, not the moment of posting: a snapshot of a past day holds what happened up to
and including that day. Queries only; amounts stay as the book keeps them.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Date,
    Integer,
    cast,
    func,
    literal,
    select,
    type_coerce,
)

from stock.book.tables import entry, movement, print_run

__all__ = ["is_past", "last_runs", "pieces_done", "stands", "week_of"]


def undone_entries() -> Any:
    """Subquery of the entries that were taken back."""
    return select(entry.c.reverses).where(entry.c.reverses.is_not(None))


def stands(entry_id: ColumnElement[Any]) -> ColumnElement[bool]:
    """The entry was not taken back."""
    return entry_id.not_in(undone_entries())


def week_of(connection: Connection, day: ColumnElement[Any], start: date) -> ColumnElement[int]:
    """Whole weeks from ``start`` to a day column, as SQL; ``start`` is not after the day."""
    if connection.dialect.name == "sqlite":
        days = func.julianday(day) - func.julianday(start.isoformat())
        return cast(days / 7, Integer)
    days_between = type_coerce(day.op("-")(literal(start, Date)), Integer)
    return days_between // 7


def is_past(connection: Connection, day: date) -> bool:
    """Whether anything moved after ``day``: then balances must be added up again."""
    moved = select(movement.c.id).where(movement.c.entry_id == entry.c.id).exists()
    later = select(entry.c.id).where(entry.c.day > day, moved).limit(1)
    return connection.scalar(later) is not None  # by the index on the entries' day


def pieces_done(connection: Connection, day: date) -> dict[int, int]:
    """Good pieces by order line, by the end of ``day``."""
    rows = connection.execute(
        select(print_run.c.order_line_id, func.sum(print_run.c.good))
        .join(entry, entry.c.id == print_run.c.entry_id)
        .where(
            print_run.c.order_line_id.is_not(None),
            entry.c.day <= day,
            stands(print_run.c.entry_id),
        )
        .group_by(print_run.c.order_line_id)
    )
    return {line: int(good) for line, good in rows}


def last_runs(connection: Connection) -> dict[int, date]:
    """Day of each order line's last run, whenever that was."""
    rows = connection.execute(
        select(print_run.c.order_line_id, func.max(entry.c.day))
        .join(entry, entry.c.id == print_run.c.entry_id)
        .where(print_run.c.order_line_id.is_not(None), stands(print_run.c.entry_id))
        .group_by(print_run.c.order_line_id)
    )
    return {row[0]: row[1] for row in rows}

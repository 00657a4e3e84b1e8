"""The few statements that every posting runs, as plain SQL for the database's own driver.

A posting's time is spent here and in the disk: building, keying and binding the same statements
through the expression language took longer than running them. Everything else in the program goes
through SQLAlchemy's expressions. Days and moments are turned into what the driver stores, and
back, in one place.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any, Final

from sqlalchemy import Connection

ENTRY_COLUMNS: Final = ("id", "kind", "day", "at", "who", "note", "source_ref", "reverses")
MOVEMENT_COLUMNS: Final = (
    "entry_id",
    "day",
    "item_id",
    "lot_id",
    "from_place_id",
    "from_container_id",
    "to_place_id",
    "to_container_id",
    "amount",
)
Leg = tuple[int, date, int, int, int, int | None, int, int | None, int]
"""A movement in the order of ``MOVEMENT_COLUMNS``."""

PLACES: Final = (
    "SELECT id, code, kind, printer_id, channel, feed, item_id, capacity, unusable_rest FROM place"
)
ITEMS: Final = "SELECT id, sku, unit FROM item WHERE id IN ({marks}) ORDER BY id"
HOLDINGS: Final = (
    "SELECT b.id, b.place_id, b.item_id, b.lot_id, b.container_id, b.amount, l.code, l.owner, "
    "l.sealed_expiry, l.received_on, c.effective_expiry "
    "FROM balance b JOIN lot l ON l.id = b.lot_id "
    "LEFT JOIN container c ON c.id = b.container_id WHERE b.item_id IN ({marks})"
)
ITEMS_OF_PLACES: Final = "SELECT DISTINCT item_id FROM balance WHERE place_id IN ({marks})"
ON_HAND: Final = (
    "SELECT i.sku, i.name, i.kind, l.code, l.owner, p.code, p.kind, COALESCE(c.code, ''), "
    "b.amount, i.unit, l.sealed_expiry, COALESCE(c.effective_expiry, l.sealed_expiry) "
    "FROM balance b JOIN lot l ON l.id = b.lot_id JOIN item i ON i.id = l.item_id "
    "JOIN place p ON p.id = b.place_id LEFT JOIN container c ON c.id = b.container_id "
    "ORDER BY i.sku, l.sealed_expiry, l.id, p.code, c.id"
)


def is_sqlite(connection: Connection) -> bool:
    """Whether the driver is SQLite's (else PostgreSQL's)."""
    return connection.dialect.name == "sqlite"


def asked(connection: Connection, statement: str, values: Sequence[Any] = ()) -> Sequence[Any]:
    """Rows of a plain statement; ``{marks}`` stands for a list of placeholders."""
    if values:
        mark = "?" if is_sqlite(connection) else "%s"
        statement = statement.format(marks=", ".join([mark] * len(values)))
    result = connection.exec_driver_sql(statement, tuple(values))
    rows: Sequence[Any] = result.cursor.fetchall()  # plain tuples, as the driver made them
    result.close()
    return rows


def locking(connection: Connection, statement: str) -> str:
    """The statement with its rows locked against other writers, where the database does that.

    FOR NO KEY UPDATE: rows that merely name the locked one can still be written by others.
    """
    return statement if is_sqlite(connection) else f"{statement} FOR NO KEY UPDATE"


def insert_many(
    connection: Connection, table: str, columns: Sequence[str], rows: Sequence[tuple[Any, ...]]
) -> None:
    """Plain ``executemany`` of rows in the order of ``columns``."""
    mark = "?" if is_sqlite(connection) else "%s"
    names = ", ".join(f'"{name}"' for name in columns)
    marks = ", ".join([mark] * len(columns))
    connection.exec_driver_sql(
        f"INSERT INTO {table} ({names}) VALUES ({marks})",
        list(rows),
    )


def insert_entries(connection: Connection, rows: Sequence[dict[str, Any]]) -> None:
    """Write entries."""
    moment = _moment_text if is_sqlite(connection) else _moment_plain
    stored = _day_text if is_sqlite(connection) else _day_plain
    insert_many(
        connection,
        "entry",
        ENTRY_COLUMNS,
        [
            (
                row["id"],
                row["kind"],
                stored(row["day"]),
                moment(row["at"]),
                row["who"],
                row["note"],
                row["source_ref"],
                row["reverses"],
            )
            for row in rows
        ],
    )


def insert_movements(connection: Connection, legs: Sequence[Leg]) -> None:
    """Write movements in the order given."""
    rows: Sequence[tuple[Any, ...]] = legs
    if is_sqlite(connection):
        rows = [(leg[0], _day_text(leg[1]), *leg[2:]) for leg in legs]
    insert_many(connection, "movement", MOVEMENT_COLUMNS, rows)


def change_balances(connection: Connection, changes: Sequence[tuple[int, int]]) -> None:
    """Add to balance rows: (difference, row)."""
    mark = "?" if is_sqlite(connection) else "%s"
    connection.exec_driver_sql(
        f"UPDATE balance SET amount = amount + {mark} WHERE id = {mark}", list(changes)
    )


def remove_balances(connection: Connection, rows: Sequence[int]) -> None:
    """Remove balance rows that fell to nothing."""
    mark = "?" if is_sqlite(connection) else "%s"
    connection.exec_driver_sql(f"DELETE FROM balance WHERE id = {mark}", [(row,) for row in rows])


def next_ids(connection: Connection, table: str, block: int, last: int) -> list[int]:
    """A block of primary keys of ``table`` above ``last``, largest first."""
    if is_sqlite(connection):
        written = connection.exec_driver_sql(f"SELECT MAX(id) FROM {table}").scalar() or 0
        first = max(written, last) + 1
        return list(range(first + block - 1, first - 1, -1))
    found = asked(
        connection,
        f"SELECT nextval('{table}_id_seq') FROM generate_series(1, {{marks}})",
        (block,),
    )
    return sorted((row[0] for row in found), reverse=True)


@lru_cache(maxsize=4096)
def as_day(stored: str | date | None) -> date | None:
    """A day as the driver gave it."""
    return date.fromisoformat(stored) if isinstance(stored, str) else stored


@lru_cache(maxsize=4096)
def _day_text(day: date) -> str:
    return day.isoformat()


def _day_plain(day: date) -> date:
    return day


def _moment_plain(at: datetime) -> datetime:
    if at.tzinfo is None:
        raise ValueError("a moment needs a time zone")
    return at.astimezone(UTC).replace(tzinfo=None)


@lru_cache(maxsize=64)
def _moment_text(at: datetime) -> str:
    return _moment_plain(at).strftime("%Y-%m-%d %H:%M:%S.%f")

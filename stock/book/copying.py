"""Copying a book while others write: page by page, or row by row between the two databases.

Every copy is made beside its target and put in place in one step, so that a copy interrupted
half-way is never taken for one.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import Connection, MetaData, func, insert, select, text
from sqlalchemy.exc import DBAPIError

from stock.book.opening import Book, book_url, engine_for
from stock.errors import Refused

CHUNK = 2_000
"""Rows carried at a time: bounded memory for any size of book."""


def copy_file(book: Book, target: Path) -> None:
    """Copy an SQLite book as it stands at one moment; writers go on meanwhile.

    Raises:
        Refused: The copy cannot be written there.
    """

    def fill(partial: Path) -> None:
        source = sqlite3.connect(book.url.database or "")
        copy = sqlite3.connect(partial)
        try:
            source.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
        finally:
            copy.close()
            source.close()

    _in_one_step(target, fill)


def copy_to_file(book: Book, revision: str, target: Path) -> None:
    """Copy a book of that schema row by row into an SQLite file, seen at one moment.

    Raises:
        Refused: The copy cannot be written there.
    """

    def fill(partial: Path) -> None:
        copy = Book(book_url(partial), engine_for(book_url(partial)))
        try:
            with book.reading() as reading:
                _write_copy(target, copy, reading, revision)
        finally:
            copy.close()

    _in_one_step(target, fill)


def _write_copy(target: Path, copy: Book, reading: Connection, revision: str) -> None:
    from stock.book.migrating import make_schema

    try:
        with copy.engine.connect() as plain:
            writing = plain.execution_options(stock_writing=True)
            with writing.begin():
                make_schema(writing, revision)
                copy_rows(reading, writing)
    except DBAPIError as error:
        raise Refused(f"The copy {target} cannot be written: {error.orig}.") from None


def copy_rows(source: Connection, target: Connection) -> None:
    """Copy every row of a book into one of the same schema that has no rows yet.

    The tables are read from whichever side is SQLite, so that books of older schemas can be copied
    too.
    """
    lite = source if source.dialect.name == "sqlite" else target
    tables = MetaData()
    tables.reflect(bind=lite)
    for table in tables.sorted_tables:
        if table.name == "alembic_version":
            continue
        last = 0
        while True:
            rows = source.execute(
                select(table).where(table.c.id > last).order_by(table.c.id).limit(CHUNK)
            ).all()
            if not rows:
                break
            target.execute(insert(table), [dict(row._mapping) for row in rows])
            last = rows[-1].id
        if target.dialect.name == "postgresql" and last:
            target.execute(
                select(func.setval(text(f"pg_get_serial_sequence('{table.name}', 'id')"), last))
            )


def _in_one_step(target: Path, fill: Callable[[Path], None]) -> None:
    """Make the file beside ``target`` (the owner's only), then put it in place."""
    partial = target.with_name(f"{target.name}.partial")
    try:
        partial.unlink(missing_ok=True)
        os.close(os.open(partial, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        fill(partial)
        with open(partial, "rb") as written:
            os.fsync(written.fileno())
        os.replace(partial, target)
        folder = os.open(target.parent, os.O_RDONLY)
        os.fsync(folder)
        os.close(folder)
    except OSError as error:
        raise Refused(f"The copy {target} cannot be written: {error.strerror}.") from None
    except sqlite3.Error as error:
        raise Refused(f"The copy {target} cannot be written: {error}.") from None
    finally:
        partial.unlink(missing_ok=True)

"""Upgrading a book's schema with Alembic, and the rows every book begins with.

Alembic is imported here and nowhere else in the program, so that everyday commands do not pay
for it. An upgrade is one transaction on either database: interrupted, it leaves the old schema,
and the next start begins it again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, insert, select, text

import stock
from stock.book.opening import Book
from stock.book.tables import place
from stock.errors import BookUnusable

FIRST_PLACES = (
    ("SUPPLIER", "supplier"),
    ("SHELF", "shelf"),
    ("PRINTED", "printed"),
    ("UPKEEP", "upkeep"),
    ("WASTE", "waste"),
    ("CORRECTION", "correction"),
    ("QUARANTINE", "quarantine"),
    ("RETURNED", "returned"),
    ("MIXING", "mixing"),
)

UPGRADE_LOCK = 4_302_211
"""PostgreSQL advisory lock held while a schema is made or upgraded; the number means nothing."""


def migrations_folder() -> Path:
    """The revisions: inside the installed package, or beside it in a checkout."""
    inside = Path(stock.__file__).parent / "migrations"
    return inside if inside.is_dir() else Path(stock.__file__).parent.parent / "migrations"


def alembic_config(connection: Connection | None = None) -> Config:
    """Alembic's configuration without an .ini file."""
    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def upgrade(book: Book, revision: str | None, *, copies: Path | None = None) -> None:
    """Bring ``book`` from ``revision`` (None: nothing there) to the newest schema.

    A copy of an existing book is made first: beside an SQLite file, or as an SQLite file in
    ``copies`` for PostgreSQL. It is named after the book and its old revision.
    """
    if revision is not None:
        keep_copy(book, revision, copies)
    if book.is_sqlite:
        plain_file = sqlite3.connect(book.url.database or "")
        plain_file.execute("PRAGMA journal_mode=WAL")
        plain_file.close()
    with book.engine.connect() as plain:
        connection = plain.execution_options(stock_writing=True)
        with _tables_may_be_rebuilt(connection), connection.begin():
            dangling = _dangling(connection)
            make_schema(connection)
            seed(connection)
            if _dangling(connection) > dangling:
                raise BookUnusable(
                    f"{book.shown} was not upgraded: rows would refer to what is not there. "
                    "It stays as it was."
                )


@contextmanager
def _tables_may_be_rebuilt(connection: Connection) -> Iterator[None]:
    """SQLite rebuilds a table by dropping it, which foreign keys forbid while rows point to it.

    The setting holds for a connection and cannot change within a transaction.
    """
    if connection.dialect.name != "sqlite":
        yield
        return
    raw: Any = connection.connection.dbapi_connection
    raw.execute("PRAGMA foreign_keys=OFF")
    try:
        yield
    finally:
        raw.execute("PRAGMA foreign_keys=ON")


def _dangling(connection: Connection) -> int:
    """Rows that refer to what is not there, on the database that was told not to look."""
    if connection.dialect.name != "sqlite":
        return 0
    return len(connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall())


def make_schema(connection: Connection, revision: str = "head") -> None:
    """Run the revisions up to ``revision`` in the caller's transaction."""
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SELECT pg_advisory_xact_lock({UPGRADE_LOCK})"))
    command.upgrade(alembic_config(connection), revision)


def keep_copy(book: Book, revision: str, copies: Path | None) -> Path:
    """The copy made before an upgrade; one made by an interrupted upgrade is replaced."""
    from stock.book.copying import copy_file, copy_to_file

    if book.is_sqlite:
        path = Path(book.url.database or "")
        kept = path.with_name(f"{path.name}.schema-{revision}")
        copy_file(book, kept)
    else:
        if copies is None:
            raise ValueError("the copy of a PostgreSQL book needs a folder")
        copies.mkdir(parents=True, exist_ok=True)
        kept = copies / f"{book.url.database}.schema-{revision}.sqlite"
        copy_to_file(book, revision, kept)
    return kept


def seed(connection: Connection) -> None:
    """The places every book has; rows already there stay."""
    there = set(connection.scalars(select(place.c.code)))
    rows = [{"code": code, "kind": kind} for code, kind in FIRST_PLACES if code not in there]
    if rows:
        connection.execute(insert(place), rows)

"""Upgrading a book's schema with Alembic, and the rows every book begins with.

Alembic is imported here and nowhere else in the program, so that everyday commands do not pay
for it.
"""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, insert, select

import stock
from stock.book.opening import Book
from stock.book.tables import place

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


def upgrade(book: Book, *, backup: bool) -> None:
    """Bring ``book`` to the newest schema in one transaction; a copy is kept first on SQLite."""
    if backup and book.is_sqlite and book.url.database:
        from stock.book.backup import copy_book

        path = Path(book.url.database)
        kept = path.with_name(f"{path.name}.before-upgrade")
        partial = kept.with_name(f"{kept.name}.partial")
        partial.unlink(missing_ok=True)
        copy_book(book, partial)
        shutil.move(partial, kept)
    if book.is_sqlite:
        plain_file = sqlite3.connect(book.url.database or "")
        plain_file.execute("PRAGMA journal_mode=WAL")
        plain_file.close()
    with book.engine.connect() as plain:
        connection = plain.execution_options(stock_writing=True)
        with connection.begin():
            command.upgrade(alembic_config(connection), "head")
            seed(connection)


def seed(connection: Connection) -> None:
    """The places every book has; rows already there stay."""
    there = set(connection.scalars(select(place.c.code)))
    rows = [{"code": code, "kind": kind} for code, kind in FIRST_PLACES if code not in there]
    if rows:
        connection.execute(insert(place), rows)

"""The frame of the book: file, triggers, and every constraint of the schema asked again.

A constraint the database enforces may have been dropped, or switched off while rows were written,
so each is asked as a question: which rows break it? The questions are made from the tables'
definitions; a new column brings its own.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import (
    CheckConstraint,
    Connection,
    Index,
    PrimaryKeyConstraint,
    Table,
    UniqueConstraint,
    and_,
    func,
    or_,
    select,
    text,
)

from stock.book.finding import MOST_SHOWN, Finding
from stock.book.tables import APPEND_ONLY, metadata


def file_sound(connection: Connection) -> Iterator[Finding]:
    """SQLite's own check of its pages and indexes (PostgreSQL looks after its own)."""
    if connection.dialect.name != "sqlite":
        return
    for (said,) in connection.execute(text("PRAGMA integrity_check")):
        if said != "ok":
            yield Finding("file", "book", None, str(said), "a sound file; restore a backup")


def append_only(connection: Connection) -> Iterator[Finding]:
    """The triggers that refuse UPDATE and DELETE stand and are switched on."""
    if connection.dialect.name == "sqlite":
        there = set(
            connection.scalars(text("SELECT name FROM sqlite_master WHERE type = 'trigger'"))
        )
        wanted = {
            f"{table}_no_{verb}": table for table in APPEND_ONLY for verb in ("update", "delete")
        }
    else:
        there = set(
            connection.scalars(text("SELECT tgname FROM pg_trigger WHERE tgenabled IN ('O', 'A')"))
        )
        wanted = {f"{table}_append_only": table for table in APPEND_ONLY}
    for name, table in wanted.items():
        if name not in there:
            yield Finding("append-only", table, None, f"no trigger {name}", "one that refuses")


def orphans(connection: Connection) -> Iterator[Finding]:
    """Rows that name a row that is not there."""
    for table in metadata.sorted_tables:
        for key in table.foreign_keys:
            parent = key.column.table.alias("parent")
            column = key.parent
            lost = (
                select(table.c.id, column)
                .select_from(table.outerjoin(parent, column == parent.c.id))
                .where(column.is_not(None), parent.c.id.is_(None))
                .limit(MOST_SHOWN)
            )
            for row_id, named in connection.execute(lost):
                yield Finding(
                    "orphan",
                    table.name,
                    row_id,
                    f"{column.name} {named}",
                    f"a row of {key.column.table.name}",
                )


def constraints(connection: Connection) -> Iterator[Finding]:
    """Rows that break a CHECK, a NOT NULL or a uniqueness of the schema."""
    for table in metadata.sorted_tables:
        yield from _broken_checks(connection, table)
        yield from _missing_values(connection, table)
        yield from _duplicates(connection, table)


def _broken_checks(connection: Connection, table: Table) -> Iterator[Finding]:
    for constraint in table.constraints:
        if not isinstance(constraint, CheckConstraint):
            continue
        broken = select(table.c.id).where(text(f"NOT ({constraint.sqltext})")).limit(MOST_SHOWN)
        for row_id in connection.scalars(broken):
            yield Finding(
                "constraint", table.name, row_id, "a value it forbids", str(constraint.sqltext)
            )


def _missing_values(connection: Connection, table: Table) -> Iterator[Finding]:
    needed = [column for column in table.c if not column.nullable and not column.primary_key]
    if not needed:
        return
    missing = select(table.c.id, *needed).where(or_(*(column.is_(None) for column in needed)))
    for row in connection.execute(missing.limit(MOST_SHOWN)):
        empty = [column.name for column in needed if row._mapping[column.name] is None]
        yield Finding("constraint", table.name, row.id, f"no {', '.join(empty)}", "a value")


def _duplicates(connection: Connection, table: Table) -> Iterator[Finding]:
    keys = [
        (tuple(constraint.columns), None)
        for constraint in table.constraints
        if isinstance(constraint, UniqueConstraint)
    ]
    keys += [
        (tuple(index.columns), index.dialect_options["sqlite"]["where"])
        for index in table.indexes
        if isinstance(index, Index) and index.unique
    ]
    keys += [
        (tuple(constraint.columns), None)
        for constraint in table.constraints
        if isinstance(constraint, PrimaryKeyConstraint)
    ]
    for columns, where in keys:
        known = and_(*(column.is_not(None) for column in columns)) if where is None else where
        twice = (
            select(func.max(table.c.id), func.count())
            .where(known)
            .group_by(*columns)
            .having(func.count() > 1)
            .limit(MOST_SHOWN)
        )
        for row_id, count in connection.execute(twice):
            names = ", ".join(column.name for column in columns)
            yield Finding("twice", table.name, row_id, f"{count} rows of one {names}", "one")

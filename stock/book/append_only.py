"""Triggers that refuse UPDATE and DELETE on the tables of what happened.

A revision that rebuilds such a table (``batch_alter_table`` on SQLite drops its triggers) calls
``protect`` again for it.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, text


def protect(connection: Connection, tables: Iterable[str]) -> None:
    """Make ``tables`` append-only on either database; calling twice does no harm."""
    if connection.dialect.name == "sqlite":
        for table in tables:
            for verb in ("UPDATE", "DELETE"):
                connection.execute(
                    text(
                        f"CREATE TRIGGER IF NOT EXISTS {table}_no_{verb.lower()} "
                        f"BEFORE {verb} ON {table} BEGIN "
                        f"SELECT RAISE(ABORT, '{table} is append-only'); END"
                    )
                )
        return
    connection.execute(
        text(
            "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ "
            "BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"
        )
    )
    for table in tables:
        connection.execute(text(f"DROP TRIGGER IF EXISTS {table}_append_only ON {table}"))
        connection.execute(
            text(
                f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE "
                f"ON {table} FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
            )
        )

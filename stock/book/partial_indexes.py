"""Indexes that hold for some rows only; imported where the schema is made or compared.

Naming a condition for PostgreSQL makes SQLAlchemy load that whole dialect, which everyday commands
on SQLite must not pay for.
"""

from __future__ import annotations

from sqlalchemy import Index

from stock.book.record import balance

Index(
    "uq_balance_unopened",
    balance.c.place_id,
    balance.c.lot_id,
    unique=True,
    sqlite_where=balance.c.container_id.is_(None),
    postgresql_where=balance.c.container_id.is_(None),
)
Index(
    "uq_balance_in_container",
    balance.c.place_id,
    balance.c.lot_id,
    balance.c.container_id,
    unique=True,
    sqlite_where=balance.c.container_id.is_not(None),
    postgresql_where=balance.c.container_id.is_not(None),
)

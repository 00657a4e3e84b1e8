"""How Alembic reaches the book: the connection handed in by ``stock.book.migrating``."""

from __future__ import annotations

import os

from alembic import context

import stock.book.partial_indexes  # noqa: F401 - part of the schema compared
from stock.book.opening import book_url, engine_for
from stock.book.tables import metadata


def run() -> None:
    """Run the revisions on the connection given, or on STOCK_BOOK for a developer's command."""
    connection = context.config.attributes.get("connection")
    if connection is not None:
        _run_on(connection)
        return
    engine = engine_for(book_url(os.environ["STOCK_BOOK"]))
    with engine.connect() as own, own.begin():
        _run_on(own)


def _run_on(connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=connection.dialect.name == "sqlite",
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()


run()

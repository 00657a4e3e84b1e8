"""The same databases as ``tests/book``."""

from __future__ import annotations

from tests.book.conftest import (  # noqa: F401 - fixtures are found by name
    book,
    lived_in,
    lived_in_postgres,
    lived_in_sqlite,
    postgres_book,
    server,
    sqlite_book,
    sqlite_template,
)

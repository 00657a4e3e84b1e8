"""The same databases as ``tests/book``."""

from __future__ import annotations

from tests.book.conftest import (  # noqa: F401 - fixtures are found by name
    book,
    postgres_book,
    server,
    sqlite_book,
    sqlite_template,
)

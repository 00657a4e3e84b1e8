"""Whether the book changed since it was last looked at, asked cheaply and often.

A mark is only compared with another mark of the same book. On SQLite it is what the file system
says of the book's files; on PostgreSQL where the server's log stands, which moves with every
write. Nothing is read from the book's tables.
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import text

from stock.book.opening import Book

Mark = tuple[object, ...]


def book_mark(book: Book) -> Mark:
    """Differs from an earlier mark when anybody wrote to the book in between."""
    if book.is_sqlite and book.url.database:
        found: list[object] = []
        for name in (book.url.database, f"{book.url.database}-wal"):
            try:
                seen = Path(name).stat()
            except OSError:
                found.append(None)
            else:
                found.append((seen.st_mtime_ns, seen.st_size, seen.st_ino))
        return tuple(found)
    with book.reading() as connection:
        return (str(connection.scalar(text("SELECT pg_current_wal_insert_lsn()"))),)

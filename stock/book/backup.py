"""A consistent copy of the book, taken while others write."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from stock.book.opening import Book
from stock.errors import Refused


def copy_book(book: Book, target: Path) -> None:
    """Copy an SQLite book page by page into ``target``, readable by its owner only."""
    if target.exists():
        raise Refused(f"{target} exists already; name a new file for the copy.")
    os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    source = sqlite3.connect(book.url.database or "")
    copy = sqlite3.connect(target)
    try:
        source.backup(copy)
    finally:
        copy.close()
        source.close()

"""Keeping the book sound: checking it from its own rows, copying it, putting a copy back."""

from __future__ import annotations

from pathlib import Path

from stock.book.backup import Copied, backup, restore
from stock.book.check import Checked, check_book
from stock.book.opening import create_book
from stock.book.roles import role_script
from stock.shop import Book
from stock.shop.station import data_folder

__all__ = [
    "Checked",
    "Copied",
    "backup",
    "check_book",
    "make_or_upgrade",
    "restore",
    "role_script",
]


def make_or_upgrade(where: str) -> Book:
    """Create the book or upgrade it; an older PostgreSQL book's copy goes to the user's data."""
    return create_book(where, copies=Path(data_folder()) / "copies")

"""What is on hand, for people and for other programs."""

from __future__ import annotations

from datetime import date

from stock.book.onhand import OnHand, on_hand_rows
from stock.book.opening import Book

__all__ = ["OnHand", "on_hand"]


def on_hand(book: Book, day: date | None = None) -> list[OnHand]:
    """What every place holds now, or held at the end of ``day``."""
    with book.reading() as connection:
        return on_hand_rows(connection, day)

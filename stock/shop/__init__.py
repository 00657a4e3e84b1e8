"""One function per thing a person does; faces call these and nothing below.

The names every face needs are loaded on first use, so that a light command stays light.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from stock.book.opening import Book, create_book, open_book

__all__ = ["Book", "create_book", "open_book"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        from stock.book import opening

        return getattr(opening, name)
    raise AttributeError(f"module 'stock.shop' has no attribute {name!r}")

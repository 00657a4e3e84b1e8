"""This station: which book, who, which currency. Read once from the environment and a TOML file.

The settings proper (service targets, shop calendar, units) live in ``stock.shop.settings``.
"""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

APP = "stock"
BOOK_VARIABLE = "STOCK_BOOK"
WHO_VARIABLE = "STOCK_WHO"


def data_folder() -> Path:
    """The user's data folder of this program; not created here."""
    return Path(platformdirs.user_data_dir(APP, appauthor=False))


def default_book() -> str:
    """Where the book is when nobody says otherwise."""
    return os.environ.get(BOOK_VARIABLE) or str(data_folder() / "book.sqlite")


def demo_folder() -> Path:
    """Where ``stock demo`` builds its shop."""
    return data_folder() / "demo-book"


def who() -> str:
    """Who posts from this station: free text."""
    return os.environ.get(WHO_VARIABLE) or os.environ.get("USER") or ""

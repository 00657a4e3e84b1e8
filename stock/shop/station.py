"""This station: which book, and who posts. Read from the environment and the settings file."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

from stock.shop.settings import load_settings

APP = "stock"


def data_folder() -> Path:
    """The user's data folder of this program; not created here."""
    return Path(platformdirs.user_data_dir(APP, appauthor=False))


def cache_folder() -> Path:
    """Where measured artwork is kept by content, so that measuring it again costs nothing."""
    named = os.environ.get("STOCK_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir(APP, appauthor=False))


def default_book() -> str:
    """Where the book is when a command does not say: settings, else the user's data folder."""
    return load_settings().book or str(data_folder() / "book.sqlite")


def demo_folder() -> Path:
    """Where ``stock demo`` builds its shop."""
    return data_folder() / "demo-book"


def who() -> str:
    """Who posts from this station: free text."""
    return str(load_settings()["who"]) or os.environ.get("USER") or ""

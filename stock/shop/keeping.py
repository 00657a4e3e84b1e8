"""Keeping the book sound: checking it from its own rows."""

from __future__ import annotations

from stock.book.check import Checked, check_book

__all__ = ["Checked", "check_book"]

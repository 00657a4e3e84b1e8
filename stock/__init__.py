"""Consumables inventory and reorder forecaster for direct-to-garment print shops.

For notebooks: ``from stock import open_book, measure, plan`` (see ``stock.notebook``).
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"
__all__ = ["__version__", "measure", "open_book", "plan"]


def __getattr__(name: str) -> Any:
    # By name and on first use: ``import stock`` must stay light, and nothing below may depend on
    # the notebook's frames.
    if name in ("measure", "open_book"):
        return getattr(import_module("stock.notebook"), name)
    if name == "plan":
        return import_module("stock.plan")
    raise AttributeError(f"module 'stock' has no attribute {name!r}")

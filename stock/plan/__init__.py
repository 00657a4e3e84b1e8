"""Snapshot in, decisions out. In a notebook the package itself may be called: ``plan(book)``."""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import Any


class _Planning(ModuleType):
    """This package, callable: ``from stock import plan`` cannot tell a function from it."""

    def __call__(self, book: Any = None, on: Any = None) -> Any:
        # By name, since nothing here may depend on the book: only notebooks take this way in.
        return import_module("stock.notebook").plan(book, on)


sys.modules[__name__].__class__ = _Planning

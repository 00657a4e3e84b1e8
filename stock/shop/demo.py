"""The demo shop: files made by ``demo/``, taken in by the same importers a shop uses."""

from __future__ import annotations

import importlib.util
import shutil
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import ModuleType

import stock
from stock.book.opening import Book, create_book
from stock.errors import Refused
from stock.shop.imports import import_rows

MARK = ".stock-demo"
"""Written into a folder the demo built, so that it never clears a folder of somebody's own."""

ORDER_OF_IMPORT = (
    "suppliers",
    "items",
    "packs",
    "printers",
    "modes",
    "artworks",
    "orders",
    "purchases",
    "deliveries",
    "prints",
    "counts",
    "jobink",
)


def _files_maker() -> ModuleType:
    """The demo's script: shipped inside the package, or beside it in a checkout."""
    inside = Path(stock.__file__).parent / "demo"
    folder = inside if inside.is_dir() else Path(stock.__file__).parent.parent / "demo"
    name = "stock_demo_files"
    spec = importlib.util.spec_from_file_location(
        name, folder / "__init__.py", submodule_search_locations=[str(folder)]
    )
    if spec is None or spec.loader is None:
        raise Refused("The demo's files are not installed with this program.")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def build_demo(folder: Path, day: date, *, say: Callable[[str], None]) -> Book:
    """Make the demo shop's files in ``folder`` and import them into a fresh book there.

    Raises:
        Refused: ``folder`` holds something the demo did not build.
    """
    if folder.exists():
        if not folder.is_dir():
            raise Refused(f"{folder} is a file; the demo needs a folder.")
        if any(folder.iterdir()) and not (folder / MARK).exists():
            raise Refused(f"{folder} is not empty and the demo did not build it; name another.")
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    (folder / MARK).touch()
    say(f"Building an invented shop in {folder} …")
    _files_maker().make_files(folder / "files", day)
    book = create_book(folder / "book.sqlite")
    for kind in ORDER_OF_IMPORT:
        path = folder / "files" / f"{kind}.csv"
        if path.exists():
            done = import_rows(book, kind, path, on=day, who="demo")
            extra = f" ({'; '.join(done.notes)})" if done.notes else ""
            say(f"  {kind}: {done.rows} rows{extra}")
    return book

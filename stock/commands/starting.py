"""Beginning: ``stock start`` and ``stock demo``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    book_address,
    day_of,
    open_screens,
    say,
    show_json,
    tell,
)


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(start)
    app.command()(demo)


def start(as_json: JsonOption = False) -> None:
    """Create the book, or bring an older one up to this program.

    Example:

    \b
        stock start
    """
    from stock.shop.keeping import make_or_upgrade

    book = make_or_upgrade(book_address())
    if as_json:
        show_json({"book": book.shown})
    else:
        say(f"The book is at {book.shown}. Next: stock import --template items > items.csv")


def demo(
    folder: Annotated[
        Path | None,
        typer.Option("--dir", metavar="D", help="Where to build it (rebuilt each time)."),
    ] = None,
    no_screen: Annotated[
        bool, typer.Option("--no-screen", help="Do not open the terminal UI afterwards.")
    ] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Build an invented shop from files and show its weekly list and expiring lots.

    Your own book is not touched.

    Example:

    \b
        stock demo --no-screen
    """
    from stock.commands.planning import print_expiring
    from stock.commands.reordering import print_reorder
    from stock.shop.demo import build_demo
    from stock.shop.planning import expiring_lots, reorder_list
    from stock.shop.station import demo_folder

    day = day_of(on)
    book = build_demo(folder or demo_folder(), day, say=say)
    weekly = reorder_list(book, day)
    lots = expiring_lots(book, day, within_days=90)
    if as_json:
        show_json({"reorder": weekly.to_json(), "expiring": [lot.to_json() for lot in lots]})
    else:
        print_reorder(weekly, why=True)
        tell()
        print_expiring(lots)
    if sys.stdout.isatty() and not no_screen and not as_json:
        open_screens(str(book.url.database))

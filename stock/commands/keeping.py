"""Keeping the book sound: ``stock check``, ``stock backup``, ``stock restore``, ``stock roles``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from stock.commands.shared import (
    JsonOption,
    book_address,
    reading_book,
    say,
    show_json,
    show_table,
    tell,
    with_progress,
)
from stock.errors import ExitCode


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(check)
    app.command()(backup)
    app.command()(restore)
    app.command()(roles)


def check(as_json: JsonOption = False) -> None:
    """Recompute the whole book from its rows and report every difference.

    Exit code 4 when something is damaged.

    Example:

    \b
        stock check
    """
    from stock.shop.keeping import check_book

    book = reading_book()
    checked = with_progress("Checking the book", lambda report: check_book(book, report))
    if as_json:
        show_json(checked.to_json())
    else:
        if checked.findings:
            show_table(("finding",), [(str(finding),) for finding in checked.findings])
        say(
            f"{checked.entries:,} entries and {checked.movements:,} movements looked at, "
            f"{len(checked.findings)} findings."
        )
    if not checked.sound:
        raise typer.Exit(int(ExitCode.NEEDS_ATTENTION))


OverwriteOption = Annotated[bool, typer.Option("--overwrite", help="Replace what is there.")]


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where the copy goes.")],
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Copy the book into one file while others write, and check the copy.

    Example:

    \b
        stock backup book-2026-11-25.sqlite
    """
    from stock.shop.keeping import backup as copy_book

    _tell(copy_book(reading_book(), file, overwrite=overwrite), as_json, "Copied to")


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A copy made by stock backup.")],
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Put a copy in place of the book; the old book is kept beside it.

    A PostgreSQL book is restored into an empty database only.

    Example:

    \b
        stock restore book-2026-11-25.sqlite --overwrite
    """
    from stock.shop.keeping import restore as put_back

    done = put_back(file, book_address(), overwrite=overwrite)
    _tell(done, as_json, "Restored to")
    if done.kept and not as_json:
        say(f"The old book is kept at {done.kept}.")


def roles(
    station: Annotated[
        str, typer.Option("--station", help="Name of the role that keeps the book.")
    ] = "stock_station",
    reader: Annotated[
        str, typer.Option("--reader", help="Name of the role that only reads.")
    ] = "stock_reader",
) -> None:
    """Print the SQL that gives PostgreSQL logins the least they need.

    Example:

    \b
        stock roles > roles.sql
    """
    from stock.shop.keeping import role_script

    typer.echo(role_script(station, reader), nl=False)


def _tell(copied: Any, as_json: bool, what: str) -> None:
    checked = copied.checked
    if as_json:
        show_json(copied.to_json())
    else:
        tell(
            f"{what} {copied.path}: {checked.entries:,} entries, {checked.movements:,} movements, "
            f"{copied.bytes:,} bytes, {'sound' if checked.sound else 'damaged'}"
        )
        for finding in checked.findings:
            say(str(finding))
    if not checked.sound:
        raise typer.Exit(int(ExitCode.NEEDS_ATTENTION))

"""Keeping the book sound: ``stock check``."""

from __future__ import annotations

import typer

from stock.commands.shared import (
    JsonOption,
    reading_book,
    say,
    show_json,
    show_table,
    with_progress,
)
from stock.errors import ExitCode


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(check)


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

"""``stock import``: files a shop has, taken whole or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    day_of,
    making_book,
    say,
    show_json,
    with_progress,
)
from stock.errors import InputFaults, WrongUsage


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command("import")(import_file)


def import_file(
    kind: Annotated[str | None, typer.Argument(metavar="KIND", help="What the file holds.")] = None,
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="CSV or XLSX.")] = None,
    template: Annotated[
        str | None,
        typer.Option("--template", metavar="KIND", help="Print an example file of that kind."),
    ] = None,
    columns: Annotated[
        Path | None,
        typer.Option("--columns", metavar="MAP.toml", help="How this file's columns are named."),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Check the file and change nothing.")
    ] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take a file into the book: whole, or not at all with every fault named.

    KIND: items, packs, suppliers, printers, modes, artworks, orders, deliveries, prints, counts,
    weighings, jobink, purchases. The same file again changes nothing.

    Example:

    \b
        stock import --template orders > orders.csv
        stock import orders orders.csv --dry-run
    """
    from stock.exchange.columns import KINDS
    from stock.exchange.columns import template as example_file

    if template is not None:
        typer.echo(example_file(_known(template, KINDS)), nl=False)
        return
    if kind is None or file is None:
        raise WrongUsage("stock import needs a KIND and a FILE, or --template KIND.")
    from stock.shop.imports import import_rows
    from stock.shop.station import who

    named = _known(kind, KINDS)
    day = day_of(on)
    try:
        done = with_progress(
            f"Importing {file.name}",
            lambda report: import_rows(
                making_book,
                named,
                file,
                on=day,
                columns=columns,
                dry_run=dry_run,
                who=who(),
                on_progress=report,
            ),
        )
    except InputFaults as error:
        if as_json:
            show_json(
                {
                    "kind": named,
                    "rows": 0,
                    "new": 0,
                    "known": 0,
                    "faults": [
                        {
                            "line": fault.line,
                            "column": fault.column,
                            "found": fault.found,
                            "expected": fault.expected,
                        }
                        for fault in error.faults
                    ],
                }
            )
        raise
    if as_json:
        show_json(done.to_json())
        return
    would = "would be new" if dry_run else "new"
    changed = f", {done.changed} changed" if done.changed else ""
    say(f"{file.name}: {done.rows} rows, {done.new} {would}{changed}, {done.known} known already.")
    for note in done.notes:
        say(f"  {note}")


def _known(kind: str, kinds: object) -> str:
    names = sorted(kinds)  # type: ignore[call-overload]
    if kind not in names:
        raise WrongUsage(f"{kind!r} is not a kind of file; expected one of {', '.join(names)}.")
    return kind

"""``stock watch``: a folder looked after, so that nobody types what a file already says."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stock.commands.shared import (
    JsonOption,
    reading_book,
    say,
    show_json,
    tell,
)
from stock.errors import ExitCode

if TYPE_CHECKING:
    from stock.shop.watching import Taken


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(watch)


def watch(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder to look after.")],
    once: Annotated[
        bool, typer.Option("--once", help="Take what is there and stop; for a timer.")
    ] = False,
    poll: Annotated[
        bool, typer.Option("--poll", help="Look again and again; for network folders.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Take files as they land: measure artwork and tie it to orders, import logs and exports.

    A picture named A1043-2 belongs to line 2 of order A1043. Which table is what stands in
    DIR/watch.toml, else its name begins with a kind, as orders-monday.csv. Files stay where they
    are; taking one twice changes nothing.

    Example:

    \b
        stock watch hot-folder/
        stock watch hot-folder/ --once --json
    """
    from stock.clock import today
    from stock.shop.station import who
    from stock.shop.watching import Watch

    watching = Watch.of(reading_book(), folder, today, who=who())
    if once:
        found = list(watching.take_all())
        if as_json:
            show_json([one.to_json() for one in found])
        else:
            for one in found:
                _tell(one)
        if any(not one.taken for one in found):
            raise typer.Exit(int(ExitCode.REFUSED))
        return
    say(f"Watching {folder}; stop with Ctrl-C.")

    def told(one: Taken) -> None:
        show_json(one.to_json()) if as_json else _tell(one)

    try:
        watching.run(told, poll=poll)
    except KeyboardInterrupt:
        say("Stopped watching; every file was taken whole or not at all.")


def _tell(one: Taken) -> None:
    from stock.exchange.safe_text import safe_text

    if one.taken:
        tell(f"{safe_text(one.file)}: {safe_text(one.said)}")
    else:
        say(f"{safe_text(one.file)}: not taken: {one.said}")
    for note in one.notes:
        say(f"  {note}")

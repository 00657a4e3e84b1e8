"""``stock week``: the run that a timer starts."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    day_of,
    reading_book,
    say,
    show_json,
    tell,
    write_file,
)
from stock.errors import BookUnusable, ExitCode, WrongUsage


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(week)


def week(
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Write the files there.")
    ] = None,
    formats: Annotated[
        str, typer.Option("--formats", help="Which files, of txt,eml,pdf,xlsx,ics.")
    ] = "txt,eml,pdf,xlsx,ics",
    to: Annotated[
        str, typer.Option("--to", metavar="ADDRESS", help="To whom the mail is written.")
    ] = "",
    within: Annotated[
        str, typer.Option("--within", metavar="DAYS", help="How far ahead lots expire, as 90d.")
    ] = "90d",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make the week's list, expiring lots and order sheets; exit code 4 when somebody is needed.

    Nothing is ordered and nothing is sent: the mail is a draft in a file. What the plan believes
    today is kept, to be scored when its weeks are over.

    Example:

    \b
        stock week --out weekly/
        stock week --out weekly/ --formats eml,pdf --to buyer@shop.example
    """
    from stock.clock import now_utc
    from stock.commands.planning import days_of
    from stock.exchange.reports import report_text
    from stock.shop.forecast_log import keep_needs
    from stock.shop.week import the_week
    from stock.shop.week_files import FORMATS, week_files, week_text_report

    wanted = [name.strip().lower().lstrip(".") for name in formats.split(",") if name.strip()]
    for name in wanted:
        if name not in FORMATS:
            raise WrongUsage(f"--formats {name!r}: expected some of {','.join(FORMATS)}.")
    if out is not None and out.exists() and not out.is_dir():
        raise WrongUsage(f"--out {out} is a file; expected a folder.")
    book, day = reading_book(), day_of(on)
    found = the_week(book, day, within_days=days_of(within))
    try:
        keep_needs(book, day)
    except BookUnusable as error:
        say(f"  Today's forecasts were not kept, to be scored later: {error}")
    names = []
    if out is not None:
        files = week_files(found, wanted, made=now_utc().astimezone(), to=to)
        out.mkdir(parents=True, exist_ok=True)
        for one in files:
            write_file(out / one.name, one.content)
            names.append(one.name)
    if as_json:
        show_json({**found.to_json(), "files": names})
    elif out is None:
        typer.echo(report_text(week_text_report(found)), nl=False)
    else:
        for sentence in found.attention:
            tell(sentence)
        say(f"{len(names)} files in {out}: {', '.join(names)}")
    if found.attention:
        raise typer.Exit(int(ExitCode.NEEDS_ATTENTION))

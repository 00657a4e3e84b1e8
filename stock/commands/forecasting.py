"""What will be needed: ``stock needs`` and ``stock forecast``."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    amount_writer,
    day_of,
    reading_book,
    say,
    show_json,
    show_table,
)
from stock.errors import ExitCode, WrongUsage

if TYPE_CHECKING:
    from stock.shop.forecast_log import Record
    from stock.shop.needs import Needs


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(needs)
    app.command()(forecast)


def needs(
    order: Annotated[
        str, typer.Argument(metavar="[ORDER]", help="Only what this order still takes.")
    ] = "",
    weeks: Annotated[int, typer.Option("--weeks", metavar="N", help="How far ahead.")] = 6,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what each item will be needed for: firm orders, quotes, not yet booked, upkeep.

    Example:

    \b
        stock needs --weeks 8
        stock needs A1043
    """
    if order:
        _needs_of_order(order, day_of(on), as_json)
        return
    from stock.shop.needs import needs_by_week

    found = needs_by_week(reading_book(), day_of(on), weeks)
    if as_json:
        show_json(found.to_json())
        return
    print_needs(found)


def _needs_of_order(order: str, day: date, as_json: bool) -> None:
    from stock.shop.needs import needs_of_order

    rows = needs_of_order(reading_book(), day, order)
    if as_json:
        document = {"order": order, "on": day.isoformat(), "items": [r.to_json() for r in rows]}
        show_json(document)
        return
    shown = amount_writer()
    show_table(
        ("item", "needed", "± sd", "here", ""),
        [
            (
                row.item,
                shown(row.amount, row.unit),
                shown(row.sd, row.unit),
                shown(row.here, row.unit),
                "" if row.here >= row.amount else "short",
            )
            for row in rows
        ],
        right=("needed", "± sd", "here"),
        title=f"Still needed for {order}, misprints counted in; other orders want it too",
    )


def print_needs(found: Needs) -> None:
    """Need by item for people: the parts over all weeks, then week by week."""
    write = amount_writer()
    if not found.items:
        say("Nothing will be needed: there are no orders, no history and no upkeep in the book.")
        return

    def shown(amount: float, unit: str) -> str:
        return write(float(amount), unit) if amount else "–"

    starts = [f"{day:%d %b}" for day in found.weeks]
    show_table(
        ("item", "firm", "quotes", "not booked", "upkeep", "total", "9 in 10 below", *starts),
        [
            (
                row.item,
                shown(row.firm.sum(), row.unit),
                shown(row.quotes.sum(), row.unit),
                shown(row.unbooked.sum(), row.unit),
                shown(row.upkeep.sum(), row.unit),
                shown(row.total.sum(), row.unit),
                shown(row.total_p90, row.unit),
                *(shown(amount, "each") for amount in row.total),
            )
            for row in found.items
        ],
        right=("firm", "quotes", "not booked", "upkeep", "total", "9 in 10 below", *starts),
        title=f"Need of the {len(found.weeks)} weeks from {found.on}",
    )
    for note in found.notes:
        say(f"  {note}")


def forecast(
    history: Annotated[
        Path | None,
        typer.Option(
            "--history", metavar="FILE", help="CSV of unique_id,ds,y instead of the book."
        ),
    ] = None,
    weeks: Annotated[int, typer.Option("--weeks", metavar="H", help="How many weeks.")] = 4,
    quantiles: Annotated[
        str, typer.Option("--quantiles", metavar="LEVELS", help="Of the total, as .5,.9,.95.")
    ] = ".5,.9,.95",
    engine: Annotated[
        str, typer.Option("--engine", metavar="E", help="Hand the series to dask, ray or spark.")
    ] = "",
    accuracy: Annotated[
        bool, typer.Option("--accuracy", help="How earlier forecasts did; 4 when they drift.")
    ] = False,
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep what the plan believes today, to be scored later.")
    ] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Forecast weekly use and its total with quantiles, from the book or from any CSV of series.

    From the book each item's past use is carried on; stock needs also looks at the orders.

    Example:

    \b
        stock forecast --weeks 8 --quantiles .5,.9,.99
        stock forecast --history sales.csv --weeks 6 --json
        stock forecast --accuracy
    """
    if accuracy or keep:
        if history is not None or (accuracy and keep):
            raise WrongUsage("--accuracy and --keep work on the book, one at a time.")
        _log(keep, day_of(on), as_json)
        return
    levels = _levels(quantiles)
    rows: list[dict[str, Any]]
    if history is not None:
        from stock.demand.history_file import checked_request, forecast_history, read_series

        asked = checked_request(weeks, levels)
        table = read_series(history)
        for note in table.notes:
            say(f"{note[0].upper()}{note[1:]}.")
        rows = forecast_history(table.history, weeks, asked, engine or None)
    else:
        from stock.shop.needs import forecast_book

        rows = forecast_book(reading_book(), day_of(on), weeks, levels, engine or None)
    if as_json:
        show_json(rows)
        return
    names = [f"{level:g}" for level in sorted(set(levels))]
    show_table(
        ("item", "class", "per week", "total", *names, "model"),
        [
            (
                row["item"],
                row["class"],
                f"{row['total']['mean'] / weeks:,.4g}",
                f"{row['total']['mean']:,.5g}",
                *(f"{row['total']['quantiles'][name]:,.5g}" for name in names),
                row["model"],
            )
            for row in rows
        ],
        right=("per week", "total", *names),
        title=f"Use of the next {weeks} weeks; quantiles of the total",
    )


def _levels(text: str) -> list[float]:
    try:
        levels = [float(part) for part in text.replace(";", ",").split(",") if part.strip()]
    except ValueError:
        levels = []
    if not levels or any(not 0 < level < 1 for level in levels):
        raise WrongUsage(f"--quantiles {text!r}: expected levels between 0 and 1, as .5,.9,.95.")
    return levels


def _log(keep: bool, day: date, as_json: bool) -> None:
    from stock.shop.forecast_log import accuracy_record, keep_needs

    if keep:
        count = keep_needs(reading_book(), day)
        if as_json:
            show_json({"on": day.isoformat(), "kept": count})
        else:
            nothing = f"Nothing new to keep: {day} was kept already, or nothing is needed."
            say(f"{count} forecasts of {day} kept." if count else nothing)
        return
    record = accuracy_record(reading_book(), day)
    if as_json:
        show_json(record.to_json())
    else:
        _print_record(record)
    if record.drifting:
        raise typer.Exit(int(ExitCode.NEEDS_ATTENTION))


def _print_record(record: Record) -> None:
    if not record.scores:
        say(
            f"No kept forecast has come due by {record.on}; {record.waiting} wait. They are kept "
            "when a list is accepted, or by: stock forecast --keep"
        )
        return
    for weeks, rows in sorted(record.scores.items()):
        levels = [f"≤ {level:g}" for level in rows[0].levels]
        show_table(
            ("class", "cases", "rounds", "bias", *levels, "pinball .9"),
            [
                (
                    row.kind,
                    row.cases,
                    row.rounds,
                    f"{row.bias:+.0%}" if row.bias == row.bias else "–",
                    *(f"{share:.0%}" for share in row.at_most),
                    f"{row.pinball[row.levels.index(0.9)]:.3f}",
                )
                for row in rows
            ],
            right=("cases", "rounds", "bias", *levels, "pinball .9"),
            title=f"Totals of {weeks} weeks: share that stayed within each mark",
        )
    for reason in dict.fromkeys(r for found in record.drifts.values() for r in found.reasons):
        say(f"  {reason}")
    if record.waiting:
        say(f"  {record.waiting} forecasts wait for their weeks to end.")

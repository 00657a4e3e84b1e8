"""``stock replay``: ways of ordering compared over a past that really happened."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    day_of,
    parse_day,
    reading_book,
    say,
    show_json,
    show_table,
    with_progress,
)
from stock.errors import WrongUsage

if TYPE_CHECKING:
    from stock.shop.replaying import Replayed


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(replay)


def replay(
    since: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First week replayed.")
    ] = None,
    until: Annotated[
        str | None, typer.Option("--to", metavar="DATE", help="Last week replayed.")
    ] = None,
    history: Annotated[
        Path | None,
        typer.Option("--history", metavar="FILE", help="CSV of unique_id,ds,y, not the book."),
    ] = None,
    lead_days: Annotated[
        str,
        typer.Option("--lead-days", metavar="DAYS", help="Calendar days to draw from, as 7,9,14."),
    ] = "",
    unit_value: Annotated[
        float, typer.Option("--unit-value", min=0.01, help="With --history: worth of one unit.")
    ] = 10.0,
    order_cost: Annotated[
        float, typer.Option("--order-cost", min=0, help="With --history: cost of an order line.")
    ] = 2.0,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Replay the past with several ways of ordering and compare what each would have cost.

    From the book: what was really used, and how long suppliers really took. From a file: any
    series, with lead times drawn from a list.

    Example:

    \b
        stock replay --from 2026-01-05
        stock replay --history sales.csv --lead-days 7,9,14
    """
    from stock.shop.replaying import Costs, past_of_book, past_of_table, replay_past
    from stock.shop.settings import load_settings

    first = parse_day(since, "--from") if since else None
    last = parse_day(until, "--to") if until else None
    if history is None and lead_days:
        raise WrongUsage("--lead-days goes with --history; a book knows its own lead times.")
    if history is not None:
        if not lead_days:
            raise WrongUsage("--history needs --lead-days, as 7,9,14.")
        costs = Costs(unit_value=100 * unit_value, order_line=100 * order_cost)
        past, notes = past_of_table(history, _days(lead_days), first, last, costs)
    else:
        past, notes = past_of_book(reading_book(), day_of(on), first, last)
    currency = load_settings()["currency"]
    found = with_progress("Replaying", lambda report: replay_past(past, currency, notes, report))
    if as_json:
        show_json(found.to_json())
    else:
        print_replay(found)


def _days(text: str) -> list[int]:
    parts = [part.strip() for part in text.split(",") if part.strip()]
    if not parts or not all(part.isdecimal() for part in parts):
        raise WrongUsage(f"--lead-days {text!r}: expected calendar days, as 7,9,14.")
    return [int(part) for part in parts]


def print_replay(found: Replayed) -> None:
    """The policies for people, cheapest first."""
    show_table(
        (
            *("policy", f"cost {found.currency}", "holding", "ordering", "shortage", "expired"),
            *("order lines", "need met", "days short", "mean stock"),
        ),
        [
            (
                one.policy,
                f"{one.cost / 100:,.2f}",
                *(
                    f"{part / 100:,.2f}"
                    for part in (one.holding, one.ordering, one.shortage, one.outdating)
                ),
                one.orders,
                "–" if one.is_bound else f"{one.fill_rate:.1%}",
                "–" if one.is_bound else one.days_short,
                "–" if one.mean_stock_value is None else f"{one.mean_stock_value / 100:,.2f}",
            )
            for one in found.results
        ],
        right=(
            *(f"cost {found.currency}", "holding", "ordering", "shortage", "expired"),
            *("order lines", "need met", "days short", "mean stock"),
        ),
        title=f"{found.items} items over {found.weeks} weeks from {found.first}",
    )
    say("  The clairvoyant bound knew everything beforehand: nobody can do better.")
    for note in found.notes:
        say(f"  {note[0].upper()}{note[1:]}.")

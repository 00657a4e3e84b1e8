"""Asking the book back: ``stock trace``, ``stock slot``, ``stock value``."""

from __future__ import annotations

from typing import Annotated

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
    tell,
)
from stock.errors import WrongUsage


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(trace)
    app.command()(slot)
    app.command()(value)


def trace(
    lot: Annotated[str, typer.Argument(metavar="[LOT]", help="The lot code.")] = "",
    item: Annotated[str, typer.Option("--item", metavar="SKU", help="Only this item's lot.")] = "",
    order: Annotated[str, typer.Option("--order", help="Trace back from this order instead.")] = "",
    as_json: JsonOption = False,
) -> None:
    """Show which orders a lot touched, or which lots touched an order, blends and mixes included.

    Example:

    \b
        stock trace W7731
        stock trace --order A1043 --json
    """
    from stock.shop.tracing import trace_of_lot, trace_of_order
    from stock.units import format_amount

    if bool(lot) == bool(order):
        raise WrongUsage("stock trace needs a LOT, or --order REF.")
    book = reading_book()
    found = trace_of_order(book, order) if order else trace_of_lot(book, lot, item)
    if as_json:
        show_json(found.to_json())
        return
    show_table(
        ("day", "order", "line", "printer", "item", "lot", "amount", "share", "by way of"),
        [
            (
                touch.day,
                touch.order or "–",
                touch.line or "–",
                touch.printer or "–",
                touch.lot.item,
                touch.lot.lot,
                format_amount(touch.amount, touch.unit),
                f"{touch.share:.1%}",
                " › ".join(touch.by_way_of) or "–",
            )
            for touch in found.touches
        ],
        right=("line", "amount", "share"),
    )
    for facts in found.lots:
        papers = ", ".join(filter(None, (facts.certificate, facts.data_sheet))) or "none"
        say(f"{facts.item} lot {facts.lot}: papers on file: {papers}")


def slot(
    code: Annotated[str, typer.Argument(metavar="SLOT", help="The slot.")],
    on: OnOption = None,
    at: Annotated[
        str, typer.Option("--at", metavar="HH:MM", help="Time of that day (default: its end).")
    ] = "",
    as_json: JsonOption = False,
) -> None:
    """Show what was in a slot on a day at a time; without --on, every container that was in it.

    Example:

    \b
        stock slot P1-W --on 2026-03-03 --at 10:00
    """
    from datetime import time

    from stock.shop.tracing import in_slot_at, story_of_slot
    from stock.units import format_amount

    book = reading_book()
    if on is None:
        if at:
            raise WrongUsage("--at needs --on DATE.")
        stays = story_of_slot(book, code)
        if as_json:
            show_json([stay.to_json() for stay in stays])
            return
        show_table(
            ("since", "until", "container", "item", "lot"),
            [(s.since, s.until or "–", s.container, s.item, s.lot) for s in stays],
        )
        return
    try:
        moment = time.fromisoformat(at) if at else None
    except ValueError:
        raise WrongUsage(f"--at {at!r} is not a time; expected HH:MM.") from None
    found = in_slot_at(book, code, day_of(on), moment)
    if as_json:
        show_json([one.to_json() for one in found])
        return
    show_table(
        ("container", "item", "lot", "amount", "since", "use by"),
        [
            (
                one.container,
                one.item,
                one.lot,
                format_amount(one.amount, one.unit),
                one.loaded_on,
                one.effective_expiry or "–",
            )
            for one in found
        ],
        right=("amount",),
    )


def value(
    on: OnOption = None,
    method: Annotated[
        str, typer.Option("--method", help="fifo, or average (moving weighted average).")
    ] = "fifo",
    since: Annotated[
        str, typer.Option("--since", metavar="DATE", help="Cost of use counts from this day.")
    ] = "",
    as_json: JsonOption = False,
) -> None:
    """Value the stock at the end of a day, and what was used up to it.

    Example:

    \b
        stock value --on 2026-10-31 --method average
    """
    from stock.shop.tracing import value_on
    from stock.units import format_amount, format_money

    if method not in ("fifo", "average"):
        raise WrongUsage(f"--method {method!r}; expected fifo or average.")
    valued = value_on(
        reading_book(),
        day_of(on),
        "fifo" if method == "fifo" else "average",
        since=parse_day(since, "--since") if since else None,
    )
    if as_json:
        show_json(valued.to_json())
        return
    show_table(
        ("item", "amount", "value", "used"),
        [
            (
                line.item,
                format_amount(line.amount, line.unit),
                format_money(line.value_minor),
                format_money(line.used_minor),
            )
            for line in valued.lines
        ],
        right=("amount", "value", "used"),
    )
    tell(f"Total on {valued.on}: {format_money(valued.total_minor, valued.currency)}")
    for line in valued.lines:
        if line.without_cost:
            amount = format_amount(line.without_cost, line.unit)
            say(f"{line.item}: {amount} came without a cost and is taken at the last one known.")

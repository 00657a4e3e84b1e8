"""Pouring off, count sheets, and putting lots right: ``stock decant``, ``sheet``, ``relabel`` …"""

from __future__ import annotations

from typing import Annotated

import typer

from stock.commands.machines import show_done
from stock.commands.shared import (
    JsonOption,
    OnOption,
    day_of,
    parse_day,
    reading_book,
    say,
    show_json,
    tell,
)
from stock.errors import WrongUsage


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    for command in (decant, sheet, relabel, relot):
        app.command()(command)
    app.command("hand-back")(hand_back)


def decant(
    amount: Annotated[str, typer.Option("--amount", help='How much, as "500 g".')],
    container: Annotated[str, typer.Option("--container", help="From this open container.")] = "",
    item: Annotated[
        str, typer.Option("--item", metavar="SKU", help="Or from a sealed pack, opened for it.")
    ] = "",
    lot: Annotated[str, typer.Option("--lot", help="Lot of the sealed pack.")] = "",
    code: Annotated[str, typer.Option("--code", help="Code written on the new container.")] = "",
    to: Annotated[str, typer.Option("--to", help="Shelf it goes to.")] = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Pour part of a container into a new one; its open life goes on.

    Gloves and goggles: see the safety data sheet.

    Example:

    \b
        stock decant --container K000012 --amount "500 g" --code SPRAYER
    """
    from stock.shop.amounts import amount_in_container, amount_of_item
    from stock.shop.preparing import Decant
    from stock.shop.preparing import decant as pour
    from stock.shop.station import who

    if bool(container) == bool(item):
        raise WrongUsage("stock decant needs --container CODE or --item SKU.")
    book = reading_book()
    if container:
        held = amount_in_container(book, container, amount)
    else:
        held = amount_of_item(book, item, amount)
    wanted = Decant(held, day_of(on), container, item, lot, code, to)
    show_done(pour(book, wanted, who=who()), as_json)


def sheet(
    place: Annotated[
        list[str] | None, typer.Option("--place", help="Only this shelf (repeatable).")
    ] = None,
    kind: Annotated[
        list[str] | None, typer.Option("--kind", help="Only ink, pretreat, blank or supply.")
    ] = None,
    reason: Annotated[str, typer.Option("--reason", help="Why it is counted.")] = "count",
    as_json: JsonOption = False,
) -> None:
    """Print a blind count sheet: what lies where, not how much; fill it in for stock count.

    Example:

    \b
        stock sheet --kind blank > sheet.csv
    """
    from stock.exchange.tables import Table, csv_text
    from stock.shop.counting import count_sheet

    lines = count_sheet(reading_book(), places=place or (), kinds=kind or ())
    if as_json:
        show_json([line.to_json() for line in lines])
        return
    header: tuple[str, ...] = ("place", "sku", "lot", "container", "counted", "reason")
    rows: list[tuple[str | None, ...]] = [
        (ln.place, ln.item, ln.lot, ln.container, None, reason) for ln in lines
    ]
    if any(line.owner for line in lines):
        header = (*header, "owner")
        rows = [(*row, line.owner) for row, line in zip(rows, lines, strict=True)]
    typer.echo(csv_text(Table("count sheet", header, rows)), nl=False)
    say(f"{len(rows)} lines to count; then: stock count sheet.csv")


def relabel(
    item: Annotated[str, typer.Argument(metavar="SKU", help="The item.")],
    lot: Annotated[str, typer.Argument(metavar="LOT", help="The lot code.")],
    expires: Annotated[
        str, typer.Option("--expires", metavar="DATE", help="The date on the label.")
    ] = "",
    never: Annotated[bool, typer.Option("--never", help="It does not expire.")] = False,
    owner: Annotated[str, typer.Option("--owner", help="A customer's lot.")] = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put a lot's date right; its open containers follow.

    Example:

    \b
        stock relabel INK-W W7731 --expires 2027-06-01
    """
    from stock.shop.station import who
    from stock.shop.undoing import correct_expiry

    if bool(expires) == never:
        raise WrongUsage("stock relabel needs --expires DATE or --never.")
    until = parse_day(expires, "--expires") if expires else None
    done = correct_expiry(reading_book(), item, lot, until, on=day_of(on), owner=owner, who=who())
    show_done(done, as_json)


def relot(
    entry: Annotated[int, typer.Argument(metavar="ENTRY", help="Number of the delivery's entry.")],
    lot: Annotated[str, typer.Option("--lot", help="The right lot code.")],
    expires: Annotated[
        str, typer.Option("--expires", metavar="DATE", help="Its date, where that was wrong too.")
    ] = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put right a delivery booked under the wrong lot code.

    Refused once any of it was used.

    Example:

    \b
        stock relot 118 --lot W7731
    """
    from stock.shop.station import who
    from stock.shop.undoing import replace_lot

    done = replace_lot(
        reading_book(),
        entry,
        on=day_of(on),
        lot_code=lot,
        expires=parse_day(expires, "--expires") if expires else None,
        who=who(),
    )
    if as_json:
        show_json(done.to_json())
        return
    for booked in done.lots:
        tell(f"Entry {done.entry}: {booked}")


def hand_back(
    customer: Annotated[str, typer.Argument(metavar="CUSTOMER", help="Whose garments they are.")],
    item: Annotated[str, typer.Option("--item", metavar="SKU", help="The garment.")],
    pieces: Annotated[
        int | None, typer.Option("--pieces", help="How many (default: all of the lot).")
    ] = None,
    lot: Annotated[str, typer.Option("--lot", help="Of which lot.")] = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Give a customer's unprinted garments back.

    Example:

    \b
        stock hand-back KIT --item TEE-BLK-L --pieces 3
    """
    from stock.shop.customer_goods import return_garments
    from stock.shop.station import who

    done = return_garments(
        reading_book(), customer, item, pieces, on=day_of(on), lot=lot, who=who()
    )
    show_done(done, as_json)

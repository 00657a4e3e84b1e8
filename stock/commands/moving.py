"""What is done with goods every day: receive, scan, print."""

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
    tell,
)
from stock.errors import Refused, Unknown, WrongUsage


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(receive)
    app.command()(scan)
    app.command("print")(print_run)


def receive(
    scan: Annotated[
        list[str] | None,
        typer.Option("--scan", metavar="CODE", help="What the scanner read (repeatable)."),
    ] = None,
    item: Annotated[str | None, typer.Option("--item", metavar="SKU", help="The item.")] = None,
    packs: Annotated[int | None, typer.Option("--packs", help="How many packs.")] = None,
    amount: Annotated[
        str | None, typer.Option("--amount", help='How much, as "1.8 L" (instead of packs).')
    ] = None,
    lot: Annotated[str, typer.Option("--lot", help="Lot code on the label.")] = "",
    expires: Annotated[
        str | None, typer.Option("--expires", metavar="DATE", help="Use-by date on the label.")
    ] = None,
    supplier: Annotated[str, typer.Option("--supplier", help="Who sent it.")] = "",
    purchase: Annotated[str, typer.Option("--purchase", help="Purchase order it belongs to.")] = "",
    pack: Annotated[str, typer.Option("--pack", help="The supplier's pack code.")] = "",
    place: Annotated[str, typer.Option("--place", help="Shelf it goes to.")] = "SHELF",
    owner: Annotated[
        str, typer.Option("--owner", help="Customer whose garments these are (not the shop's).")
    ] = "",
    certificate: Annotated[str, typer.Option("--certificate", help="Certificate on file.")] = "",
    certificate_expires: Annotated[
        str | None,
        typer.Option("--certificate-expires", metavar="DATE", help="Until when it holds."),
    ] = None,
    data_sheet: Annotated[
        str, typer.Option("--data-sheet", help="The safety data sheet's reference.")
    ] = "",
    tie: Annotated[
        bool, typer.Option("--tie", help="The scanned code is new: it is --item from now on.")
    ] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Book a delivery, by the codes on its boxes or by hand.

    Example:

    \b
        stock receive --item INK-W --packs 2 --lot W7731 --expires 2027-05-01
        stock receive --scan "(01)09521234543213(17)270501(10)W7731"
        stock receive --scan 9521234543213 --item INK-W --tie --lot W7732
    """
    from stock.shop.receive import Delivery
    from stock.shop.receive import receive as book_delivery
    from stock.shop.station import who

    day = day_of(on)
    until = parse_day(expires, "--expires") if expires else None
    common = {
        "on": day,
        "supplier": supplier,
        "purchase": purchase,
        "place": place,
        "owner": owner,
        "certificate": certificate,
        "certificate_expiry": (
            parse_day(certificate_expires, "--certificate-expires") if certificate_expires else None
        ),
        "data_sheet": data_sheet,
        "pack_code": pack,
        "tie": tie,
    }
    if tie and not (scan and item):
        raise WrongUsage("stock receive --tie needs the --scan CODE and the --item it belongs to.")
    book = reading_book()
    if scan:
        from stock.shop.scanning import deliveries_of

        wanted = deliveries_of(
            scan, day, packs=packs, sku=item or "", lot=lot, expires=until, common=common
        )
    elif item is None:
        raise WrongUsage("stock receive needs --scan CODE, or --item SKU with --packs N.")
    else:
        if packs is None and amount is None:
            raise WrongUsage("stock receive --item needs --packs N or --amount.")
        if packs is not None and packs <= 0:
            raise Refused(f"{item}: {packs} packs were given; expected a whole number from 1.")
        held = None
        if amount is not None:
            from stock.shop.amounts import amount_of_item

            held = amount_of_item(book, item, amount)
        wanted = [
            Delivery(sku=item, packs=packs, amount=held, lot=lot, expires=until, **common)  # type: ignore[arg-type]
        ]
    from stock.shop.receive import receive_all

    try:
        done = receive_all(book, wanted, who=who()) if len(wanted) > 1 else None
        received = done or book_delivery(book, wanted[0], who=who())
    except Unknown as error:
        if error.what != "item with the barcode":
            raise
        raise Refused(f"{error} Say once which item it is: --item SKU --tie.") from None
    if as_json:
        show_json(received.to_json())
        return
    for booked in received.lots:
        tell(f"Entry {received.entry}: {booked}")
    for note in received.notes:
        say(f"  {note}")


def scan(code: str, on: OnOption = None, as_json: JsonOption = False) -> None:
    """Read a barcode and say what it holds; nothing is booked.

    Example:

    \b
        stock scan "(01)09521234543213(17)270501(10)W7731"
    """
    from stock.shop.scanning import read_code

    found = read_code(code, day_of(on))
    if as_json:
        show_json(found.to_json())
        return
    for key, value in found.to_json().items():
        if key != "warnings" and value is not None:
            tell(f"{key:>10}  {value}")
    for warning in found.warnings:
        say(f"  {warning}")


def print_run(
    order: Annotated[str, typer.Option("--order", metavar="O", help="The order.")],
    line: Annotated[int, typer.Option("--line", metavar="N", help="Its line.")],
    good: Annotated[int, typer.Option("--good", help="Good pieces.")],
    misprints: Annotated[int, typer.Option("--misprints", help="Spoiled pieces.")] = 0,
    printer: Annotated[
        str, typer.Option("--printer", metavar="P", help="Which printer (default: the line's).")
    ] = "",
    location: Annotated[str, typer.Option("--location", help="Print location.")] = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Log a print run: what it took from slots and shelf. Never refused for lack of stock.

    Example:

    \b
        stock print --order A1043 --line 1 --good 12 --misprints 1
    """
    from stock.exchange.safe_text import safe_text
    from stock.shop.printing import PrintLog, log_print, overrun_sentence
    from stock.shop.station import who
    from stock.units import format_amount

    log = PrintLog(order, line, good, misprints, day_of(on), printer, location)
    done = log_print(reading_book(), log, who=who())
    if as_json:
        show_json(done.to_json())
        return
    tell(f"Entry {done.entry}: {good} good, {misprints} misprints of {order}/{line}")
    for used in done.used:
        amount = format_amount(used.amount, used.unit)
        tell(
            f"  {safe_text(used.item):<20} {amount:>12}  from {', '.join(used.places)}"
            f" (lot {safe_text(', '.join(used.lots))})"
        )
    for over in done.overruns:
        say(f"  {overrun_sentence(over)}")
    for note in done.notes:
        say(f"  {note}")

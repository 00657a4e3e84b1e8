"""Purchase orders: ``stock purchase list|show|send|receive|retime|change|cancel|scorecard``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

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

if TYPE_CHECKING:
    from stock.shop.purchases import Purchase

STATES = ("draft", "sent", "part received", "closed", "cancelled")

RefArgument = Annotated[str, typer.Argument(metavar="PURCHASE", help="The purchase order.")]
SupplierOption = Annotated[str, typer.Option("--supplier", help="Only this supplier.")]


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    group = typer.Typer(
        help="Purchase orders: list, show, send, receive, retime, change, cancel, scorecard.",
        rich_markup_mode=None,
        no_args_is_help=True,
    )
    group.command("list")(list_orders)
    group.command("show")(show)
    group.command("send")(send)
    group.command("receive")(receive)
    group.command("retime")(retime)
    group.command("change")(change)
    group.command("cancel")(cancel)
    group.command("scorecard")(scorecard)
    app.add_typer(group, name="purchase")


def list_orders(
    supplier: SupplierOption = "",
    state: Annotated[str, typer.Option("--state", help="draft, sent, part received, …")] = "",
    every: Annotated[bool, typer.Option("--all", help="Closed and cancelled ones too.")] = False,
    as_json: JsonOption = False,
) -> None:
    """List purchase orders that are open, newest first.

    Example:

    \b
        stock purchase list --supplier NORTH
    """
    from stock.shop.purchases import list_purchases

    if state and state not in STATES:
        raise WrongUsage(f"--state {state!r}: expected one of {', '.join(STATES)}.")
    found = list_purchases(reading_book(), supplier_code=supplier, state=state, every=every)
    if as_json:
        show_json([purchase.to_json() for purchase in found])
        return
    if not found:
        say("No purchase order is open. Make one with: stock reorder --accept")
        return
    show_table(
        ("purchase", "supplier", "state", "made", "sent", "promised", "open", "cost"),
        [
            (
                purchase.ref,
                purchase.supplier,
                purchase.state,
                purchase.created_on,
                purchase.sent_on or "–",
                purchase.promised_on or "–",
                f"{sum(line.open_packs > 0 for line in purchase.lines)} of {len(purchase.lines)}",
                f"{purchase.cost_minor / 100:,.2f} {purchase.currency}",
            )
            for purchase in found
        ],
        right=("open", "cost"),
    )


def show(
    purchase: RefArgument,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="Write the order sheet: .pdf, .csv, .xlsx, .eml."
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Show one purchase order with its lines, or write its order sheet.

    Example:

    \b
        stock purchase show P-2026-0001 --out order.pdf
    """
    from stock.shop.purchases import show_purchase

    found = show_purchase(reading_book(), purchase)
    if out is not None:
        from stock.commands.shared import write_file
        from stock.shop.order_sheets import order_file

        write_file(out, order_file(found, out.suffix))
    if as_json:
        show_json(found.to_json())
        return
    print_purchase(found)


def print_purchase(purchase: Purchase) -> None:
    """One purchase order for people."""
    dates = [f"made {purchase.created_on}"]
    if purchase.sent_on:
        dates.append(f"sent {purchase.sent_on}")
    if purchase.promised_on:
        dates.append(f"promised {purchase.promised_on}")
    if purchase.closed_on:
        dates.append(f"{purchase.state} {purchase.closed_on}")
    show_table(
        ("item", "pack", "packs", "come", "cancelled", "open", "price", "promised"),
        [
            (
                line.item,
                line.pack,
                line.packs,
                line.received_packs,
                line.cancelled_packs,
                line.open_packs,
                f"{line.price_minor / 100:,.2f}",
                line.promised_on or "–",
            )
            for line in purchase.lines
        ],
        right=("packs", "come", "cancelled", "open", "price"),
        title=f"{purchase.ref} to {purchase.supplier}, {purchase.state} ({', '.join(dates)})",
    )
    say(f"  {purchase.cost_minor / 100:,.2f} {purchase.currency} without freight.".rstrip())


def send(
    purchase: RefArgument,
    promised: Annotated[
        str | None, typer.Option("--promised", metavar="DATE", help="Day the supplier named.")
    ] = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Note that a draft went out to its supplier; nothing is sent from here.

    Example:

    \b
        stock purchase send P-2026-0001 --promised 2026-03-12
    """
    from stock.shop.purchases import send_purchase

    until = parse_day(promised, "--promised") if promised else None
    done = send_purchase(reading_book(), purchase, on=day_of(on), promised_on=until)
    _answer(done, as_json, f"{done.ref} is sent to {done.supplier}.")


def receive(
    purchase: RefArgument,
    item: Annotated[str, typer.Option("--item", metavar="SKU", help="What came.")] = "",
    packs: Annotated[
        int | None, typer.Option("--packs", help="How many packs (default: all still open).")
    ] = None,
    lot: Annotated[str, typer.Option("--lot", help="Lot code on the label.")] = "",
    expires: Annotated[
        str | None, typer.Option("--expires", metavar="DATE", help="Use-by date on the label.")
    ] = None,
    place: Annotated[str, typer.Option("--place", help="Shelf it goes to.")] = "SHELF",
    whole: Annotated[
        bool, typer.Option("--all", help="Everything still open came; lots by the day.")
    ] = False,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Book what came on a purchase order; the rest stays open.

    Example:

    \b
        stock purchase receive P-2026-0001 --item INK-W --packs 2 --lot W77 --expires 2027-05-01
    """
    from stock.shop.purchase_deliveries import receive_purchase
    from stock.shop.station import who

    if bool(item) == whole:
        raise WrongUsage("stock purchase receive needs --item SKU, or --all.")
    if whole and (lot or expires or packs is not None):
        raise WrongUsage("--lot, --expires and --packs go with --item, not with --all.")
    until = parse_day(expires, "--expires") if expires else None
    done = receive_purchase(
        reading_book(),
        purchase,
        on=day_of(on),
        sku=item,
        packs=packs,
        lot=lot,
        expires=until,
        place=place,
        who=who(),
    )
    if as_json:
        show_json(done.to_json())
        return
    for booked in done.lots:
        tell(f"Entry {done.entry}: {booked}")
    for note in done.notes:
        say(f"  {note}")


def retime(
    purchase: Annotated[
        str, typer.Argument(metavar="[PURCHASE]", help="The purchase order; none: what is late.")
    ] = "",
    to: Annotated[
        str | None, typer.Option("--to", metavar="DATE", help="The day it is promised for now.")
    ] = None,
    reason: Annotated[str, typer.Option("--reason", help="Why; kept with the order.")] = "",
    item: Annotated[str, typer.Option("--item", metavar="SKU", help="Only this item.")] = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Move a promised day, with the reason; without PURCHASE list what is late and expected when.

    Example:

    \b
        stock purchase retime
        stock purchase retime P-2026-0001 --to 2026-03-20 --reason "supplier's mail of today"
    """
    book, day = reading_book(), day_of(on)
    if not purchase:
        _show_late(book, day, as_json)
        return
    from stock.shop.purchases import retime_purchase

    if to is None:
        raise WrongUsage("stock purchase retime PURCHASE needs --to DATE and --reason TEXT.")
    done = retime_purchase(book, purchase, parse_day(to, "--to"), on=day, reason=reason, sku=item)
    _answer(done, as_json, f"{done.ref} is expected on {to} now.")


def _show_late(book: Any, day: Any, as_json: bool) -> None:
    from stock.shop.scorecard import late_lines

    late = late_lines(book, day)
    if as_json:
        show_json([line.to_json() for line in late])
        return
    if not late:
        say(f"Nothing is late on {day}.")
        return
    show_table(
        ("purchase", "item", "supplier", "ordered", "promised", "expected", "9 in 10 by"),
        [
            (
                line.purchase,
                line.item,
                line.supplier,
                line.ordered_on,
                line.promised_on or "–",
                line.expected_on,
                line.latest_on,
            )
            for line in late
        ],
        title=f"Late on {day}, expected by what each supplier has shown",
    )


def change(
    purchase: RefArgument,
    item: Annotated[str, typer.Option("--item", metavar="SKU", help="The item.")],
    packs: Annotated[int, typer.Option("--packs", help="How many packs; 0 takes it off.")],
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Order another number of packs on a draft.

    Example:

    \b
        stock purchase change P-2026-0001 --item INK-W --packs 3
    """
    from stock.shop.purchases import change_packs

    done = change_packs(reading_book(), purchase, item, packs, on=day_of(on))
    _answer(done, as_json, f"{item} on {done.ref}: {packs} packs.")


def cancel(
    purchase: RefArgument,
    item: Annotated[str, typer.Option("--item", metavar="SKU", help="Only this item.")] = "",
    packs: Annotated[
        int | None, typer.Option("--packs", help="Only so many packs of the item.")
    ] = None,
    reason: Annotated[str, typer.Option("--reason", help="Why; kept with the order.")] = "",
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Cancel what is still open of a purchase order.

    Example:

    \b
        stock purchase cancel P-2026-0001 --item INK-W --reason "out of production"
    """
    from stock.shop.purchases import cancel_purchase

    done = cancel_purchase(
        reading_book(), purchase, on=day_of(on), sku=item, packs=packs, reason=reason
    )
    _answer(done, as_json, f"{done.ref} is {done.state} now.")


def scorecard(
    supplier: SupplierOption = "", on: OnOption = None, as_json: JsonOption = False
) -> None:
    """Show how suppliers have done: on time, in full, lead times, price drift.

    Example:

    \b
        stock purchase scorecard
    """
    from stock.shop.scorecard import scorecard as score

    rows = score(reading_book(), day_of(on), supplier_code=supplier)
    if as_json:
        show_json([row.to_json() for row in rows])
        return
    if not rows:
        say("No supplier is in the book yet: stock import suppliers FILE takes them in.")
        return
    show_table(
        (
            *("supplier", "lines", "on time", "in full", "lead days", "± sd", "9 in 10 by"),
            *("stated", "price per year", "open", "late"),
        ),
        [
            (
                row.supplier,
                row.lines,
                _percent(row.on_time),
                _percent(row.in_full),
                f"{row.lead_days:.1f}",
                f"{row.lead_sd_days:.1f}",
                f"{row.lead_p90_days:.0f}",
                f"{row.stated_days:g}",
                "–" if row.price_drift is None else f"{row.price_drift:+.1%}",
                row.open_lines,
                row.late_lines,
            )
            for row in rows
        ],
        right=(
            *("lines", "on time", "in full", "lead days", "± sd", "9 in 10 by", "stated"),
            *("price per year", "open", "late"),
        ),
        title="Suppliers; days are working days",
    )


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{share:.0%}"


def _answer(purchase: Purchase, as_json: bool, said: str) -> None:
    if as_json:
        show_json(purchase.to_json())
    else:
        say(said)
        print_purchase(purchase)

"""What it cost and where it went: ``stock cost``, ``stock usage``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stock.commands.shared import (
    JsonOption,
    OnOption,
    day_of,
    length_cm,
    number_of,
    parse_day,
    reading_book,
    say,
    show_json,
    show_table,
    tell,
)
from stock.errors import WrongUsage

if TYPE_CHECKING:
    from datetime import date

    from stock.plan.print_cost import PieceCost
    from stock.shop.cost import OrderCost, Quote
    from stock.shop.cost_over_time import CostOverTime
    from stock.shop.real_cost import RealCost


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(cost)
    app.command()(usage)


def cost(
    what: Annotated[
        str | None,
        typer.Argument(metavar="ORDER|FILE", help="An order, or artwork to quote for."),
    ] = None,
    width_cm: Annotated[
        str | None, typer.Option("--width-cm", metavar="W", help='Printed width (or "12 in").')
    ] = None,
    height_cm: Annotated[
        str | None, typer.Option("--height-cm", metavar="H", help="Printed height.")
    ] = None,
    pieces: Annotated[int, typer.Option("--pieces", help="For how many pieces.")] = 1,
    garment: Annotated[
        str, typer.Option("--garment", help="light or dark: a dark one takes white and pretreat.")
    ] = "light",
    blank: Annotated[
        str, typer.Option("--blank", metavar="SKU", help="The garment, for its price and dose.")
    ] = "",
    mode: Annotated[str, typer.Option("--mode", help="Print mode of the book.")] = "",
    printer: Annotated[str, typer.Option("--printer", help="Printer whose rates to use.")] = "",
    location: Annotated[
        str, typer.Option("--location", help="Print location, for its misprint rate.")
    ] = "",
    prints_per_day: Annotated[
        str | None,
        typer.Option("--prints-per-day", help="Prints that share a day's upkeep (default: yours)."),
    ] = None,
    months: Annotated[
        int, typer.Option("--months", min=1, max=120, help="Without ORDER or FILE: so many months.")
    ] = 12,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what an order costs per print, quote for a file, or list cost by month.

    With a size it quotes for a FILE; with neither it lists months, and how much ink really went
    for each mL that prints were estimated to take.

    Example:

    \b
        stock cost A1043
        stock cost wolf.png --width-cm 30 --pieces 24 --garment dark --blank TEE-BLK-L
        stock cost --months 6
    """
    day, shared_by = day_of(on), number_of(prints_per_day, "--prints-per-day")
    if what is None:
        from stock.shop.cost_over_time import cost_by_month

        by_month = cost_by_month(reading_book(), day, months=months)
        show_json(by_month.to_json()) if as_json else _print_months(by_month)
        return
    if width_cm is not None or height_cm is not None or _is_file(what):
        from stock.shop.cost import quote_cost

        if garment not in ("light", "dark"):
            raise WrongUsage(f"--garment {garment!r}: expected light or dark.")
        quote = quote_cost(
            reading_book(),
            Path(what),
            day,
            width_cm=length_cm(width_cm, "--width-cm"),
            height_cm=length_cm(height_cm, "--height-cm"),
            garment=garment,
            pieces=pieces,
            blank=blank,
            mode=mode,
            printer=printer,
            location=location,
            prints_per_day=shared_by,
        )
        show_json(quote.to_json()) if as_json else _print_quote(quote)
        return
    from stock.shop.cost import order_cost

    order = order_cost(reading_book(), what, day, prints_per_day=shared_by)
    show_json(order.to_json()) if as_json else _print_order(order)


def _is_file(what: str) -> bool:
    """A file that is there, or a name that is a picture's: an order is not called wolf.png."""
    from stock.exchange.watch_rules import PICTURES

    return Path(what).is_file() or Path(what).suffix.lower() in PICTURES


def _piece_rows(piece: PieceCost) -> list[tuple[str, str, str, str, str]]:
    rows = [
        (f"ink {channel}", part.item, f"{part.amount:.3f} mL", f"± {part.amount_sd:.3f}",
         _money(part.cost_minor))
        for channel, part in piece.ink.items()
    ]  # fmt: skip
    if piece.pretreat is not None:
        part = piece.pretreat
        spread = f"± {part.amount_sd:.1f}"
        amount = f"{part.amount:.1f} g"
        rows.append(("pretreat", part.item, amount, spread, _money(part.cost_minor)))
    if piece.blank is not None:
        rows.append(("blank", piece.blank.item, "1", "", _money(piece.blank.cost_minor)))
    if piece.upkeep_minor is not None:
        rows.append(("share of upkeep", "", "", "", _money(piece.upkeep_minor)))
    rate = f"{piece.misprint_rate:.1%}"
    rows.append(("misprints", "", rate, "", _money(piece.misprints_minor)))
    rows.append(("one good print", "", "", "", _money(piece.total_minor)))
    return rows


def _money(minor: float) -> str:
    return f"{minor / 100:,.3f}"


def _show_piece(piece: PieceCost, currency: str, title: str) -> None:
    show_table(
        ("part", "item", "amount", "give or take", currency),
        _piece_rows(piece),
        right=("amount", "give or take", currency),
        title=title,
    )


def _print_quote(quote: Quote) -> None:
    known = "" if quote.calibrated else ", not yet calibrated: prior rates"
    many = f"{quote.pieces} piece{'s' if quote.pieces != 1 else ''}"
    _show_piece(quote.piece, quote.currency, f"{quote.file}: {many}, {quote.garment}{known}")
    total = quote.piece.total_minor * quote.pieces / 100
    spread = quote.piece.total_sd_minor * quote.pieces / 100
    tell(f"{many}: {total:,.2f} ± {spread:,.2f} {quote.currency}")
    if quote.pieces > 1:
        say(f"  Chance of at least one misprint: {quote.any_misprint:.0%}.")
    for note in quote.notes:
        say(f"  {note}")


def _print_order(order: OrderCost) -> None:
    for line in order.lines:
        title = f"{order.order}/{line.line}: {line.pieces} × {line.blank}"
        known = "" if line.calibrated else " (not yet calibrated: prior rates)"
        _show_piece(line.piece, order.currency, title + known)
        spread = line.piece.total_sd_minor * line.pieces / 100
        tell(f"  estimated {line.estimated_minor / 100:,.2f} ± {spread:,.2f} {order.currency}")
        if line.real is not None:
            tell(f"  {_real(line.real, order.currency)}")
        for note in line.notes:
            say(f"  {note}")
        tell()
    total = sum(line.estimated_minor for line in order.lines) / 100
    tell(f"{order.order}: estimated {total:,.2f} {order.currency}")


def _real(real: RealCost, currency: str) -> str:
    per_piece = f", {real.total_minor / 100 / real.good:,.3f} each" if real.good else ""
    return (
        f"really taken {real.total_minor / 100:,.2f} {currency} for {real.good} good, "
        f"{real.misprints} misprints{per_piece}"
    )


def _print_months(by_month: CostOverTime) -> None:
    names = ("ink", "pretreat", "blank", "upkeep", "misprint", "waste")
    show_table(
        ("month", "good", "spoiled", *names, "total", "each", "real:est.", "weighed"),
        [
            (
                month.month,
                month.good,
                month.misprints,
                *(f"{month.cost.get(name, 0.0) / 100:,.2f}" for name in names),
                f"{month.total_minor / 100:,.2f}",
                f"{month.total_minor / 100 / month.good:,.2f}" if month.good else "–",
                "–" if month.ratio is None else f"{month.ratio:.2f}",
                month.weighed,
            )
            for month in by_month.months
        ],
        right=("good", "spoiled", *names, "total", "each", "real:est.", "weighed"),
        title=f"Cost by month, {by_month.currency}",
    )
    say("real:est. is ink that really went for each mL the prints were estimated to take.")


def usage(
    first: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First day (default: month begin).")
    ] = None,
    last: Annotated[
        str | None, typer.Option("--to", metavar="DATE", help="Last day (default: today).")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Say where everything went: printed, upkeep, misprints, expired, thrown away, unexplained.

    Example:

    \b
        stock usage --from 2026-10-01 --to 2026-10-31
    """
    from stock.shop.usage import usage as usage_between

    until = parse_day(last, "--to") if last else day_of(None)
    since = parse_day(first, "--from") if first else until.replace(day=1)
    report = usage_between(reading_book(), since, until)
    if as_json:
        show_json(report.to_json())
        return
    _print_usage(report, since, until)


def _print_usage(report: Any, since: date, until: date) -> None:
    from stock.shop.where_it_went import USES
    from stock.units import format_amount

    columns = ("opening", "received", "made", *USES, "closing")
    present = [
        name
        for name in columns
        if name in ("opening", "received", "printed", "closing")
        or any(_of(row, name) for row in report.rows)
    ]
    header = ("item", "owner") if any(row.owner for row in report.rows) else ("item",)
    show_table(
        (*header, *(name.replace("_", " ") for name in present), f"wasted {report.currency}"),
        [
            (
                row.item,
                *((row.owner or "–",) if len(header) == 2 else ()),
                *(
                    format_amount(_of(row, name), row.unit, places=_places(row.unit))
                    for name in present
                ),
                f"{row.wasted_minor / 100:,.2f}",
            )
            for row in report.rows
        ],
        right=(*(name.replace("_", " ") for name in present), f"wasted {report.currency}"),
        title=f"Usage from {since} to {until}",
    )
    asked = [row.item for row in report.rows if row.asked_too_much]
    if asked:
        say(f"Prints asked for more than was there of {', '.join(asked)}: weigh or count these.")


def _places(unit: str) -> int:
    return 0 if unit == "each" else 1


def _of(row: Any, name: str) -> int:
    return int(row.used[name]) if name in row.used else int(getattr(row, name))

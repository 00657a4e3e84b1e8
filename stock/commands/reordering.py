"""``stock reorder``: the weekly list, its arithmetic, what-if, and accepting it."""

from __future__ import annotations

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
    tell,
    write_file,
)
from stock.errors import Unknown, WrongUsage

if TYPE_CHECKING:
    from stock.plan.decisions import Decisions, ItemState
    from stock.shop.accepting import Accepted
    from stock.shop.what_if import WhatIf

FORMATS = ("table", "csv", "json", "xlsx", "pdf")


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(reorder)


def reorder(
    supplier: Annotated[str, typer.Option("--supplier", help="Only this supplier.")] = "",
    why: Annotated[
        str, typer.Option("--why", metavar="ITEM", help="The full arithmetic of one item, charted.")
    ] = "",
    what_if: Annotated[
        list[str] | None,
        typer.Option(
            "--what-if",
            metavar="CHANGE",
            help='Compare with a change, as "lead NORTH +5"; repeatable, "help" lists all.',
        ),
    ] = None,
    accept: Annotated[
        bool, typer.Option("--accept", help="Put the list on draft purchase orders.")
    ] = False,
    packs: Annotated[
        list[str] | None,
        typer.Option("--packs", metavar="ITEM=N", help="With --accept: another number of packs."),
    ] = None,
    kind: Annotated[
        str, typer.Option("--format", metavar="FORMAT", help="table, csv, json, xlsx or pdf.")
    ] = "",
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write it there.")
    ] = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """List what to buy this week, from whom, how many packs, and why.

    Example:

    \b
        stock reorder --json > week.json
        stock reorder --why INK-W
        stock reorder --what-if "lead NORTH +5"
        stock reorder --format xlsx --out week.xlsx
        stock reorder --accept --packs INK-W=3
    """
    wanted = _format(kind, out, as_json)
    chosen = _packs(packs)
    if chosen and not accept:
        raise WrongUsage("--packs goes with --accept.")
    if accept and (what_if or why):
        raise WrongUsage("--accept goes with neither --why nor --what-if.")
    if what_if and "help" in what_if:
        from stock.shop.what_if import QUESTIONS

        for question in QUESTIONS:
            tell(question)
        return
    from stock.shop.planning import list_from, snapshot_of

    book, day = reading_book(), day_of(on)
    snapshot = snapshot_of(book, day)
    if what_if:
        from stock.shop.what_if import compare

        _show_what_if(compare(snapshot, what_if), wanted)
        return
    weekly = list_from(snapshot, supplier=supplier)
    if accept:
        from stock.shop.accepting import accept_reorder
        from stock.shop.forecast_log import keep_needs
        from stock.shop.station import who

        done = accept_reorder(book, weekly, supplier_code=supplier, packs=chosen, who=who())
        keep_needs(book, day, snapshot)
        _show_accepted(done, wanted)
        return
    if why:
        _show_why(weekly, why, wanted)
        return
    _show(weekly, wanted, out)


def _format(kind: str, out: Path | None, as_json: bool) -> str:
    wanted = kind or ("json" if as_json else "")
    if not wanted and out is not None:
        wanted = out.suffix.lower().lstrip(".")
        if wanted not in FORMATS[1:]:
            raise WrongUsage(f"--out {out}: say the --format, of {', '.join(FORMATS[1:])}.")
    wanted = wanted or "table"
    if wanted not in FORMATS:
        raise WrongUsage(f"--format {wanted!r}: expected one of {', '.join(FORMATS)}.")
    if as_json and wanted != "json":
        raise WrongUsage(f"--json and --format {wanted} contradict each other.")
    if wanted in ("xlsx", "pdf") and out is None:
        raise WrongUsage(f"--format {wanted} needs --out FILE.")
    if wanted == "table" and out is not None:
        raise WrongUsage(f"--out {out}: a table goes to the screen; say csv, json, xlsx or pdf.")
    return wanted


def _packs(given: list[str] | None) -> dict[str, int]:
    chosen: dict[str, int] = {}
    for text in given or ():
        item, sign, count = text.rpartition("=")
        if not sign or not item or not count.isdecimal():
            raise WrongUsage(f"--packs {text!r}: expected ITEM=N, as INK-W=3.")
        chosen[item] = int(count)
    return chosen


def _show(weekly: Decisions, wanted: str, out: Path | None) -> None:
    if wanted == "table":
        print_reorder(weekly)
        return
    if wanted == "json":
        if out is None:
            show_json(weekly.to_json())
        else:
            import json

            text = json.dumps(weekly.to_json(), indent=2, ensure_ascii=False)
            write_file(out, f"{text}\n".encode())
    else:
        from stock.shop.reorder_files import reorder_file

        content = reorder_file(weekly, wanted)
        if out is None:
            typer.echo(content.decode(), nl=False)
        else:
            write_file(out, content)
    for finding in weekly.findings:
        say(f"  {finding}")
    if out is not None:
        say(f"{len(weekly.lines)} lines in {out}.")


def print_reorder(weekly: Decisions, *, why: bool = False) -> None:
    """The weekly list for people."""
    from stock.exchange.safe_text import safe_text
    from stock.units import format_money

    shown = amount_writer()
    if not weekly.lines:
        say(f"Nothing to order on {weekly.day}.")
    else:
        show_table(
            (
                *("supplier", "item", "pack", "packs", "amount", f"cost {weekly.currency}"),
                *("order by", "runs out", "expires"),
            ),
            [
                (
                    line.supplier,
                    line.item,
                    line.pack,
                    line.packs,
                    shown(line.amount, line.unit),
                    f"{line.cost / 100:,.2f}",
                    line.order_by,
                    f"{line.stockout_chance:.0%}",
                    f"{line.expiry_chance:.0%}",
                )
                for line in weekly.lines
            ],
            right=("packs", "amount", f"cost {weekly.currency}", "runs out", "expires"),
            title=f"To order on {weekly.day}",
        )
        for total in weekly.totals:
            cost = format_money(round(total.total), weekly.currency)
            notes = f" {' '.join(total.notes)}" if total.notes else ""
            lines = "1 line" if total.lines == 1 else f"{total.lines} lines"
            say(f"  {total.supplier}: {lines}, {cost}, order on {total.order_on}.{notes}")
    if why:
        for line in weekly.lines:
            tell(f"\n{safe_text(line.item)}")
            for reason in line.why:
                tell(f"  {safe_text(reason)}")
    for finding in weekly.findings:
        say(f"  {finding}")


def _show_why(weekly: Decisions, sku: str, wanted: str) -> None:
    import difflib

    names = [state.item for state in weekly.states]
    if sku not in names:
        raise Unknown("item", sku, difflib.get_close_matches(sku, names, 3, 0.6))
    state, line = weekly.state(sku), weekly.line(sku)
    if wanted == "json":
        show_json({**_state_json(weekly, state), "line": line.to_json() if line else None})
        return
    if wanted != "table":
        raise WrongUsage(f"--why shows a table or JSON, not {wanted}.")
    from stock.exchange.safe_text import safe_text
    from stock.exchange.tables import plain_text
    from stock.shop.reorder_files import weeks_table

    tell(safe_text(f"{sku}, {weekly.day}"))
    if line is not None:
        for reason in line.why:
            tell(f"  {safe_text(reason)}")
    else:
        for reason in _why_nothing(state):
            tell(f"  {safe_text(reason)}")
    tell()
    from stock.commands.charts import charts_shown
    from stock.shop.stock_chart import stock_chart

    if charts_shown():
        import shutil

        size = shutil.get_terminal_size()
        tell(stock_chart(state, weekly, width=min(size.columns, 120), height=20))
        return
    table = weeks_table(state, weekly)
    tell(safe_text(table.title))
    typer.echo(plain_text(table), nl=False)


def _why_nothing(state: ItemState) -> list[str]:
    write = amount_writer()

    def shown(amount: float) -> str:
        return write(amount, state.unit)

    need = state.need
    said = [
        f"On hand {shown(state.on_hand_usable)} usable ({shown(state.not_counted)} more does not "
        f"count), on order {shown(state.on_order)}.",
        f"Need until the next chance delivers ({state.protection_days:.1f} days): "
        f"{shown(need.firm)} firm + {shown(need.quotes)} quotes + {shown(need.unbooked)} not yet "
        f"booked + {shown(need.upkeep)} upkeep = {shown(need.total)}.",
    ]
    if state.on_hand_sd > 0:
        said.append(
            f"What is in the slots is unsure by ± {shown(state.on_hand_sd)}: weigh or dip them."
        )
    if not state.supplier:
        said.append("Nothing is ordered: nobody sells it, or it is not bought any more.")
    else:
        position = state.on_hand_usable + state.on_order
        said.append(
            f"Order from {state.supplier} when both together stand below {shown(state.level)}; "
            f"they stand at {shown(position)}."
        )
    if state.why_not:
        said.append(state.why_not)
    said.append(
        f"Chance of running out before then, ordering nothing: {state.stockout_chance:.0%}."
    )
    return said


def _state_json(weekly: Decisions, state: ItemState) -> dict[str, Any]:
    return {
        "on": weekly.day.isoformat(),
        "currency": weekly.currency,
        "item": state.item,
        "unit": state.unit,
        "on_hand_usable": state.on_hand_usable,
        "not_counted": state.not_counted,
        "on_order": state.on_order,
        "need": state.need.to_json(),
        "protection_days": state.protection_days,
        "level": state.level,
        "order_up_to": state.order_up_to,
        "order_by": state.order_by.isoformat() if state.order_by else None,
        "stockout_chance": state.stockout_chance,
        "cover_days": state.cover_days,
        "weeks": {
            "stock": {
                "p10": state.stock_low.tolist(),
                "p50": state.stock_mid.tolist(),
                "p90": state.stock_high.tolist(),
            },
            "need": {
                "p10": state.need_low.tolist(),
                "p50": state.need_mid.tolist(),
                "p90": state.need_high.tolist(),
            },
        },
        "deliveries": [
            {"on": day.isoformat(), "amount": amount} for day, amount in state.deliveries
        ],
    }


def _show_what_if(found: WhatIf, wanted: str) -> None:
    if wanted == "json":
        show_json(found.to_json())
        return
    if wanted != "table":
        raise WrongUsage(f"--what-if shows a table or JSON, not {wanted}.")
    from stock.units import format_money

    document = found.to_json()
    say(f"What if {'; '.join(found.said)}?")
    if found.differences:
        show_table(
            (
                "item",
                "now",
                "then",
                "cost now",
                "cost then",
                "by now",
                "by then",
                "dry now",
                "dry then",
            ),
            [
                (
                    one.item,
                    *(_packs_of(side) for side in (one.before, one.after)),
                    *(
                        f"{side.cost / 100:,.2f}" if side else "–"
                        for side in (one.before, one.after)
                    ),
                    *(side.order_by if side else "–" for side in (one.before, one.after)),
                    *(
                        f"{side.stockout_chance:.0%}" if side else "–"
                        for side in (one.before, one.after)
                    ),
                )
                for one in found.differences
            ],
            right=("cost now", "cost then", "dry now", "dry then"),
            title="Lines that differ",
        )
    else:
        say("  No line of the list changes.")
    before, after = (round(100 * document[side]["total"]) for side in ("before", "after"))
    currency = found.before.currency
    say(
        f"  {document['before']['lines']} lines for {format_money(before, currency)} now, "
        f"{document['after']['lines']} for {format_money(after, currency)} then."
    )
    for finding in found.after.findings:
        if finding not in found.before.findings:
            say(f"  {finding}")


def _packs_of(line: Any) -> str:
    return f"{line.packs} × {line.pack} ({line.supplier})" if line else "–"


def _show_accepted(done: Accepted, wanted: str) -> None:
    if wanted == "json":
        show_json(done.to_json())
        return
    from stock.commands.purchasing import print_purchase

    for note in done.notes:
        say(f"  {note}")
    if not done.added:
        say("Nothing was left to order.")
    for purchase in done.purchases:
        print_purchase(purchase)
    for purchase in done.purchases:
        say(f"When it went out: stock purchase send {purchase.ref}")

"""The weekly list as files: CSV, workbook, PDF; and what one item's line rests on, week by week."""

from __future__ import annotations

from datetime import timedelta

from stock.demand.known import Floats
from stock.errors import WrongUsage
from stock.exchange.reports import Report, money
from stock.exchange.tables import Cell, Table
from stock.plan.decisions import Decisions, ItemState
from stock.shop.settings import Settings, load_settings

FORMATS = ("table", "csv", "json", "xlsx", "pdf")


def lines_table(weekly: Decisions) -> Table:
    """The list's lines, units and currency in the header or beside the number."""
    return Table(
        "To order",
        (
            *("supplier", "item", "name", "pack", "packs", "amount", "unit"),
            *(f"cost {weekly.currency}".rstrip(), "on hand", "on order", "firm", "quotes"),
            *("not booked", "upkeep", "days to last", "level", "order up to"),
            *("order by", "runs out %", "expires %"),
        ),
        [
            (
                line.supplier,
                line.item,
                line.name,
                line.pack,
                line.packs,
                round(line.amount, 3),
                line.unit,
                money(round(line.cost)),
                round(line.on_hand_usable, 3),
                round(line.on_order, 3),
                round(line.need.firm, 3),
                round(line.need.quotes, 3),
                round(line.need.unbooked, 3),
                round(line.need.upkeep, 3),
                round(line.protection_days, 1),
                round(line.level, 3),
                round(line.order_up_to, 3),
                line.order_by,
                round(100 * line.stockout_chance, 1),
                round(100 * line.expiry_chance, 1),
            )
            for line in weekly.lines
        ],
    )


def totals_table(weekly: Decisions) -> Table:
    """What each supplier's order comes to."""
    unit = f" {weekly.currency}".rstrip()
    return Table(
        "By supplier",
        ("supplier", "lines", f"goods{unit}", f"freight{unit}", f"total{unit}", "order on", "note"),
        [
            (
                total.supplier,
                total.lines,
                money(round(total.goods)),
                money(round(total.freight)),
                money(round(total.total)),
                total.order_on,
                " ".join(total.notes),
            )
            for total in weekly.totals
        ],
    )


def weeks_table(state: ItemState, weekly: Decisions) -> Table:
    """Stock if nothing is ordered and need, week by week, with deliveries and the order's own."""
    rows: list[tuple[Cell, ...]] = []
    for week in range(len(state.stock_mid)):
        begins = weekly.day + timedelta(days=7 * week)
        ends = begins + timedelta(days=6)
        come = sum(amount for day, amount in state.deliveries if begins <= day <= ends)
        ordered = 0.0
        if state.order_arrives is not None and begins <= state.order_arrives <= ends:
            ordered = state.order_amount
        rows.append(
            (
                begins,
                *(round(float(part[week]), 1) for part in _bands(state)),
                round(come, 1) or None,
                round(ordered, 1) or None,
            )
        )
    unit = "" if state.unit == "each" else f", {state.unit}"
    return Table(
        f"{state.item} by week{unit}; low and high hold 8 in 10",
        (
            *("week from", "stock low", "stock", "stock high"),
            *("need low", "need", "need high", "coming", "this order"),
        ),
        rows,
    )


def _bands(state: ItemState) -> tuple[Floats, ...]:
    return (
        *(state.stock_low, state.stock_mid, state.stock_high),
        *(state.need_low, state.need_mid, state.need_high),
    )


def reorder_report(weekly: Decisions, settings: Settings) -> Report:
    """The list as a report: short table, totals, arithmetic, notes."""
    facts = [("Made for", weekly.day.isoformat())]
    if settings["shop"]:
        facts.insert(0, ("Shop", settings["shop"]))
    short = Table(
        "To order",
        (
            *("Supplier", "Item", "Pack", "Packs", "Amount", "Unit"),
            *(f"Cost {weekly.currency}".rstrip(), "Order by"),
        ),
        [
            (
                line.supplier,
                line.item,
                line.pack,
                line.packs,
                round(line.amount, 3),
                line.unit,
                money(round(line.cost)),
                line.order_by,
            )
            for line in weekly.lines
        ],
    )
    blocks: list[str | Table] = [short, totals_table(weekly)]
    if not weekly.lines:
        blocks = ["Nothing to order."]
    for line in weekly.lines:
        blocks.append("\n".join([f"{line.item} from {line.supplier}", *line.why]))
    if weekly.findings:
        blocks.append("\n".join(["Notes", *weekly.findings]))
    return Report(f"Weekly list of {weekly.day}", facts, blocks)


def reorder_file(weekly: Decisions, kind: str) -> bytes:
    """The list as a file: ``csv``, ``xlsx`` or ``pdf``.

    Raises:
        WrongUsage: Another kind.
    """
    known = load_settings()
    if kind == "csv":
        from stock.exchange.tables import csv_text

        comma = bool(known["decimal_comma"])
        text = csv_text(lines_table(weekly), delimiter=";" if comma else ",", decimal_comma=comma)
        return text.encode()
    if kind == "xlsx":
        from stock.exchange.spreadsheets import workbook_bytes

        why = Table(
            "Arithmetic",
            ("item", "why"),
            [(line.item, said) for line in weekly.lines for said in line.why],
        )
        return workbook_bytes([lines_table(weekly), totals_table(weekly), why])
    if kind == "pdf":
        from stock.clock import now_utc
        from stock.exchange.pages import report_pdf

        report = reorder_report(weekly, known)
        return report_pdf(report, made=now_utc().astimezone(), paper=known["paper"])
    raise WrongUsage(f"--format {kind!r}: expected one of {', '.join(FORMATS)}.")

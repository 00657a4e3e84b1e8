"""The week as files: text, mail, workbook, calendar, and one order sheet (PDF) per supplier."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Final, Literal

from stock.clock import week_label
from stock.errors import Refused
from stock.exchange.reports import OrderSheet, OrderSheetLine, Report, money, order_report
from stock.exchange.tables import Table
from stock.shop.settings import Settings, load_settings
from stock.shop.week import Week, next_runs
from stock.units import format_money

if TYPE_CHECKING:
    from stock.exchange.calendar_files import Occasion

WeekFormat = Literal["txt", "eml", "pdf", "xlsx", "ics"]
FORMATS: Final[tuple[WeekFormat, ...]] = ("txt", "eml", "pdf", "xlsx", "ics")


@dataclass(frozen=True, slots=True)
class NamedFile:
    """A file's name and what is in it."""

    name: str
    content: bytes


def week_report(week: Week, settings: Settings | None = None) -> Report:
    """The week as a report: what needs attention, then the tables."""
    known = settings or load_settings()
    facts = [("Week", week_label(week.on)), ("Made for", week.on.isoformat())]
    if known["shop"]:
        facts.insert(0, ("Shop", known["shop"]))
    attention = "\n".join(f"- {sentence}" for sentence in week.attention)
    blocks: list[str | Table] = [
        f"Needs attention:\n{attention}" if attention else "Nothing needs attention.",
        *([f"Worth a look: {week.look.sentence()}"] if week.look is not None else []),
        *_tables(week),
    ]
    if week.decisions.findings:
        notes = "\n".join(f"- {sentence}" for sentence in week.decisions.findings)
        blocks.append(f"Notes:\n{notes}")
    if week.expiring:
        blocks.append(
            "Disposal: follow section 13 of the safety data sheet and your local rules; "
            "never down a drain unless they allow it."
        )
    return Report(f"Week {week_label(week.on)}", facts, blocks)


def _tables(week: Week) -> list[Table]:
    currency = week.decisions.currency
    tables = [
        Table(
            "To order",
            (
                *("Supplier", "Item", "Pack", "Packs", "Amount", "Unit", f"Cost {currency}"),
                *("Order by", "Runs out %", "Expires %"),
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
                    round(100 * line.stockout_chance),
                    round(100 * line.expiry_chance),
                )
                for line in week.decisions.lines
            ],
        ),
        Table(
            "By supplier",
            ("Supplier", "Lines", f"Goods {currency}", f"Freight {currency}", "Order on", "Note"),
            [
                (
                    total.supplier,
                    total.lines,
                    money(round(total.goods)),
                    money(round(total.freight)),
                    total.order_on,
                    " ".join(total.notes),
                )
                for total in week.decisions.totals
            ],
        ),
        Table(
            "Expiring",
            (
                *("Use by", "Days", "Item", "Lot", "Place", "Amount", "Left then", "Unit"),
                *(f"At risk {currency}", "Advice"),
            ),
            [
                (
                    lot.effective_expiry,
                    lot.days,
                    lot.item,
                    lot.lot,
                    lot.place,
                    round(lot.amount, 3),
                    round(lot.left_mean, 1),
                    lot.unit,
                    money(round(lot.value_at_risk)),
                    lot.advice,
                )
                for lot in week.expiring
            ],
        ),
        Table(
            "Jobs to print",
            ("Day", "Order", "Line", "Pieces", "Printer", "Verdict", "Chance %", "Short of"),
            [
                (
                    job.on,
                    job.order,
                    job.line,
                    round(job.pieces),
                    job.printer,
                    job.verdict,
                    round(100 * job.chance),
                    ", ".join(lack.item for lack in job.lacks),
                )
                for job in week.clear.jobs
            ],
        ),
        Table(
            "Forecasts so far",
            ("Weeks", "Class", "Forecasts", "Lean %", "Held 90 %"),
            [
                (
                    weeks,
                    row.kind,
                    row.cases,
                    round(100 * row.bias) if row.bias == row.bias else None,
                    round(100 * float(row.at_most[row.levels.index(0.9)])),
                )
                for weeks, rows in sorted(week.accuracy.scores.items())
                for row in rows
            ],
        ),
        Table(
            "Certificates",
            ("Until", "Days", "Item", "Lot", "Certificate"),
            [
                (one.certificate_expiry, one.days, one.item, one.lot, one.certificate)
                for one in week.certificates
            ],
        ),
        Table(
            "On the way",
            ("Purchase", "Supplier", "Item", "Amount", "Promised"),
            [
                (line.purchase, line.supplier, line.item, round(line.amount, 3), line.promised_on)
                for line in week.coming
            ],
        ),
        Table(
            "Arithmetic",
            ("Item", "Why"),
            [(line.item, "\n".join(line.why)) for line in week.decisions.lines],
        ),
    ]
    return [table for table in tables if table.rows]


def week_text_report(week: Week, settings: Settings | None = None) -> Report:
    """The report for reading: of the jobs those that need something, and no arithmetic.

    The workbook has every job; ``stock reorder --why`` has the arithmetic.
    """
    report = week_report(week, settings)
    kept = [_shortened(block) if isinstance(block, Table) else block for block in report.blocks]
    return Report(report.title, report.facts, [block for block in kept if block is not None])


def _shortened(table: Table) -> Table | None:
    if table.title == "Arithmetic":
        return None
    if table.title != "Jobs to print":
        return table
    verdict = table.header.index("Verdict")
    rows = [row for row in table.rows if row[verdict] != "clear"]
    return Table("Jobs that need something", table.header, rows) if rows else None


def order_sheets(week: Week, settings: Settings | None = None) -> list[OrderSheet]:
    """One sheet per supplier on the list; not sent, and not yet a purchase order of the book."""
    known = settings or load_settings()
    sheets = []
    for total in week.decisions.totals:
        lines = [line for line in week.decisions.lines if line.supplier == total.supplier]
        supplier = week.suppliers.get(total.supplier)
        sheets.append(
            OrderSheet(
                purchase=f"{week_label(week.on)}-{total.supplier} (proposed)",
                supplier=(supplier.name if supplier and supplier.name else total.supplier),
                shop=known["shop"] or "–",
                ordered_on=week.on,
                currency=week.decisions.currency,
                lines=[
                    OrderSheetLine(
                        line.pack,
                        line.name or line.item,
                        line.packs,
                        f"{line.amount / line.packs:,.6g} {line.unit}",
                        round(line.cost / line.packs),
                    )
                    for line in lines
                ],
                freight_minor=round(total.freight),
                notes=[f"Order on {total.order_on}.", *total.notes],
            )
        )
    return sheets


def occasions(week: Week, settings: Settings | None = None) -> Iterator[Occasion]:
    """Order days, next lists, dates of lots and certificates, deliveries expected."""
    from stock.exchange.calendar_files import Occasion

    known = settings or load_settings()
    for total in week.decisions.totals:
        lines = [line for line in week.decisions.lines if line.supplier == total.supplier]
        text = "\n".join(f"{line.packs} × {line.pack} ({line.item})" for line in lines)
        cost = format_money(round(total.total), week.decisions.currency)
        yield Occasion(
            f"order/{total.supplier}/{total.order_on}",
            total.order_on,
            f"Order from {total.supplier}: {total.lines} lines, {cost}",
            text,
            remind_days=0,
        )
    for run in next_runs(week.on, known.review_weekday):
        yield Occasion(f"list/{run}", run, "Weekly list", "stock week")
    for lot in week.expiring:
        if lot.days >= 0:
            yield Occasion(
                f"expiry/{lot.item}/{lot.lot}/{lot.place}",
                lot.effective_expiry,
                f"Use by: {lot.item} lot {lot.lot} at {lot.place}",
                f"{lot.amount:,.6g} {lot.unit} there on {week.on}. {lot.advice}",
                remind_days=14,
            )
    for one in week.certificates:
        if one.certificate_expiry is not None:
            yield Occasion(
                f"certificate/{one.item}/{one.lot}",
                one.certificate_expiry,
                f"Certificate {one.certificate} of {one.item} lot {one.lot} ends",
                remind_days=14,
            )
    for line in week.coming:
        if line.promised_on is not None:
            yield Occasion(
                f"delivery/{line.purchase}/{line.item}",
                line.promised_on,
                f"Expected: {line.item} from {line.supplier}",
                f"{line.amount:,.6g} on {line.purchase}",
            )


def week_files(
    week: Week,
    formats: Collection[str],
    *,
    made: datetime,
    to: str = "",
    settings: Settings | None = None,
) -> list[NamedFile]:
    """The week in these formats; the mail carries the other files asked for.

    Raises:
        Refused: A mail address that is none.
    """
    from stock.exchange.calendar_files import calendar_bytes
    from stock.exchange.mail_files import mail_bytes
    from stock.exchange.pages import report_pdf
    from stock.exchange.reports import report_text
    from stock.exchange.spreadsheets import workbook_bytes

    known = settings or load_settings()
    label = week_label(week.on)
    short = week_text_report(week, known)
    found: list[NamedFile] = []
    if "txt" in formats:
        found.append(NamedFile(f"week-{label}.txt", report_text(short).encode()))
    if "pdf" in formats:
        for sheet, total in zip(order_sheets(week, known), week.decisions.totals, strict=True):
            name = f"order-{label}-{_file_name(total.supplier)}.pdf"
            content = report_pdf(order_report(sheet), made=made, paper=known["paper"])
            found.append(NamedFile(name, content))
    if "xlsx" in formats:
        tables = week_report(week, known).tables
        if tables:
            found.append(NamedFile(f"week-{label}.xlsx", workbook_bytes(tables)))
    if "ics" in formats:
        content = calendar_bytes(occasions(week, known), name="stock", made=made)
        found.append(NamedFile(f"week-{label}.ics", content))
    if "eml" in formats:
        attached = [(one.name, one.content) for one in found if not one.name.endswith(".txt")]
        try:
            content = mail_bytes(
                short, made=made, to=to or known["week.mail_to"], attachments=attached
            )
        except ValueError as error:
            raise Refused(f"{error}.") from None
        found.append(NamedFile(f"week-{label}.eml", content))
    return found


def _file_name(code: str) -> str:
    """A supplier's code as part of a file's name: letters, digits, dash and underscore."""
    return "".join(c if c.isalnum() or c in "-_" else "_" for c in code)[:60] or "supplier"

"""Reports: a title, facts, tables and paragraphs, as text and HTML; order sheets are reports.

A report is put together by its caller; what is here only lays it out. Money is handed in as minor
units and shown with two decimals, its currency in the header.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from stock.exchange.safe_text import safe_text
from stock.exchange.tables import Cell, Table, html_table, plain_text

Block = str | Table


@dataclass(frozen=True)
class Report:
    """What a page, a mail or a workbook shows.

    Args:
        title: One line.
        facts: (name, value) pairs under the title.
        blocks: Paragraphs and tables in their order.
    """

    title: str
    facts: Sequence[tuple[str, str]] = ()
    blocks: Sequence[Block] = ()

    @property
    def tables(self) -> tuple[Table, ...]:
        """The tables alone."""
        return tuple(block for block in self.blocks if isinstance(block, Table))


@dataclass(frozen=True)
class OrderSheetLine:
    """One line of an order to a supplier; prices in minor units."""

    code: str
    name: str
    packs: int
    content: str
    price_minor: int


@dataclass(frozen=True)
class OrderSheet:
    """An order to one supplier, ready to be laid out."""

    purchase: str
    supplier: str
    shop: str
    ordered_on: date
    currency: str
    lines: Sequence[OrderSheetLine]
    promised_on: date | None = None
    freight_minor: int = 0
    notes: Sequence[str] = field(default_factory=tuple)

    @property
    def total_minor(self) -> int:
        """Packs times prices, and freight."""
        return sum(line.packs * line.price_minor for line in self.lines) + self.freight_minor


def order_report(sheet: OrderSheet) -> Report:
    """The order sheet as a report: facts, lines with totals, notes."""
    facts = [
        ("From", sheet.shop),
        ("To", sheet.supplier),
        ("Date", sheet.ordered_on.isoformat()),
    ]
    if sheet.promised_on is not None:
        facts.append(("Wanted by", sheet.promised_on.isoformat()))
    rows: list[tuple[Cell, ...]] = [
        (
            place,
            line.code,
            line.name,
            line.content,
            line.packs,
            money(line.price_minor),
            money(line.packs * line.price_minor),
        )
        for place, line in enumerate(sheet.lines, 1)
    ]
    if sheet.freight_minor:
        rows.append((None, "", "Freight", "", None, None, money(sheet.freight_minor)))
    rows.append((None, "", "Total", "", None, None, money(sheet.total_minor)))
    unit = f" {sheet.currency}" if sheet.currency else ""
    header = ("No.", "Code", "Item", "Pack", "Packs", f"Price{unit}", f"Amount{unit}")
    table = Table("Lines", header, rows)
    return Report(f"Purchase order {sheet.purchase}", facts, (table, *sheet.notes))


def money(minor: int) -> Decimal:
    """Minor units as a cell of money, two decimals.

    >>> money(-5), money(123450)
    (Decimal('-0.05'), Decimal('1234.50'))
    """
    return Decimal(minor).scaleb(-2)


def report_text(report: Report) -> str:
    """The report as plain text."""
    title = safe_text(report.title)
    lines = [title, "=" * len(title), ""]
    if report.facts:
        width = max(len(safe_text(name)) for name, _ in report.facts) + 1
        for name, value in report.facts:
            lines.append(f"{safe_text(name) + ':':<{width}} {safe_text(value)}")
        lines.append("")
    for block in report.blocks:
        if isinstance(block, Table):
            lines += [safe_text(block.title), "", plain_text(block)]
        else:
            lines += [_paragraph(block), ""]
    return "\n".join(lines).rstrip("\n") + "\n"


def report_html(report: Report) -> str:
    """The report as one HTML page without outside parts."""
    title = html.escape(safe_text(report.title))
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en"><head><meta charset="utf-8">',
        f"<title>{title}</title></head>",
        '<body style="font-family:sans-serif">',
        f"<h1>{title}</h1>",
    ]
    if report.facts:
        parts.append("<dl>")
        for name, value in report.facts:
            shown = html.escape(safe_text(value))
            parts.append(f"<dt>{html.escape(safe_text(name))}</dt><dd>{shown}</dd>")
        parts.append("</dl>")
    for block in report.blocks:
        if isinstance(block, Table):
            parts.append(html_table(block))
        else:
            parts.append(f"<p>{html.escape(_paragraph(block))}</p>")
    parts.append("</body></html>")
    return "\n".join(parts) + "\n"


def _paragraph(text: str) -> str:
    return "\n".join(safe_text(line) for line in text.splitlines())

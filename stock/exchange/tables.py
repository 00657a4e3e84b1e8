"""Tables on their way out: as CSV, as aligned text, as HTML.

Cells are text, numbers, dates, yes/no or nothing. Text is made harmless for where it goes: no
formula starts in a spreadsheet, no control character reaches a terminal, no markup a mail.
Numbers stay numbers. Units stand in the headers.
"""

from __future__ import annotations

import csv
import html
import io
import math
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from stock.exchange.safe_text import formula_safe, safe_text

Cell = str | int | float | Decimal | date | None


@dataclass(frozen=True)
class Table:
    """A titled table; ``rows`` may be any iterable and is read once per rendering."""

    title: str
    header: Sequence[str]
    rows: Sequence[Sequence[Cell]]


def cell_text(cell: Cell, *, decimal_comma: bool = False) -> str:
    """One cell as text: dates ISO 8601, floats without idle decimals, decimals with their own.

    >>> cell_text(1.50), cell_text(0.1 + 0.2), cell_text(Decimal("1.50")), cell_text(None)
    ('1.5', '0.3', '1.50', '')
    """
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, float | Decimal):
        if not math.isfinite(cell):
            return ""
        if isinstance(cell, Decimal):
            text = f"{cell:f}"
        else:
            text = f"{cell:.6f}".rstrip("0").rstrip(".")
            text = "0" if text == "-0" else text
        return text.replace(".", ",") if decimal_comma else text
    return str(cell)


def csv_text(table: Table, *, delimiter: str = ",", decimal_comma: bool = False) -> str:
    """The table as CSV (RFC 4180 quoting, ``\\n`` line ends), formulas neutralised.

    >>> print(csv_text(Table("t", ("item", "mL"), [("=1+1", 2.5)])), end="")
    item,mL
    '=1+1,2.5
    """
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\n")
    writer.writerow([_harmless(name) for name in table.header])
    for row in table.rows:
        writer.writerow(
            [
                _harmless(cell)
                if isinstance(cell, str)
                else cell_text(cell, decimal_comma=decimal_comma)
                for cell in row
            ]
        )
    return out.getvalue()


def _harmless(text: str) -> str:
    return formula_safe(safe_text(text))


def plain_text(table: Table) -> str:
    """The table in aligned columns, for mails and plain files; numbers to the right."""
    header = [safe_text(name) for name in table.header]
    rows = [[safe_text(cell_text(cell)) for cell in row] for row in table.rows]
    right = numeric_columns(table)
    widths = [
        max([_width(header[place])] + [_width(row[place]) for row in rows])
        for place in range(len(header))
    ]
    lines = [_aligned(header, widths, right), "  ".join("-" * width for width in widths)]
    lines += [_aligned(row, widths, right) for row in rows]
    return "\n".join(lines) + "\n"


def numeric_columns(table: Table) -> tuple[bool, ...]:
    """Which columns hold numbers only (and at least one)."""
    flags = []
    for place in range(len(table.header)):
        cells = [row[place] for row in table.rows if row[place] is not None]
        numbers = [isinstance(c, int | float | Decimal) and not isinstance(c, bool) for c in cells]
        flags.append(bool(numbers) and all(numbers))
    return tuple(flags)


def html_table(table: Table) -> str:
    """The table as HTML, every cell escaped; styles inline, since mail readers drop others."""
    right = numeric_columns(table)
    style = "border-bottom:1px solid #999;padding:2px 8px;text-align:"
    lines = [
        '<table style="border-collapse:collapse">',
        f'<caption style="text-align:left;font-weight:bold">{_escaped(table.title)}</caption>',
        "<thead><tr>",
    ]
    lines += [
        f'<th scope="col" style="{style}{"right" if right[place] else "left"}">'
        f"{_escaped(name)}</th>"
        for place, name in enumerate(table.header)
    ]
    lines.append("</tr></thead>")
    lines.append("<tbody>")
    for row in table.rows:
        cells = "".join(
            f'<td style="{style}{"right" if right[place] else "left"}">'
            f"{_escaped(cell_text(cell))}</td>"
            for place, cell in enumerate(row)
        )
        lines.append(f"<tr>{cells}</tr>")
    lines.append("</tbody></table>")
    return "\n".join(lines)


def _escaped(text: str) -> str:
    return html.escape(safe_text(text))


def _width(text: str) -> int:
    if text.isascii():
        return len(text)
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    joined = sum(unicodedata.combining(c) > 0 for c in text)
    return len(text) + wide - joined


def _aligned(cells: Iterable[str], widths: Sequence[int], right: Sequence[bool]) -> str:
    parts = []
    for cell, width, to_right in zip(cells, widths, right, strict=True):
        space = " " * (width - _width(cell))
        parts.append(space + cell if to_right else cell + space)
    return "  ".join(parts).rstrip()

"""Tables out as an XLSX workbook: one sheet each, numbers as numbers, text as text.

Text never becomes a formula: it is stored as text and marked as such. Rows are streamed, so a
long report needs no memory of its own.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any, Final

from stock.exchange.safe_text import formula_safe, safe_text
from stock.exchange.tables import Cell, Table, cell_text

LONGEST_CELL: Final = 32_767
"""Most characters a cell of a workbook holds (ECMA-376 readers' common limit)."""
_WIDEST_COLUMN: Final = 60


def workbook_bytes(tables: Sequence[Table]) -> bytes:
    """A workbook of the tables, each on a sheet named by its title.

    Raises:
        ValueError: When there is no table.
    """
    from openpyxl import Workbook

    if not tables:
        raise ValueError("a workbook needs at least one table")
    workbook = Workbook(write_only=True)
    taken: set[str] = set()
    for table in tables:
        _add_sheet(workbook, table, _sheet_name(table.title, taken))
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def _add_sheet(workbook: Any, table: Table, name: str) -> None:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    sheet = workbook.create_sheet(name)
    sheet.freeze_panes = "A2"
    sample = list(table.rows[:200])
    for place, title in enumerate(table.header):
        texts = [title, *(cell_text(row[place]) for row in sample)]
        width = min(max(len(text) for text in texts) + 2, _WIDEST_COLUMN)
        sheet.column_dimensions[get_column_letter(place + 1)].width = width
    bold = Font(bold=True)
    header = []
    for title in table.header:
        cell = WriteOnlyCell(sheet)
        cell.value = safe_text(title)[:LONGEST_CELL]
        cell.data_type = "s"
        cell.font = bold
        header.append(cell)
    sheet.append(header)
    for row in table.rows:
        sheet.append([_cell(sheet, value) for value in row])


def _cell(sheet: Any, value: Cell) -> Any:
    from openpyxl.cell import WriteOnlyCell

    if value is None or (isinstance(value, float | Decimal) and not math.isfinite(value)):
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        cell = WriteOnlyCell(sheet, value)
        cell.number_format = "yyyy-mm-dd"
        return cell
    if isinstance(value, Decimal):
        cell = WriteOnlyCell(sheet, value)
        places = -int(value.as_tuple().exponent)
        cell.number_format = "0." + "0" * places if places > 0 else "0"
        return cell
    if isinstance(value, int | float):
        return value
    text = safe_text(value)[:LONGEST_CELL]
    risky = formula_safe(text) != text
    if not risky and not text.startswith("#"):
        return text
    cell = WriteOnlyCell(sheet)
    cell.value = text
    cell.data_type = "s"
    cell.quotePrefix = risky
    return cell


def _sheet_name(title: str, taken: set[str]) -> str:
    """A name that sheets may have: 31 characters, none of ``[]:*?/\\``, no other of the name."""
    base = re.sub(r"[\[\]:*?/\\]", " ", safe_text(title)).strip("' ")[:31].strip() or "Table"
    name, number = base, 2
    while name.lower() in taken:
        ending = f" {number}"
        name = base[: 31 - len(ending)] + ending
        number += 1
    taken.add(name.lower())
    return name

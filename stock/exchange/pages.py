"""Reports as PDF pages: facts, tables that repeat their header, paragraphs, page numbers.

The built-in fonts hold Western European letters. Others are written without their accents where
that is possible and as ``?`` where not, unless a TrueType font is handed in.
"""

from __future__ import annotations

import unicodedata
from datetime import datetime
from pathlib import Path
from typing import Any, Final, Literal

from stock.exchange.reports import Report
from stock.exchange.safe_text import safe_text
from stock.exchange.tables import Table, cell_text, numeric_columns

Paper = Literal["a4", "letter"]

_PT_TEXT: Final = 9
_WIDE_TABLE: Final = 8
"""Tables of more columns lie across the page."""
_SAMPLE: Final = 300


def report_pdf(
    report: Report, *, made: datetime, paper: Paper = "a4", font: Path | None = None
) -> bytes:
    """The report as a PDF.

    Args:
        made: The moment it is made; stands in the file and at the foot of each page.
        paper: ``a4`` or ``letter``.
        font: A TrueType font for scripts that the built-in fonts do not hold.
    """
    from fpdf import FPDF

    lies = any(len(table.header) > _WIDE_TABLE for table in report.tables)

    class _Pages(FPDF):
        def footer(self) -> None:
            self.set_y(-12)
            self.set_font(self.font_family, size=7)
            stamp = made.strftime("%Y-%m-%d %H:%M")
            self.cell(0, 5, f"{stamp}    page {self.page_no()} of {{nb}}", align="R")

    pdf = _Pages(orientation="landscape" if lies else "portrait", format=paper)
    pdf.set_creation_date(made)
    pdf.set_title(safe_text(report.title))
    pdf.set_auto_page_break(True, margin=16)
    family = use_font(pdf, font)
    pdf.add_page()
    say = _Sayer(font is not None)
    pdf.set_font(family, style="B", size=15)
    pdf.multi_cell(0, 8, say(report.title), new_x="LMARGIN", new_y="NEXT")
    pdf.ln(1)
    for name, value in report.facts:
        pdf.set_font(family, style="B", size=_PT_TEXT)
        pdf.cell(32, 5, say(name))
        pdf.set_font(family, size=_PT_TEXT)
        pdf.multi_cell(0, 5, say(value), new_x="LMARGIN", new_y="NEXT")
    pdf.ln(3)
    for block in report.blocks:
        if isinstance(block, Table):
            _draw_table(pdf, block, family, say)
        else:
            pdf.set_font(family, size=_PT_TEXT)
            for line in block.splitlines() or [""]:
                pdf.multi_cell(0, 5, say(line), new_x="LMARGIN", new_y="NEXT")
        pdf.ln(3)
    return bytes(pdf.output())


def use_font(pdf: Any, font: Path | None) -> str:
    """The font family to write with: the built-in one, or the TrueType font handed in."""
    if font is None:
        pdf.core_fonts_encoding = "windows-1252"
        return "helvetica"
    for style in ("", "B"):
        pdf.add_font("given", style, str(font))
    return "given"


def western(text: str) -> str:
    """``text`` in the letters of Windows-1252: accents dropped, then ``?``.

    >>> western("Größe L, Győr, 日本")
    'Größe L, Gyor, ??'
    """
    shown = []
    for c in safe_text(text):
        try:
            c.encode("cp1252")
        except UnicodeEncodeError:
            bare = unicodedata.normalize("NFKD", c).encode("ascii", "ignore").decode()
            shown.append(bare or "?")
        else:
            shown.append(c)
    return "".join(shown)


class _Sayer:
    """Text as the font of the page can write it."""

    def __init__(self, any_script: bool) -> None:
        self._any_script = any_script

    def __call__(self, text: str) -> str:
        return safe_text(text) if self._any_script else western(text)


def _draw_table(pdf: Any, table: Table, family: str, say: _Sayer) -> None:
    from fpdf.enums import TableBordersLayout
    from fpdf.fonts import FontFace

    pdf.set_font(family, style="B", size=_PT_TEXT + 1)
    pdf.cell(0, 6, say(table.title), new_x="LMARGIN", new_y="NEXT")
    pdf.set_font(family, size=_PT_TEXT - 1)
    pdf.set_draw_color(170)
    right = numeric_columns(table)
    widths = _widths(pdf, table, say)
    with pdf.table(
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        col_widths=widths,
        text_align=["RIGHT" if to_right else "LEFT" for to_right in right],
        headings_style=FontFace(emphasis="BOLD"),
        line_height=4.5,
        width=pdf.epw,
        align="LEFT",
        padding=(0.6, 1.2),
    ) as grid:
        grid.row([say(name) for name in table.header])
        for row in table.rows:
            grid.row([say(cell_text(cell)) for cell in row])


def _widths(pdf: Any, table: Table, say: _Sayer) -> tuple[float, ...]:
    """Column widths by what stands in them, wide ones wrapped."""
    widths = []
    for place, name in enumerate(table.header):
        texts = [name, *(cell_text(row[place]) for row in table.rows[:_SAMPLE])]
        longest = max(pdf.get_string_width(say(text)) for text in texts)
        words = [word for text in texts for word in text.split()] or [""]
        word = max(pdf.get_string_width(say(word)) for word in words)
        widths.append(max(min(longest, pdf.epw / 4), min(word, pdf.epw / 3)) + 3)
    return tuple(widths)

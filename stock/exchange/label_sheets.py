"""Labels on paper: sheets of labels as PDF, single labels as PNG. Lengths are mm.

A label is laid out once, as rectangles and lines of text in mm, and painted by either painter.
Modules are whole printer dots, so that bars keep their widths.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from stock.exchange.labels import Label
from stock.exchange.pages import use_font, western
from stock.exchange.safe_text import safe_text
from stock.exchange.symbols import QUIET_MODULES, Symbol, SymbolKind, draw_symbol

DOTS_PER_MM: Final = 300 / 25.4
"""Dots of the printer that modules are fitted to; most printers print 300 or a multiple."""
SMALLEST_MODULE_MM: Final = 0.25
LARGEST_MODULE_MM: Final = 1.0
_MARGIN: Final = 2.0
_MM_PER_PT: Final = 25.4 / 72


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """A sheet of labels, measured.

    Args:
        page_mm: Width and height of the page.
        label_mm: Width and height of a label.
        columns, rows: Labels across and down.
        left_mm, top_mm: Where the first label begins.
        gap_mm: Space between labels, across and down.
    """

    page_mm: tuple[float, float]
    label_mm: tuple[float, float]
    columns: int
    rows: int
    left_mm: float
    top_mm: float
    gap_mm: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        width = self.left_mm + self.columns * self.label_mm[0] + (self.columns - 1) * self.gap_mm[0]
        height = self.top_mm + self.rows * self.label_mm[1] + (self.rows - 1) * self.gap_mm[1]
        numbers = (*self.page_mm, *self.label_mm, self.columns, self.rows)
        if min(numbers) <= 0 or min(self.left_mm, self.top_mm, *self.gap_mm) < 0:
            raise ValueError("a label sheet has positive sizes and counts")
        if width > self.page_mm[0] + 0.5 or height > self.page_mm[1] + 0.5:
            raise ValueError(
                f"these labels take {width:.1f} × {height:.1f} mm, "
                f"the page is {self.page_mm[0]:.1f} × {self.page_mm[1]:.1f} mm"
            )

    def corner(self, place: int) -> tuple[float, float]:
        """Left and top of the label number ``place`` of a page, row by row."""
        row, column = divmod(place, self.columns)
        return (
            self.left_mm + column * (self.label_mm[0] + self.gap_mm[0]),
            self.top_mm + row * (self.label_mm[1] + self.gap_mm[1]),
        )

    @property
    def per_page(self) -> int:
        """Labels on a page."""
        return self.columns * self.rows


_A4: Final = (210.0, 297.0)
_LETTER: Final = (215.9, 279.4)

SHEETS: Final[dict[str, LabelSheet]] = {
    "a4-70x37": LabelSheet(_A4, (70.0, 37.0), 3, 8, 0.0, 0.5),
    "a4-63x38": LabelSheet(_A4, (63.5, 38.1), 3, 7, 7.2, 15.1, (2.5, 0.0)),
    "a4-99x38": LabelSheet(_A4, (99.1, 38.1), 2, 7, 4.7, 15.1, (2.5, 0.0)),
    "a4-105x74": LabelSheet(_A4, (105.0, 74.0), 2, 4, 0.0, 0.5),
    "letter-67x25": LabelSheet(_LETTER, (66.7, 25.4), 3, 10, 4.8, 12.7, (3.1, 0.0)),
    "letter-102x51": LabelSheet(_LETTER, (101.6, 50.8), 2, 5, 4.0, 12.7, (4.7, 0.0)),
    "roll-62x29": LabelSheet((62.0, 29.0), (62.0, 29.0), 1, 1, 0.0, 0.0),
    "roll-100x50": LabelSheet((100.0, 50.0), (100.0, 50.0), 1, 1, 0.0, 0.0),
}
"""Common sheets and rolls by size; common practice, no source."""


@dataclass(frozen=True, slots=True)
class _Bar:
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class _Line:
    x: float
    y: float
    width: float
    size_pt: float
    text: str
    bold: bool = False


def labels_pdf(
    labels: Sequence[Label],
    sheet: LabelSheet,
    *,
    made: datetime,
    symbol: SymbolKind = "datamatrix",
    skip: int = 0,
    font: Path | None = None,
) -> bytes:
    """Labels on as many pages as they need.

    Args:
        made: The moment it is made, for the file.
        skip: Labels of the first page that are used up already.
        font: A TrueType font for scripts that the built-in fonts do not hold.

    Raises:
        ValueError: No labels, or a symbol that does not fit the label.
    """
    from fpdf import FPDF

    if not labels:
        raise ValueError("there are no labels to print")
    if not 0 <= skip < sheet.per_page:
        raise ValueError(f"a page has {sheet.per_page} labels; {skip} cannot be left out")
    pdf = FPDF(unit="mm", format=sheet.page_mm)
    pdf.set_creation_date(made)
    pdf.set_title("Labels")
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.c_margin = 0
    family = use_font(pdf, font)
    say = safe_text if font is not None else western
    for number, label in enumerate(labels, skip):
        if number == skip or number % sheet.per_page == 0:
            pdf.add_page()
        left, top = sheet.corner(number % sheet.per_page)
        for part in _layout(label, *sheet.label_mm, symbol):
            if isinstance(part, _Bar):
                pdf.rect(left + part.x, top + part.y, part.width, part.height, style="F")
            else:
                _write(pdf, family, say, part, left, top)
    return bytes(pdf.output())


def _write(
    pdf: Any, family: str, say: Callable[[str], str], line: _Line, left: float, top: float
) -> None:
    text, size = say(line.text), line.size_pt
    pdf.set_font(family, style="B" if line.bold else "", size=size)
    width = pdf.get_string_width(text)
    if width > line.width:
        size = max(size * line.width / width, size * 0.6)
        pdf.set_font(family, style="B" if line.bold else "", size=size)
    while text and pdf.get_string_width(text) > line.width:
        text = text[:-2] + "…" if len(text) > 1 else ""
    pdf.text(left + line.x, top + line.y + size * _MM_PER_PT * 0.8, text)


def label_png(
    label: Label,
    width_mm: float,
    height_mm: float,
    *,
    symbol: SymbolKind = "datamatrix",
    dots_per_inch: int = 300,
) -> bytes:
    """One label as a black and white PNG of its real size.

    Raises:
        ValueError: The symbol does not fit the label.
    """
    from PIL import Image, ImageDraw, ImageFont

    dots = dots_per_inch / 25.4
    image = Image.new("L", (round(width_mm * dots), round(height_mm * dots)), 255)
    draw = ImageDraw.Draw(image)
    for part in _layout(label, width_mm, height_mm, symbol, dots):
        if isinstance(part, _Bar):
            x, y = round(part.x * dots), round(part.y * dots)
            right, bottom = (
                round((part.x + part.width) * dots),
                round((part.y + part.height) * dots),
            )
            draw.rectangle((x, y, right - 1, bottom - 1), fill=0)
            continue
        size = part.size_pt * _MM_PER_PT * dots
        text = western(part.text)
        letters = ImageFont.load_default(size)
        width = draw.textlength(text, letters)
        if width > part.width * dots:
            letters = ImageFont.load_default(max(size * part.width * dots / width, size * 0.6))
        while text and draw.textlength(text, letters) > part.width * dots:
            text = text[:-2] + "…" if len(text) > 1 else ""
        draw.text((part.x * dots, part.y * dots), text, fill=0, font=letters)
    out = io.BytesIO()
    image.save(out, format="PNG", dpi=(dots_per_inch, dots_per_inch))
    return out.getvalue()


def _layout(
    label: Label, width: float, height: float, kind: SymbolKind, dots_per_mm: float = DOTS_PER_MM
) -> list[_Bar | _Line]:
    """Where everything stands on a label, mm from its top left corner."""
    symbol = draw_symbol(kind, label.fields)
    quiet = QUIET_MODULES[kind]
    if kind == "datamatrix":
        room = min(height - 2 * _MARGIN, width / 2)
        module = _module(room, max(symbol.columns, symbol.rows) + 2 * quiet, dots_per_mm)
        side = (symbol.columns + 2 * quiet) * module
        top = (height - (symbol.rows + 2 * quiet) * module) / 2
        bars = _bars(symbol, _MARGIN + quiet * module, top + quiet * module, module, module)
        left = _MARGIN + side + 1.0
        return [*bars, *_texts(label, left, _MARGIN, width - left - _MARGIN, height - 2 * _MARGIN)]
    module = _module(width - 2 * _MARGIN, symbol.columns + 2 * quiet, dots_per_mm)
    bar_height = max(height * 0.35, 6.0)
    left = (width - symbol.columns * module) / 2
    bars = _bars(symbol, left, height - _MARGIN - bar_height, module, bar_height)
    room = height - 2 * _MARGIN - bar_height - 1.0
    return [*bars, *_texts(label, _MARGIN, _MARGIN, width - 2 * _MARGIN, room)]


def _module(room_mm: float, modules: int, dots_per_mm: float) -> float:
    """The largest module of whole dots that fits.

    Raises:
        ValueError: It would be too small to be read.
    """
    largest = min(room_mm / modules, LARGEST_MODULE_MM)
    module = int(largest * dots_per_mm + 1e-9) / dots_per_mm
    if module < SMALLEST_MODULE_MM:
        need = modules * SMALLEST_MODULE_MM
        raise ValueError(f"the code needs {need:.0f} mm, the label leaves {room_mm:.0f} mm")
    return module


def _bars(symbol: Symbol, left: float, top: float, module: float, height: float) -> list[_Bar]:
    return [
        _Bar(left + column * module, top + row * module, length * module, height)
        for row, column, length in symbol.runs
    ]


def _texts(label: Label, left: float, top: float, width: float, height: float) -> list[_Line]:
    """Title, lines and the printed form of the code, as large as the room allows."""
    codes = [f"({ai}){value}" for ai, value in label.fields]
    wanted = 1.5 + len(label.lines) + 0.75 * len(codes)
    step = min(height / wanted, 4.6)
    size = step / _MM_PER_PT / 1.15
    lines = [_Line(left, top, width, size * 1.35, label.title, bold=True)]
    y = top + 1.5 * step
    for text in label.lines:
        lines.append(_Line(left, y, width, size, text))
        y += step
    for text in codes:
        lines.append(_Line(left, y, width, size * 0.7, text))
        y += 0.75 * step
    return lines

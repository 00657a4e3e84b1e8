"""Sheets of an XLSX workbook as lines of text cells, with guards against built-to-harm files.

The archive's sizes are checked before anything is unpacked, parts with a document type (the way
entity bombs come in) are refused, and rows and columns beyond a sheet's own limits are not
followed. Formulas are read as the values stored with them.
"""

from __future__ import annotations

import warnings
import weakref
import zipfile
import zlib
from collections.abc import Callable, Iterator
from datetime import date, datetime, time
from pathlib import Path
from typing import IO, Any, Final
from xml.parsers import expat

from stock.errors import Fault
from stock.exchange.safe_text import safe_text
from stock.exchange.sources import Cells, LineFault, LineReader, refuse

MAX_PARTS: Final = 2000
MAX_UNPACKED: Final = 512 * 1024 * 1024
MAX_RATIO: Final = 300
"""Uncompressed : compressed of one part; sheets of repeated rows reach some tens."""
MAX_SHARED_TEXT: Final = 64 * 1024 * 1024
"""Texts that a workbook shares are held in memory whole; sheets are streamed."""
SMALL_PART: Final = 4 * 1024 * 1024
MAX_ROWS: Final = 1_048_576
MAX_COLUMNS: Final = 300
MAX_EMPTY_ROWS: Final = 20_000
"""So many empty rows on end close the sheet: row numbers may jump as far as a file likes."""

DAMAGE: Final = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    EOFError,
    LookupError,
    OSError,
    RuntimeError,
    SyntaxError,
    TypeError,
    ValueError,
    zipfile.BadZipFile,
    zlib.error,
)
"""What the workbook reader raises on damaged parts: it checks little and fails where it stands."""


class SheetSource:
    """One sheet of a workbook."""

    delimiter = ""

    def __init__(
        self, path: Path, sheet: str = "", skip_lines: int = 0, *, decimal_comma: bool = False
    ) -> None:
        self.path, self.sheet, self.skip_lines = path, sheet, skip_lines
        self.decimal_comma = decimal_comma
        self.notes: list[str] = []
        _guard(path)
        # One workbook for all readings: opening one looks through its whole sheets.
        file, workbook = _open(path)
        weakref.finalize(self, _close, file, workbook)
        names = list(workbook.sheetnames)
        if sheet and sheet not in names:
            shown = ", ".join(safe_text(name, longest=40) for name in names[:20])
            raise refuse(path, f"no sheet {sheet!r} (sheets: {shown})", "one of its sheets")
        tables = [ws.title for ws in workbook.worksheets]
        if not tables or (sheet and sheet not in tables):
            raise refuse(path, "a workbook without a sheet of cells", "a sheet of cells")
        title = sheet or tables[0]
        if not sheet and len(tables) > 1:
            self.notes.append(f"read sheet {safe_text(title, longest=40)!r} only")
        self._sheet = workbook[title]
        self._columns = _width_of(self._sheet, skip_lines)

    def rows(self) -> Iterator[tuple[Any, ...]]:
        """The sheet's values after the skipped lines, from its beginning."""
        first = self.skip_lines + 1
        values: Iterator[tuple[Any, ...]] = self._sheet.iter_rows(
            min_row=first, max_col=self._columns, values_only=True
        )
        return values

    def choose(self, score: Callable[[list[str]], tuple[int, int]]) -> None:
        """Cells need no delimiter."""

    def lines(self) -> LineReader:
        """Lines of the sheet after the skipped ones; close it when done."""
        return _SheetLines(self)


def _close(file: IO[bytes], workbook: Any) -> None:
    workbook.close()
    file.close()


class _SheetLines:
    def __init__(self, source: SheetSource) -> None:
        self._sign = "," if source.decimal_comma else "."
        self._line = source.skip_lines
        self._empty = 0
        self._rows = source.rows()

    def __iter__(self) -> LineReader:
        return self

    def __next__(self) -> Cells:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                row = next(self._rows)
        except DAMAGE as error:
            self._rows = iter(())
            why = safe_text(str(error) or type(error).__name__, longest=80)
            raise LineFault(
                Fault(self._line + 1, "", f"a damaged sheet ({why})", "a sound workbook")
            ) from None
        self._line += 1
        cells = [_text(value, self._sign) for value in row]
        while cells and not cells[-1]:
            cells.pop()
        self._empty = 0 if cells else self._empty + 1
        if self._empty > MAX_EMPTY_ROWS or self._line > MAX_ROWS:
            self._rows = iter(())
            raise StopIteration
        return self._line, cells

    def close(self) -> None:
        """Nothing is held beyond the source's own workbook."""


def _width_of(sheet: Any, skipped: int) -> int:
    """Columns worth reading: those of the first line that has cells, and one to see a surplus."""
    sheet.reset_dimensions()
    rows = sheet.iter_rows(min_row=skipped + 1, max_row=skipped + 1000, max_col=MAX_COLUMNS)
    try:
        for row in rows:
            filled = [place for place, cell in enumerate(row, 1) if cell.value is not None]
            if filled:
                return filled[-1] + 1
    except DAMAGE:
        return MAX_COLUMNS
    return MAX_COLUMNS


def _text(value: Any, sign: str) -> str:
    """A cell's value as text; ``sign`` is the decimal sign."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        if value.is_integer() and abs(value) < 1e15:
            return str(int(value))
        text = repr(value)
        if "e" in text and abs(value) < 1:
            text = f"{value:.15f}".rstrip("0")
        return text.replace(".", sign)
    if isinstance(value, datetime):
        if value.time() == time(0):
            return value.date().isoformat()
        return value.replace(microsecond=0).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return str(value)


def _open(path: Path) -> tuple[IO[bytes], Any]:
    from openpyxl import load_workbook
    from openpyxl.styles import cell_style

    # The reader prints a damaged style's number to stdout, where our own answers go.
    cell_style.print = _say_nothing
    # A handle, not the path: what the file is called says nothing about what it holds.
    file = path.open("rb")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return file, load_workbook(file, read_only=True, data_only=True, keep_links=False)
    except DAMAGE as error:
        file.close()
        why = safe_text(str(error) or type(error).__name__, longest=80)
        raise refuse(path, f"a damaged workbook ({why})", "a sound XLSX workbook") from None


def _say_nothing(*_: object) -> None:
    pass


def _guard(path: Path) -> None:
    """Refuse archives that unpack beyond reason and parts with a document type."""
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
            names = {part.filename for part in parts}
            if "[Content_Types].xml" not in names or "xl/workbook.xml" not in names:
                raise refuse(path, "a ZIP archive that is no workbook", "an XLSX workbook")
            if len(parts) > MAX_PARTS or len(names) != len(parts):
                raise refuse(path, f"an archive of {len(parts)} parts", "an ordinary workbook")
            total = 0
            for part in parts:
                total += part.file_size
                packed = max(part.compress_size, 1)
                if part.file_size > SMALL_PART and part.file_size / packed > MAX_RATIO:
                    raise refuse(
                        path,
                        f"a part that unpacks {part.file_size // packed} times its size",
                        "an ordinary workbook",
                    )
                if part.filename.endswith("sharedStrings.xml") and part.file_size > MAX_SHARED_TEXT:
                    raise refuse(path, "more than 64 MiB of shared texts", "an ordinary workbook")
                if part.flag_bits & 1:
                    raise refuse(path, "an encrypted workbook", "a workbook without a password")
            if total > MAX_UNPACKED:
                raise refuse(
                    path,
                    f"a workbook of {total >> 20} MiB unpacked",
                    f"at most {MAX_UNPACKED >> 20}",
                )
            for part in parts:
                if part.filename.endswith((".xml", ".rels")):
                    with archive.open(part) as file:
                        if _has_document_type(file.read(1 << 16)):
                            raise refuse(
                                path,
                                f"a document type in {safe_text(part.filename, longest=60)}",
                                "a workbook without one, as the standard says",
                            )
    except DAMAGE:
        raise refuse(path, "a damaged archive", "a sound XLSX workbook") from None


class _DocumentType(Exception):
    pass


def _has_document_type(start: bytes) -> bool:
    """Whether the XML that begins so declares a document type (before its first element)."""
    parser = expat.ParserCreate()

    def stop(*_: object) -> None:
        raise _DocumentType

    parser.StartDoctypeDeclHandler = stop
    try:
        parser.Parse(start, False)
    except _DocumentType:
        return True
    except expat.ExpatError:
        return b"<!DOCTYPE" in start or b"<!ENTITY" in start
    return False

"""Files of cells, opened carefully: CSV text and XLSX sheets as lines of text cells.

A source yields (line number, cells) and holds one line at a time. Numbers of a sheet come out
with a decimal point and dates as ISO 8601, so that what reads them need not know where they
stood. Files that are no tables, or built to harm, are refused with one fault. Nothing here knows
which columns are wanted.
"""

from __future__ import annotations

import codecs
import csv
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final, Protocol

from stock.errors import Fault, InputFaults
from stock.exchange.safe_text import safe_text

DELIMITERS: Final = (",", ";", "\t", "|")
MAX_LINE: Final = 1_000_000
"""Characters of one text line; a longer one is no table row."""
MAX_FIELD: Final = 100_000
_CHUNK: Final = 1 << 16

_MAGIC: Final = (
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\xd0\xcf\x11\xe0", "an old Excel file (.xls)"),
    (b"GIF8", "a GIF picture"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
    (b"SQLite format 3", "a database"),
    (b"\x1f\x8b", "a gzip archive"),
)

Cells = tuple[int, list[str]]


class LineReader(Protocol):
    """Lines of cells, one by one; ``next`` may raise :class:`LineFault` and go on."""

    def __iter__(self) -> LineReader: ...

    def __next__(self) -> Cells: ...

    def close(self) -> None: ...


class Source(Protocol):
    """A file whose lines of cells can be read more than once."""

    delimiter: str
    notes: list[str]

    def choose(self, score: Callable[[list[str]], tuple[int, int]]) -> None: ...

    def lines(self) -> LineReader: ...


class LineFault(Exception):
    """One line that cannot be cut into cells; reading goes on after it."""

    def __init__(self, fault: Fault) -> None:
        self.fault = fault
        super().__init__(str(fault))


def refuse(path: Path, found: str, expected: str, line: int = 0) -> InputFaults:
    """A fault of the whole file, as the error to raise."""
    return InputFaults(safe_text(str(path)), [Fault(line, "", found, expected)])


def open_source(
    path: Path,
    *,
    delimiter: str = "",
    encoding: str = "",
    sheet: str = "",
    skip_lines: int = 0,
    decimal_comma: bool = False,
) -> Source:
    """The file as a source of lines.

    Args:
        path: A CSV (or other delimited text) or an XLSX workbook.
        delimiter: Column sign of a text; empty: one of ``, ; tab |`` by its first line.
        encoding: Of a text; empty: by its byte order mark, UTF-8, else Windows-1252 (said in
            the source's notes).
        sheet: Sheet of a workbook; empty: the first.
        skip_lines: Lines before the header.
        decimal_comma: Write the numbers of a workbook with a comma, as its text cells have it.

    Raises:
        InputFaults: Not there, not a file, not text, not a sound workbook.
    """
    start = _first_bytes(path)
    if start.startswith(b"PK\x03\x04"):
        from stock.exchange.workbooks import SheetSource

        return SheetSource(path, sheet, skip_lines, decimal_comma=decimal_comma)
    for magic, what in _MAGIC:
        if start.startswith(magic):
            raise refuse(path, what, "a CSV text or an XLSX workbook")
    if not start:
        raise refuse(path, "an empty file", "a header line and rows")
    name, notes = _encoding_of(path, start, encoding)
    source = TextSource(path, name, delimiter, skip_lines)
    source.notes.extend(notes)
    return source


def _first_bytes(path: Path) -> bytes:
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise refuse(path, "a directory", "a file")
        if not stat.S_ISREG(mode):
            raise refuse(path, "a device or pipe", "a file")
        with path.open("rb") as file:
            return file.read(4096)
    except FileNotFoundError:
        raise refuse(path, "nothing", "a file of this name") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise refuse(path, f"a file that cannot be read ({why})", "a readable file") from None


def _encoding_of(path: Path, start: bytes, stated: str) -> tuple[str, list[str]]:
    """The encoding that decodes the whole file, and what to say about it."""
    if stated:
        try:
            name = codecs.lookup(stated).name
        except LookupError:
            raise refuse(path, f"encoding {stated!r}", "a known encoding such as utf-8") from None
        _must_decode(path, "utf-8-sig" if name == "utf-8" else name)
        return ("utf-8-sig" if name == "utf-8" else name), []
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        _must_decode(path, "utf-16")
        return "utf-16", []
    if b"\x00" in start:
        raise refuse(path, "NUL bytes", "text; save it as CSV in UTF-8")
    if _decodes(path, "utf-8-sig"):
        return "utf-8-sig", []
    _must_decode(path, "cp1252")
    return "cp1252", ["not UTF-8; read as Windows-1252"]


def _decodes(path: Path, encoding: str) -> bool:
    try:
        _read_through(path, encoding)
    except UnicodeError:
        return False
    return True


def _must_decode(path: Path, encoding: str) -> None:
    try:
        _read_through(path, encoding)
    except UnicodeError as error:
        raise refuse(path, f"bytes that are not {encoding}", f"text ({error})") from None


def _read_through(path: Path, encoding: str) -> None:
    decoder = codecs.getincrementaldecoder(encoding)()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            decoder.decode(chunk)
    decoder.decode(b"", final=True)


@dataclass
class TextSource:
    """A delimited text, read line by line."""

    path: Path
    encoding: str
    delimiter: str
    skip_lines: int = 0

    def __post_init__(self) -> None:
        self.notes: list[str] = []
        with self._open() as file:
            for _ in range(self.skip_lines):
                file.readline(MAX_LINE)
            first = file.readline(MAX_LINE)
        if first.lower().startswith("sep=") and len(first.strip()) == 5:
            self.skip_lines += 1
            self.delimiter = self.delimiter or first[4]
        self.candidates = (self.delimiter,) if self.delimiter else DELIMITERS

    def header(self, delimiter: str) -> list[str]:
        """The first line cut by ``delimiter``, to see whether it is the right one."""
        kept, self.delimiter = self.delimiter, delimiter
        lines = self.lines()
        try:
            for _, cells in lines:
                if any(cell.strip() for cell in cells):
                    return cells
        except LineFault:
            return []
        finally:
            lines.close()
            self.delimiter = kept
        return []

    def choose(self, score: Callable[[list[str]], tuple[int, int]]) -> None:
        """Settle the delimiter: the candidate whose header scores best."""
        self.delimiter = max(self.candidates, key=lambda sign: score(self.header(sign)))

    def _open(self) -> IO[str]:
        return self.path.open(encoding=self.encoding, newline="")

    def lines(self) -> LineReader:
        """Lines of cells from the first after the skipped ones; close it when done."""
        return _TextLines(self._open(), self.delimiter or ",", self.skip_lines)


class _TextLines:
    """csv.reader over lines of bounded length, which goes on after a line it could not cut."""

    def __init__(self, file: IO[str], delimiter: str, skipped: int) -> None:
        csv.field_size_limit(MAX_FIELD)
        self._file = file
        self._skipped = skipped
        self._ended = False
        self._reader = csv.reader(self._feed(), delimiter=delimiter, strict=True)

    def _feed(self) -> Iterator[str]:
        for _ in range(self._skipped):
            self._file.readline(MAX_LINE)
        while line := self._file.readline(MAX_LINE):
            if len(line) == MAX_LINE and not line.endswith(("\n", "\r")):
                self._ended = True
                return
            yield line

    def __iter__(self) -> LineReader:
        return self

    def __next__(self) -> Cells:
        line = self._skipped + self._reader.line_num + 1
        try:
            cells = next(self._reader)
        except csv.Error as error:
            raise LineFault(Fault(line, "", _cutting(str(error)), "cells cut as in CSV")) from None
        except StopIteration:
            if self._ended:
                self._ended = False
                found = f"a line of more than {MAX_LINE:,} characters"
                raise LineFault(Fault(line, "", found, "lines of a table")) from None
            raise
        return line, cells

    def close(self) -> None:
        """Let the file go."""
        self._file.close()


def _cutting(why: str) -> str:
    if "end of data" in why or "field larger" in why:
        return "a quote that opens and never closes, or a cell without end"
    return f"a line that does not cut into cells ({why})"

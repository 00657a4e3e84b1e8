"""A file as typed rows with their line numbers, in bounded memory, all its faults together.

``read_rows`` opens a file and settles what holds for the whole of it (columns, delimiter,
encoding, decimal sign, date order); iterating yields one :class:`Row` after the other. Rows with
faults are left out and their faults gathered, so that a person sees all of them at once.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any, Final

from stock.errors import Fault, InputFaults
from stock.exchange.column import DATE_KINDS, NUMBER_KINDS, Column, FileKind, normal_header
from stock.exchange.column_map import ColumnMap, load_map
from stock.exchange.columns import file_kind
from stock.exchange.safe_text import safe_text
from stock.exchange.sources import LineFault, Source, open_source
from stock.exchange.written import NotRead, TwoReadings, decimal_evidence
from stock.exchange.written_dates import order_evidence

MAX_FAULTS: Final = 10_000
"""Faults kept; the rest are counted. A file so wrong has one cause, seen long before."""
CACHED_CELLS: Final = 20_000


class Row(dict[str, Any]):
    """Values by column name (every column of the kind, None when empty) and ``line``."""

    __slots__ = ("line",)
    line: int


class Rows:
    """The rows of one file; iterate, add faults of your own, then :meth:`finish`.

    Iterating again reads the file again and forgets the faults found before. ``on_faulty`` is
    handed each row that is left out, cells that could not be read empty: what else is wrong with
    it can be said at once.
    """

    def __init__(self, path: Path, kind: FileKind, columns_map: ColumnMap, on: date) -> None:
        self.path, self.kind, self.map, self.on = path, kind, columns_map, on
        self.source_name = safe_text(str(path))
        self.faults: list[Fault] = []
        self.more_faults = 0
        self.read = 0
        self.source: Source = open_source(
            path,
            delimiter=columns_map.delimiter,
            encoding=columns_map.encoding,
            sheet=columns_map.sheet,
            skip_lines=columns_map.skip_lines,
            decimal_comma=bool(columns_map.writing.decimal_comma),
        )
        self.source.choose(self._known_headers)
        self.writing = columns_map.writing
        self.notes: list[str] = list(self.source.notes)
        self.on_faulty: Callable[[Row], object] | None = None
        self._surveyed = False
        self._settle_columns()

    def __iter__(self) -> Iterator[Row]:
        """Sound rows in the order of the file; the faults of the others in :attr:`faults`."""
        self.faults, self.more_faults, self.read = [], 0, 0
        width = self._width
        names = [column.name for column in self.kind.columns]
        empty = dict.fromkeys(names)
        empty.update({c.name: c.default for c in self.kind.columns if c.default is not None})
        empty.update(self._fixed)
        plan = self._plan
        lines = self.source.lines()
        past_header = False
        try:
            while True:
                try:
                    line, cells = next(lines)
                except StopIteration:
                    return
                except LineFault as cut:
                    self.read += 1
                    self._keep(cut.fault)
                    continue
                if len(cells) != width:
                    if not any(cells):
                        continue
                    while len(cells) > width and not cells[-1].strip():
                        cells.pop()
                    if past_header and len(cells) != width and not self._padded(line, cells):
                        continue
                if not past_header:
                    past_header = any(cell.strip() for cell in cells)
                    continue
                if not cells[0].strip() and not any(cell.strip() for cell in cells):
                    continue
                row = Row(empty)
                row.line = line
                sound = True
                for place, name, column, cache in plan:
                    text = cells[place]
                    try:
                        row[name] = cache[text]
                    except KeyError:
                        try:
                            row[name] = self._typed(column, text, cache)
                        except NotRead as not_read:
                            sound = False
                            self.fault(line, name, text, str(not_read))
                self.read += 1
                if sound and self._agrees(row):
                    yield row
                elif self.on_faulty is not None:
                    self.on_faulty(row)
        finally:
            lines.close()

    def fault(self, where: Row | int, column: str, found: object, expected: str) -> None:
        """Add a fault of the caller's own (an item the book does not have)."""
        line = where if isinstance(where, int) else where.line
        text = found if isinstance(found, str) else str(found)
        shown = repr(safe_text(text, longest=60)) if text.strip() else "nothing"
        self._keep(Fault(line, column, shown, expected))

    def finish(self) -> None:
        """Raise all faults gathered, if there are any.

        Raises:
            InputFaults: With every fault, in the order of the file.
        """
        if self.faults:
            faults = sorted(self.faults, key=lambda fault: fault.line)
            if self.more_faults:
                found = f"{self.more_faults:,} faults more"
                faults.append(Fault(0, "", found, "the ones above put right first"))
            raise InputFaults(self.source_name, faults)

    def check(self) -> int:
        """Read the whole file for its faults alone; the number of sound rows.

        Raises:
            InputFaults: With every fault.
        """
        count = sum(1 for _ in self)
        self.finish()
        return count

    def _keep(self, fault: Fault) -> None:
        if not str(fault).isprintable():
            found, expected = safe_text(fault.found), safe_text(fault.expected)
            fault = replace(fault, found=found, expected=expected)
        if len(self.faults) < MAX_FAULTS:
            self.faults.append(fault)
        else:
            self.more_faults += 1

    def _known_headers(self, cells: Sequence[str]) -> tuple[int, int]:
        theirs = {normal_header(header) for header in self.map.headers.values()}
        known = sum(1 for cell in cells if self.kind.column(cell) or normal_header(cell) in theirs)
        return known, len(cells)

    def _settle_columns(self) -> None:
        """Which cell feeds which column; raises what is missing or doubled in the header."""
        line, header = self._header()
        by_header: dict[str, str] = {normal_header(h): name for name, h in self.map.headers.items()}
        columns = {column.name: column for column in self.kind.columns}
        places: dict[str, int] = {}
        unused: list[str] = []
        for place, cell in enumerate(header):
            normal = normal_header(cell)
            if not normal:
                continue
            known = self.kind.column(cell)
            name = by_header.get(normal) or (known.name if known else "")
            renamed = name in self.map.headers and normal not in by_header
            if not name or renamed or name in self.map.values:
                unused.append(cell)
            elif name in places:
                self._keep(Fault(line, name, "two columns of this name", "one"))
            else:
                places[name] = place
        shown = ", ".join(safe_text(c.strip(), longest=30) for c in header[:40] if c.strip())
        for name, theirs in self.map.headers.items():
            if name not in places:
                self._keep(Fault(line, name, f"no column {theirs!r} ({shown})", "that column"))
        for column in self.kind.columns:
            if (
                column.required
                and column.name not in places
                and column.name not in self.map.values
                and column.name not in self.map.headers
            ):
                self._keep(Fault(line, column.name, f"no such column ({shown})", column.help))
        for group in self.kind.one_of:
            if not any(name in places or name in self.map.values for name in group):
                wanted = " or ".join(group)
                self._keep(Fault(line, wanted, f"no such column ({shown})", f"a column {wanted}"))
        self._note_unused(unused)
        self._fixed = self._fixed_values(columns)
        self.finish()
        self._width = len(header)
        self._plan: list[tuple[int, str, Column, dict[str, Any]]] = []
        for name, place in places.items():
            cache: dict[str, Any] = {}
            if not columns[name].required:
                cache[""] = columns[name].default
            self._plan.append((place, name, columns[name], cache))

    def _header(self) -> tuple[int, list[str]]:
        lines = self.source.lines()
        try:
            for line, cells in lines:
                if any(cell.strip() for cell in cells):
                    while not cells[-1].strip():
                        cells.pop()
                    return line, cells
        except LineFault as cut:
            raise InputFaults(self.source_name, [cut.fault]) from None
        finally:
            lines.close()
        found = Fault(0, "", "an empty file", "a header line and rows")
        raise InputFaults(self.source_name, [found])

    def _note_unused(self, unused: Sequence[str]) -> None:
        names = [column.name for column in self.kind.columns]
        for cell in unused:
            near = difflib.get_close_matches(normal_header(cell), names, 1, 0.75)
            if near and near[0] not in self.map.values:
                shown = safe_text(cell.strip(), longest=30)
                self.notes.append(f"column {shown!r} is not used; did you mean {near[0]}?")
        if unused:
            shown = ", ".join(safe_text(cell.strip(), longest=30) for cell in unused[:20])
            self.notes.append(f"columns not used: {shown}")

    def _fixed_values(self, columns: dict[str, Column]) -> dict[str, Any]:
        fixed = {}
        for name, text in self.map.values.items():
            try:
                fixed[name] = self._typed(columns[name], text, {})
            except NotRead as not_read:
                self.fault(0, name, text, f"{not_read} (in the column map)")
        return fixed

    def _typed(self, column: Column, text: str, cache: dict[str, Any]) -> Any:
        stripped = text.strip()
        words = self.map.words.get(column.name)
        if words is not None:
            stripped = words.get(stripped, stripped)
        if not stripped:
            if column.required:
                raise NotRead(column.help or "a value")
            value = column.default
        else:
            try:
                value = column.read(stripped, self.writing, self.on)
            except TwoReadings:
                if self._surveyed:
                    raise
                self._survey()
                value = column.read(stripped, self.writing, self.on)
        if len(cache) >= CACHED_CELLS:
            cache.clear()
        cache[text] = value
        return value

    def _survey(self) -> None:
        """Look through the file for cells that have one reading only and settle the others by them.

        Held to when all such cells of the file agree; otherwise two readings stay two.
        """
        self._surveyed = True
        signs: dict[str, int] = {}
        orders: dict[str, int] = {}
        lines = self.source.lines()
        try:
            while True:
                try:
                    line, cells = next(lines)
                except StopIteration:
                    break
                except LineFault:
                    continue
                for place, _, column, _ in self._plan:
                    if place >= len(cells):
                        continue
                    if column.kind in DATE_KINDS:
                        if order := order_evidence(cells[place]):
                            orders.setdefault(order, line)
                    elif column.kind in NUMBER_KINDS and (sign := decimal_evidence(cells[place])):
                        signs.setdefault(sign, line)
        finally:
            lines.close()
        if not self.writing.dates and len(orders) == 1:
            [(order, line)] = orders.items()
            self.writing = replace(self.writing, dates=order)
            first = "day" if order == "dmy" else "month"
            self.notes.append(f"dates read {first} first, as line {line} shows")
        if self.writing.decimal_comma is not None:
            return
        if len(signs) == 1 and self.source.delimiter:
            [(sign, line)] = signs.items()
            self.writing = replace(self.writing, decimal_comma=sign == ",")
            word = "comma" if sign == "," else "point"
            self.notes.append(f"numbers read with a decimal {word}, as line {line} shows")
        else:
            point = self.source.delimiter != ";" and "," not in signs
            self.writing = replace(self.writing, dot_is_decimal=point)

    def _padded(self, line: int, cells: list[str]) -> bool:
        """Whether a line of another length can be used: a sheet leaves its last cells out."""
        if len(cells) < self._width and not self.source.delimiter:
            cells.extend([""] * (self._width - len(cells)))
            return True
        self.read += 1
        found = f"{len(cells)} cells"
        self._keep(Fault(line, "", found, f"{self._width} cells, as in the header"))
        return False

    def _agrees(self, row: Row) -> bool:
        """The rules across cells; what an agreeing row leaves open is filled."""
        sound = True
        for group in self.kind.one_of:
            if all(row[name] is None for name in group):
                sound = False
                self.fault(row, " or ".join(group), "", f"a value in {' or '.join(group)}")
        for rule in self.kind.checks if sound else ():
            finding = rule(row)
            if finding is not None:
                sound = False
                column, found, expected = finding
                self.fault(row, column, "" if found == "nothing" else found, expected)
        if not sound:
            return False
        for fill in self.kind.fills:
            fill(row)
        return True


def read_rows(
    path: Path | str, kind: str, *, columns_map: ColumnMap | Path | None = None, on: date
) -> Rows:
    """Open a file of ``kind`` (a key of ``KINDS``).

    Args:
        path: CSV (any delimiter of ``, ; tab |``; UTF-8, UTF-16 with mark or Windows-1252) or
            XLSX.
        columns_map: A column map or its TOML file; None: our own headers.
        on: The business day: things that happened cannot lie after it.

    Raises:
        InputFaults: What is wrong with the file as a whole.
    """
    wanted = file_kind(kind)
    if isinstance(columns_map, Path):
        columns_map = load_map(columns_map, wanted)
    return Rows(Path(path), wanted, columns_map or ColumnMap(), on)

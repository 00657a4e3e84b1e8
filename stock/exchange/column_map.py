"""Column maps: how a shop's own file says what our columns mean, as TOML.

    [file]                    # all optional
    delimiter = ";"           # , ; | or "tab"
    encoding = "cp1252"
    decimal = ","             # "," or "."
    dates = "dmy"             # dmy, mdy or ymd
    currency = "EUR"          # may stand beside money
    sheet = "Export"          # of a workbook
    skip_lines = 2            # lines before the header

    [columns]                 # our name = their header
    order = "Order no."

    [values]                  # the same value in every row
    stage = "confirmed"

    [words.stage]             # their word = ours
    "In production" = "released"

Everything in a map is checked, and all its faults are reported together.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from stock.errors import Fault, InputFaults
from stock.exchange.column import FileKind
from stock.exchange.safe_text import safe_text
from stock.exchange.sources import DELIMITERS, refuse
from stock.exchange.written import Writing
from stock.exchange.written_dates import ORDERS

_SECTIONS: Final = ("file", "columns", "values", "words")
_FILE_KEYS: Final = (
    "delimiter",
    "encoding",
    "decimal",
    "dates",
    "currency",
    "sheet",
    "skip_lines",
)
MAX_MAP_BYTES: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """A checked column map; the empty one reads our own files.

    Args:
        headers: Our column name → header in the file.
        values: Our column name → text standing in every row.
        words: Our column name → (their word → our word).
        writing: How the file writes numbers, dates and money.
    """

    headers: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    writing: Writing = field(default_factory=Writing)
    delimiter: str = ""
    encoding: str = ""
    sheet: str = ""
    skip_lines: int = 0


def load_map(path: Path, kind: FileKind) -> ColumnMap:
    """Read and check a column map for files of ``kind``.

    Raises:
        InputFaults: Not there, not TOML, or names and values that do not exist.
    """
    try:
        if path.is_file() and path.stat().st_size > MAX_MAP_BYTES:
            raise refuse(path, "a file too large for a column map", "a short TOML file")
        text = path.read_text(encoding="utf-8-sig")
    except IsADirectoryError:
        raise refuse(path, "a directory", "a column map (TOML)") from None
    except FileNotFoundError:
        raise refuse(path, "nothing", "a column map (TOML) of this name") from None
    except UnicodeError:
        raise refuse(path, "text that is not UTF-8", "a column map (TOML) in UTF-8") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise refuse(path, f"a file that cannot be read ({why})", "a readable file") from None
    return parse_map(text, kind, source=str(path))


def parse_map(text: str, kind: FileKind, source: str = "column map") -> ColumnMap:
    """A column map from TOML text; see :func:`load_map`."""
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        where = re.search(r"line (\d+)", str(error))
        line = int(where[1]) if where else 0
        fault = Fault(line, "", safe_text(str(error), longest=120), "TOML")
        raise InputFaults(safe_text(source), [fault]) from None
    check = _Check(text, kind)
    made = check.made(raw)
    if check.faults:
        raise InputFaults(safe_text(source), check.faults)
    return made


class _Check:
    def __init__(self, text: str, kind: FileKind) -> None:
        self.kind = kind
        self.lines = text.splitlines()
        self.faults: list[Fault] = []

    def made(self, raw: dict[str, Any]) -> ColumnMap:
        for name in raw:
            if name not in _SECTIONS:
                self._fault(name, name, "one of [" + "], [".join(_SECTIONS) + "]")
        file = self._table(raw, "file")
        for key in file:
            if key not in _FILE_KEYS:
                self._fault(f"file.{key}", key, "one of " + ", ".join(_FILE_KEYS))
        words = {
            name: self._texts(f"words.{name}", table)
            for name, table in self._table(raw, "words").items()
            if self._column(f"words.{name}", name)
        }
        headers = self._columns("columns", self._table(raw, "columns"))
        values = self._columns("values", self._table(raw, "values"))
        for name in values:
            if name in headers:
                self._fault(f"values.{name}", "it in [columns] too", "one of the two")
        return ColumnMap(
            headers=headers,
            values=values,
            words=words,
            writing=self._writing(file),
            delimiter=self._one_of(file, "delimiter", {s: s for s in DELIMITERS} | {"tab": "\t"}),
            encoding=self._text(file, "encoding"),
            sheet=self._text(file, "sheet"),
            skip_lines=self._lines(file),
        )

    def _writing(self, file: dict[str, Any]) -> Writing:
        decimal = self._one_of(file, "decimal", {",": ",", ".": "."})
        currency = self._text(file, "currency").upper()
        if currency and not re.fullmatch("[A-Z]{3}", currency):
            self._fault("file.currency", currency, "three letters such as EUR")
        return Writing(
            decimal_comma={",": True, ".": False}.get(decimal),
            dates=self._one_of(file, "dates", {order: order for order in ORDERS}),
            currency=currency,
        )

    def _table(self, raw: dict[str, Any], name: str) -> dict[str, Any]:
        table = raw.get(name, {})
        if isinstance(table, dict):
            return table
        self._fault(name, type(table).__name__, f"a table [{name}]")
        return {}

    def _column(self, where: str, name: str) -> bool:
        names = [column.name for column in self.kind.columns]
        if name in names:
            return True
        near = difflib.get_close_matches(name, names, 1)
        hint = f"; did you mean {near[0]}?" if near else ""
        self._fault(where, name, f"a column of {self.kind.name} ({', '.join(names)}){hint}")
        return False

    def _columns(self, section: str, table: dict[str, Any]) -> dict[str, str]:
        known = {n: v for n, v in table.items() if self._column(f"{section}.{n}", n)}
        return self._texts(section, known)

    def _texts(self, section: str, table: Any) -> dict[str, str]:
        if not isinstance(table, dict):
            self._fault(section, type(table).__name__, f"a table [{section}]")
            return {}
        texts = {}
        for name, value in table.items():
            if isinstance(value, bool):
                texts[name] = "yes" if value else "no"
            elif isinstance(value, str | int | float):
                texts[name] = str(value)
            elif hasattr(value, "isoformat"):
                texts[name] = value.isoformat()
            else:
                self._fault(f"{section}.{name}", type(value).__name__, "a text or number")
        return texts

    def _text(self, file: dict[str, Any], key: str) -> str:
        value = file.get(key, "")
        if isinstance(value, str):
            return value
        self._fault(f"file.{key}", str(value), "a text")
        return ""

    def _lines(self, file: dict[str, Any]) -> int:
        value = file.get("skip_lines", 0)
        if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 1000:
            return value
        self._fault("file.skip_lines", str(value), "a whole number from 0 to 1000")
        return 0

    def _one_of(self, file: dict[str, Any], key: str, allowed: Mapping[str, str]) -> str:
        value = file.get(key, "")
        if value == "":
            return ""
        if isinstance(value, str) and value in allowed:
            return allowed[value]
        shown = ", ".join(repr(word) for word in allowed)
        self._fault(f"file.{key}", repr(value), f"one of {shown}")
        return ""

    def _fault(self, where: str, found: str, expected: str) -> None:
        key = where.rpartition(".")[2]
        pattern = re.compile(rf"\s*(?:\[?\s*)?[\"']?{re.escape(key)}[\"']?\s*[=\]]")
        line = next((n for n, text in enumerate(self.lines, 1) if pattern.match(text)), 0)
        self.faults.append(Fault(line, where, safe_text(found, longest=60), expected))

"""What a column and a file kind are, and how a cell's text becomes a typed value.

A value's type by column kind:

====================  ==========================================================
text, code            str (tidied; codes without invisible or look-alike characters)
file                  str, a relative path that stays below its own folder
gtin                  str of 14 digits
scan                  :class:`stock.exchange.barcodes.ScannedCode`
date, dates           date, tuple of dates
whole, decimal        int, float
amount                :class:`stock.exchange.written.GivenAmount` (thousandths)
money, fine_money     int, float: minor units of the book's currency
share                 float 0–1
length_cm             float
yes_no                bool
choice                str, one of ``choices``
letters               str of exactly ``longest`` capital letters
weekdays              str such as ``mon,thu`` (empty: Monday to Friday)
breaks                tuple of (from packs, price in minor units)
====================  ==========================================================
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any, Final, Literal

from stock.clock import WEEKDAYS, parse_weekdays
from stock.errors import BarcodeUnreadable
from stock.exchange.barcodes import normal_gtin, parse_code
from stock.exchange.safe_text import formula_safe, tidy, trouble_in_code, trouble_in_text
from stock.exchange.written import (
    GivenAmount,
    NotRead,
    TwoReadings,
    Writing,
    read_amount,
    read_decimal,
    read_length_cm,
    read_money,
    read_share,
    read_whole,
    read_yes_no,
)
from stock.exchange.written_dates import read_date

ColumnKind = Literal[
    "text",
    "code",
    "file",
    "gtin",
    "scan",
    "date",
    "dates",
    "whole",
    "decimal",
    "amount",
    "money",
    "fine_money",
    "share",
    "length_cm",
    "yes_no",
    "choice",
    "weekdays",
    "breaks",
    "letters",
]

NUMBER_KINDS: Final = frozenset(
    ("whole", "decimal", "amount", "money", "fine_money", "share", "length_cm", "breaks")
)
DATE_KINDS: Final = frozenset(("date", "dates"))
LARGEST_WHOLE: Final = 10**9
SPREADSHEET_ERRORS: Final = frozenset(
    ("#REF!", "#N/A", "#NAME?", "#VALUE!", "#DIV/0!", "#NULL!", "#NUM!", "#SPILL!", "#CALC!")
)


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a file the program reads.

    Args:
        name: Our word for it: the header in the file, and the key in a row.
        kind: How its cells are written and typed.
        help: What stands in it, for ``stock import --template`` and faults.
        required: Every row must fill it.
        example: A cell that reads well.
        aliases: Other headers taken for it.
        default: Value of an empty cell.
        choices: Allowed words of a ``choice``.
        least, most: Smallest and largest number allowed.
        above: The number must be larger than this.
        past: A date that may not lie after the business day.
        longest: Most characters of a text or code.
    """

    name: str
    kind: ColumnKind
    help: str = ""
    required: bool = False
    example: str = ""
    aliases: tuple[str, ...] = ()
    default: Any = None
    choices: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None
    above: float | None = None
    past: bool = False
    longest: int = 60

    def read(self, text: str, writing: Writing, on: date) -> Any:
        """The typed value of a non-empty cell.

        Raises:
            NotRead: With the sentence of what was expected.
        """
        if text in SPREADSHEET_ERRORS:
            raise NotRead("a value; a spreadsheet formula failed here")
        value = _READERS[self.kind](self, text, writing, on)
        if self.least is not None or self.most is not None or self.above is not None:
            self._bound(value)
        if self.past and value > on:
            raise NotRead(f"a day that is not after {on}")
        return value

    def _bound(self, value: Any) -> None:
        number = value.held / 1000 if isinstance(value, GivenAmount) else value
        if self.above is not None and number <= self.above:
            raise NotRead(f"more than {self.above:g}")
        if self.least is not None and number < self.least:
            raise NotRead(f"{self.least:g} or more")
        if self.most is not None and number > self.most:
            raise NotRead(f"{self.most:g} or less")


RowCheck = Callable[[Mapping[str, Any]], "tuple[str, str, str] | None"]
"""A rule across cells: None, or (column, found, expected)."""


@dataclass(frozen=True, slots=True)
class FileKind:
    """One kind of file: its columns and the rules across them.

    Args:
        name: As in ``stock import NAME FILE``.
        help: What one row is.
        one_of: Groups of columns of which each row must fill at least one.
        checks: Rules across the cells of a row.
        fills: What a sound row leaves open and its other cells tell.
        more_examples: Further rows of the template, by column, cells not named left empty.
    """

    name: str
    help: str
    columns: tuple[Column, ...]
    one_of: tuple[tuple[str, ...], ...] = ()
    checks: tuple[RowCheck, ...] = ()
    fills: tuple[Callable[[dict[str, Any]], None], ...] = ()
    more_examples: tuple[Mapping[str, str], ...] = ()
    _by_name: dict[str, Column] = field(default_factory=dict, compare=False, repr=False)

    def __post_init__(self) -> None:
        for column in self.columns:
            for word in (column.name, *column.aliases):
                self._by_name[normal_header(word)] = column

    def column(self, header: str) -> Column | None:
        """The column that ``header`` names, in any case and with any spacing."""
        return self._by_name.get(normal_header(header))


def normal_header(header: str) -> str:
    """A header as it is compared: small letters, words joined by underscores.

    >>> normal_header(" Due-On ")
    'due_on'
    """
    return re.sub(r"[\s\-_.]+", "_", header.strip().lower()).strip("_")


def _as_given(text: str) -> str:
    """A cell without the apostrophe that our own export puts before what looks like a formula."""
    return text[1:] if text.startswith("'") and formula_safe(text[1:]) == text else text


def _text(column: Column, text: str, writing: Writing, on: date) -> str:
    text = _as_given(text)
    trouble = trouble_in_text(" ".join(text.split()) if "\n" in text or "\r" in text else text)
    if trouble:
        raise NotRead(f"plain text; this holds {trouble}")
    return _short(column, " ".join(text.split()) if not text.isprintable() else tidy(text))


def _code(column: Column, text: str, writing: Writing, on: date) -> str:
    code = tidy(_as_given(text))
    trouble = trouble_in_code(code)
    if trouble:
        raise NotRead(f"a code of plain characters; this holds {trouble}")
    return _short(column, code)


def _short(column: Column, text: str) -> str:
    if len(text) > column.longest:
        raise NotRead(f"at most {column.longest} characters; this has {len(text)}")
    return text


def _file(column: Column, text: str, writing: Writing, on: date) -> str:
    path = _text(column, text, writing, on).replace("\\", "/")
    parts = PurePosixPath(path).parts
    if path.startswith("/") or PureWindowsPath(path).drive or ".." in parts or not parts:
        raise NotRead("the path of a file in or below the folder of this file")
    return str(PurePosixPath(path))


def _gtin(column: Column, text: str, writing: Writing, on: date) -> str:
    if re.fullmatch(r"[0-9.,]+[eE]\+?[0-9]+", text):
        raise NotRead("a GTIN in full; a spreadsheet shortened this one, format it as text")
    try:
        return normal_gtin(text)
    except ValueError as error:
        raise NotRead(f"a GTIN: {error}") from None


def _scan(column: Column, text: str, writing: Writing, on: date) -> Any:
    try:
        code = parse_code(text, on=on)
    except BarcodeUnreadable as error:
        raise NotRead(f"a GTIN or GS1 code: {error.why}") from None
    if code.suspect:
        why = next(note for note in code.warnings if note.startswith("suspect"))
        raise NotRead(f"a code with one reading ({why}); write item, lot and dates in own columns")
    return code


def _date(column: Column, text: str, writing: Writing, on: date) -> date:
    return read_date(text, order=writing.dates, on=on)


def _dates(column: Column, text: str, writing: Writing, on: date) -> tuple[date, ...]:
    days = [read_date(part, order=writing.dates, on=on) for part in re.split(r"[;|,\s]+", text)]
    return tuple(sorted(set(days)))


def _whole(column: Column, text: str, writing: Writing, on: date) -> int:
    number = read_whole(text, writing)
    if abs(number) > LARGEST_WHOLE:
        raise NotRead(f"a whole number up to {LARGEST_WHOLE:,}")
    return number


def _decimal(column: Column, text: str, writing: Writing, on: date) -> float:
    number = float(read_decimal(text, writing))
    if abs(number) > LARGEST_WHOLE:
        raise NotRead(f"a number up to {LARGEST_WHOLE:,}")
    return number


def _money(column: Column, text: str, writing: Writing, on: date) -> float:
    minor = read_money(text, writing, parts_of_cents=column.kind == "fine_money")
    if abs(minor) > LARGEST_WHOLE * 100:
        raise NotRead("an amount of money below a thousand million")
    return minor


def _choice(column: Column, text: str, writing: Writing, on: date) -> str:
    word = normal_header(text)
    for choice in column.choices:
        if normal_header(choice) == word:
            return choice
    raise NotRead("one of " + ", ".join(column.choices))


def _weekdays(column: Column, text: str, writing: Writing, on: date) -> str:
    try:
        days = parse_weekdays(re.sub(r"[;|\s]+", ",", text))
    except ValueError:
        raise NotRead("days of the week such as mon,thu") from None
    return ",".join(WEEKDAYS[day] for day in sorted(days))


def _letters(column: Column, text: str, writing: Writing, on: date) -> str:
    word = text.strip().upper()
    if not re.fullmatch(f"[A-Z]{{{column.longest}}}", word):
        raise NotRead(f"{column.longest} letters such as {column.example}")
    return word


def _breaks(column: Column, text: str, writing: Writing, on: date) -> tuple[tuple[int, int], ...]:
    steps: list[tuple[int, int]] = []
    for part in re.split(r"[;|]+\s*|\s+", text.strip("; |")):
        packs, colon, price = part.partition(":")
        try:
            step = (read_whole(packs, writing), int(read_money(price, writing)))
        except TwoReadings:
            raise
        except NotRead:
            raise NotRead("price breaks such as 10:4.50;50:4.10") from None
        if not colon or step[0] < 1 or step[1] < 0:
            raise NotRead("price breaks such as 10:4.50;50:4.10")
        if steps and step[0] <= steps[-1][0]:
            raise NotRead("price breaks with rising numbers of packs")
        steps.append(step)
    return tuple(steps)


_READERS: Final[dict[str, Callable[[Column, str, Writing, date], Any]]] = {
    "text": _text,
    "code": _code,
    "file": _file,
    "gtin": _gtin,
    "scan": _scan,
    "date": _date,
    "dates": _dates,
    "whole": _whole,
    "decimal": _decimal,
    "amount": lambda column, text, writing, on: read_amount(text, writing),
    "money": _money,
    "fine_money": _money,
    "share": lambda column, text, writing, on: read_share(text, writing),
    "length_cm": lambda column, text, writing, on: read_length_cm(text, writing),
    "yes_no": lambda column, text, writing, on: read_yes_no(text),
    "choice": _choice,
    "weekdays": _weekdays,
    "breaks": _breaks,
    "letters": _letters,
}

"""Dates as people write them in files, read strictly.

ISO 8601 (``2026-03-04``), ``2026/03/04``, ``04.03.2026``, ``4 Mar 2026`` have one reading.
``03/04/2026`` has two and is refused with both shown, unless the file's date order is known: from
its column map, or because other dates of the same file allow one order only.
"""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import date
from typing import Final

from stock.exchange.written import NotRead, TwoReadings

ORDERS: Final = ("dmy", "mdy", "ymd")
EARLIEST_YEAR: Final = 1970
LATEST_YEAR: Final = 2199

_MONTHS: Final = {
    name: number
    for number, name in enumerate(
        ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), 1
    )
}
_YEAR_FIRST: Final = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})")
_COMPACT: Final = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_YEAR_LAST: Final = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})")
_DAY_NAME: Final = re.compile(r"([0-9]{1,2})\.?[ -]([A-Za-z]{3,9})\.?[ -]([0-9]{4})")
_NAME_DAY: Final = re.compile(r"([A-Za-z]{3,9})\.? ([0-9]{1,2}),? ([0-9]{4})")
_YEAR_MONTH: Final = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})")
_MONTH_YEAR: Final = re.compile(r"([0-9]{1,2})[-/.]([0-9]{4})")
_SHORT_MONTH_YEAR: Final = re.compile(r"[0-9]{1,2}[-/.][0-9]{2}")
_NAMED_MONTH: Final = re.compile(r"([A-Za-z]{3,9})\.?[ -]([0-9]{4})")
_TIME: Final = re.compile(
    r"[T ]+[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?(?: ?[AaPp][Mm])?(.*)", re.DOTALL
)
_WANTED: Final = "a date such as 2026-03-04"


def read_date(text: str, *, order: str = "", on: date) -> date:
    """One day.

    Args:
        text: The cell; a time of day after the date is left out, a time zone is refused.
        order: ``dmy``, ``mdy`` or ``ymd`` when the file's is known.
        on: The business day, for the century of a two-digit year (read only with ``order``).

    Raises:
        TwoReadings: The date reads both ways.
        NotRead: Not a date, or not in the calendar.

    >>> read_date("25/03/2026", on=date(2026, 1, 1))
    datetime.date(2026, 3, 25)
    """
    raw = _without_time(text.strip())
    if match := _YEAR_FIRST.fullmatch(raw) or _COMPACT.fullmatch(raw):
        parts = [part for part in match.groups() if part.isdigit()]
        return _day(int(parts[0]), int(parts[1]), int(parts[2]))
    if match := _DAY_NAME.fullmatch(raw):
        return _day(int(match[3]), _month(match[2]), int(match[1]))
    if match := _NAME_DAY.fullmatch(raw):
        return _day(int(match[3]), _month(match[1]), int(match[2]))
    match = _YEAR_LAST.fullmatch(raw)
    if match is None:
        raise NotRead(_WANTED)
    first, sign, second, year_text = int(match[1]), match[2], int(match[3]), match[4]
    if len(year_text) == 2:
        return _short_year(first, second, int(year_text), order, on)
    year = int(year_text)
    if order == "ymd":
        raise NotRead("a date with the year first, as the column map says")
    if not order and sign == ".":
        order = "dmy"  # Dates with points are day first in every country that writes them.
    if order:
        return _day(year, second, first) if order == "dmy" else _day(year, first, second)
    if first == second or first > 12 or second > 12:
        return _day(year, first, second) if second > 12 else _day(year, second, first)
    raise TwoReadings(
        f"one reading: it is {_day(year, second, first)} (day first) "
        f"or {_day(year, first, second)} (month first); say which in the column map"
    )


def read_use_by(text: str, *, on: date) -> date:
    """A label's last day of use: a day, or a month, whose last day counts.

    Labels often print the month only; its last day is the reading GS1 gives a date without a day
    (General Specifications, AI 17: day 00).

    Raises:
        TwoReadings: The date reads both ways.
        NotRead: Neither a date nor a month.

    >>> read_use_by("02/2028", on=date(2026, 1, 1)), read_use_by("May 2027", on=date(2026, 1, 1))
    (datetime.date(2028, 2, 29), datetime.date(2027, 5, 31))
    """
    raw = text.strip()
    if match := _YEAR_MONTH.fullmatch(raw):
        year, month = int(match[1]), int(match[2])
    elif match := _MONTH_YEAR.fullmatch(raw):
        year, month = int(match[2]), int(match[1])
    elif match := _NAMED_MONTH.fullmatch(raw):
        year, month = int(match[2]), _month(match[1])
    elif _SHORT_MONTH_YEAR.fullmatch(raw):
        raise NotRead("a year of four digits, as 5/2027")
    else:
        return read_date(raw, on=on)
    first = _day(year, month, 1)
    return _day(first.year, month, monthrange(year, month)[1])


def order_evidence(text: str) -> str:
    """The order a date proves by a number above 12: ``dmy``, ``mdy`` or nothing.

    >>> order_evidence("25/03/2026"), order_evidence("03/25/2026"), order_evidence("03/04/2026")
    ('dmy', 'mdy', '')
    """
    match = _YEAR_LAST.fullmatch(text.strip().partition(" ")[0].partition("T")[0])
    if match is None or match[2] == "." or len(match[4]) != 4:
        return ""
    first, second = int(match[1]), int(match[3])
    if 12 < first <= 31 and 1 <= second <= 12:
        return "dmy"
    if 12 < second <= 31 and 1 <= first <= 12:
        return "mdy"
    return ""


def _without_time(raw: str) -> str:
    match = re.match(r"[0-9A-Za-z./, -]*?[0-9]{2,4}(?=[T ]+[0-9]{1,2}:)", raw)
    if match is None:
        return raw
    rest = _TIME.fullmatch(raw[match.end() :])
    if rest is None:
        raise NotRead(_WANTED)
    if rest[1].strip():
        raise NotRead("a day or time of the shop's own clock, without a time zone")
    return match[0].strip()


def _month(name: str) -> int:
    number = _MONTHS.get(name[:3].lower())
    if number is None:
        raise NotRead(_WANTED)
    return number


def _day(year: int, month: int, day: int) -> date:
    if not EARLIEST_YEAR <= year <= LATEST_YEAR:
        raise NotRead(f"a date between the years {EARLIEST_YEAR} and {LATEST_YEAR}")
    try:
        return date(year, month, day)
    except ValueError:
        raise NotRead("a day that the calendar has") from None


def _short_year(first: int, second: int, short: int, order: str, on: date) -> date:
    """A two-digit year needs a stated order: ``03/04/26`` has up to three readings."""
    if not order:
        raise TwoReadings(
            "a year of four digits (or a date order in the column map): "
            f"{first:02}, {second:02} and {short:02} can each be the day"
        )
    numbers = dict(zip(order, (first, second, short), strict=True))
    year = on.year - on.year % 100 + numbers["y"]
    if year - on.year > 50:
        year -= 100
    elif year - on.year < -49:
        year += 100
    return _day(year, numbers["m"], numbers["d"])

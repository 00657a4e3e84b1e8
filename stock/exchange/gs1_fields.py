"""GS1 fields: one after the other out of an element string, their check digits and dates verified.

The parser (biip) knows every application identifier and takes one field at a time; what is ours
here is the walk from field to field, the century by the business day, and the search for fields
that a value swallowed when its separator was lost. Days are calendar days.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterable
from datetime import date, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from biip.gs1_element_strings import GS1ElementString

FNC1: Final = "\x1d"
GTIN_LENGTHS: Final = (8, 12, 13, 14)
PIECES_WORTH_ASKING: Final = 1000
"""From this count on, a count that also reads as count + next field is asked about."""

_BRACKETED: Final = re.compile(r"\((\d{2,4})\)")
DATE_AIS: Final = {
    "11": "production date",
    "12": "due date",
    "13": "packaging date",
    "15": "best before date",
    "16": "sell by date",
    "17": "expiry date",
    "7003": "expiry date and time",
}
_PAST_AIS: Final = ("11", "13")
_TAIL_STARTS: Final = frozenset(("01", "02", "10", "11", "13", "15", "16", "17", "21", "31"))
FIELD_NAMES: Final = {
    "10": "lot",
    "21": "serial number",
    "30": "count",
    "37": "count",
    "01": "GTIN",
}


class NoReading(Exception):
    """Why a text does not read as GS1 data; becomes :class:`BarcodeUnreadable` at the door."""


def check_digit(body: str) -> int:
    """GS1 check digit of the digits before it: weights 3 and 1 from the right.

    Source: GS1 General Specifications 7.9.1.

    >>> check_digit("629104150021")
    3
    """
    from biip.checksums import gs1_standard_check_digit

    return int(gs1_standard_check_digit(body))


@lru_cache(maxsize=4096)
def read_gtin(digits: str) -> tuple[str, tuple[str, ...]]:
    """The GTIN as 14 digits and what to say about it."""
    from biip import ParseError
    from biip.gtin import Gtin
    from biip.rcn import Rcn

    if not (digits.isascii() and digits.isdecimal()):
        raise NoReading("a GTIN has digits only")
    if len(digits) not in GTIN_LENGTHS:
        raise NoReading(f"a GTIN has 8, 12, 13 or 14 digits, this has {len(digits)}")
    if not digits.strip("0"):
        raise NoReading("a GTIN of zeros names nothing")
    right = check_digit(digits[:-1])
    if right != int(digits[-1]):
        raise NoReading(f"the check digit of GTIN {digits} should be {right}, not {digits[-1]}")
    try:
        gtin = Gtin.parse(digits)
    except (ParseError, ValueError, AssertionError) as error:
        raise NoReading(f"{digits} is not a GTIN ({error})") from None
    if isinstance(gtin, Rcn):
        note = "this number is for use within one company or region; it may not be unique"
        return digits.zfill(14), (note,)
    return digits.zfill(14), ()


def read_bracketed(data: str) -> list[tuple[str, str]]:
    """Fields of the printed form; a bracket that holds no known identifier belongs to a value."""
    from biip import ParseConfig, ParseError
    from biip.gs1_element_strings import GS1ElementString

    starts = [m for m in _BRACKETED.finditer(data) if _known(m[1])]
    if not starts or starts[0].start() != 0:
        raise NoReading(f"{data[:6]!r} is not a GS1 application identifier")
    ends = [m.start() for m in starts[1:]] + [len(data)]
    elements = []
    config = ParseConfig(gs1_element_strings_verify_date=False)
    for match, end in zip(starts, ends, strict=True):
        value = data[match.end() : end].strip(FNC1 + " ")
        try:
            element = GS1ElementString.parse(match[1] + value, config=config)
        except (ParseError, ValueError, ArithmeticError):
            raise NoReading(_why_not(match[1], value)) from None
        elements.append(checked(element))
    return elements


def _known(ai: str) -> bool:
    from biip import ParseError
    from biip.gs1_application_identifiers import GS1ApplicationIdentifier

    try:
        return bool(GS1ApplicationIdentifier.extract(ai).ai == ai)
    except ParseError:
        return False


def _why_not(ai: str, value: str) -> str:
    from biip.gs1_application_identifiers import GS1ApplicationIdentifier

    known = GS1ApplicationIdentifier.extract(ai)
    wanted = known.format.partition("+")[2]
    if ai in DATE_AIS:
        wanted = "YYMMDD" if ai != "7003" else "YYMMDDhhmm"
    return f"({ai}) {known.data_title.lower()}: {value[:24]!r} is not {wanted}"


def checked(element: GS1ElementString) -> tuple[str, str]:
    """One field, its inner check digits verified."""
    ai, value = str(element.ai.ai), str(element.value)
    if not value or not value.isascii():
        raise NoReading(f"({ai}) is empty or holds characters that GS1 data does not have")
    if ai in ("01", "02", "03"):
        read_gtin(value)
    if element.sscc_error or element.gln_error:
        raise NoReading(f"({ai}) {value} has a wrong check digit")
    return ai, value


def read_elements(data: str) -> list[tuple[str, str]]:
    """Fields of a scanned element string, each ended by its length or a separator.

    The parser takes one field at a time; the walk is ours because the parser cuts an over-long
    value at its largest length and reads on in the middle of it, which is how a lost separator
    would turn into a wrong lot without a word.
    """
    elements: list[tuple[str, str]] = []
    rest = data
    while rest:
        known = _identifier(rest[:4])
        if known is None:
            raise NoReading(
                f"no GS1 application identifier begins with {rest[:4]!r}" + _after(elements)
            )
        ai, length, free = known
        piece = rest.partition(FNC1)[0]
        field = _first_field(piece[:length] if length else piece)
        if field is None:
            raise NoReading(_why_not(ai, piece[len(ai) :]) + _after(elements))
        elements.append(field)
        rest = rest[len(ai) + len(field[1]) :]
        if free and rest and not rest.startswith(FNC1):
            raise Swallowed(elements, rest)
        rest = rest.lstrip(FNC1)
    return elements


@lru_cache(maxsize=4096)
def _identifier(start: str) -> tuple[str, int, bool] | None:
    """The identifier that a text begins with, its field's whole length (0: not fixed), and
    whether its value has a free length."""
    from biip import ParseError
    from biip.gs1_application_identifiers import GS1ApplicationIdentifier

    try:
        ai = GS1ApplicationIdentifier.extract(start)
    except ParseError:
        return None
    fixed = re.fullmatch(r"[NXYZ]\d+(?:\+[NXYZ]\d+)*", ai.format)
    length = sum(map(int, re.findall(r"\d+", ai.format))) if fixed else 0
    return str(ai.ai), length, ".." in ai.format


@lru_cache(maxsize=16384)
def _first_field(text: str) -> tuple[str, str] | None:
    """The first field of a text, its check digits verified; None when it does not parse."""
    from biip import ParseConfig, ParseError
    from biip.gs1_element_strings import GS1ElementString

    config = ParseConfig(gs1_element_strings_verify_date=False)
    try:
        element = GS1ElementString.extract(text, config=config)
    except (ParseError, ValueError, ArithmeticError):
        return None
    return checked(element)


class Swallowed(NoReading):
    """A value of free length goes on past its largest length: its separator was lost."""

    def __init__(self, elements: list[tuple[str, str]], rest: str) -> None:
        ai, value = elements[-1]
        self.before = elements[:-1]
        run, _, self.after = rest.partition(FNC1)
        self.ai, self.run = ai, value + run
        name = FIELD_NAMES.get(ai, f"field ({ai})")
        super().__init__(
            f"the {name} {self.run[:40]!r} is longer than it may be or a separator is missing in it"
        )


def shown(elements: Iterable[tuple[str, str]]) -> str:
    """Fields in the printed form, identifiers in brackets."""
    return "".join(f"({ai}){value}" for ai, value in elements)


def _after(elements: list[tuple[str, str]]) -> str:
    return " after " + shown(elements[-1:]) if elements else ""


def split_swallowed(ai: str, value: str, on: date) -> list[tuple[str, str]] | None:
    """The value of a free-length field read as a shorter value and the fields it swallowed.

    Only tails that begin with a field hardly met by chance count: a plausible date, a GTIN with
    its check digit, a net weight. In a long count any field counts, since counts are short.
    """
    if ai not in ("10", "21", "22", "30", "37", "240", "241", "250", "400"):
        return None
    counts = ai in ("30", "37")
    if counts and value.isdecimal() and int(value) < PIECES_WORTH_ASKING:
        return None
    longest = 8 if counts else 20
    for start in range(1, min(len(value), longest + 1)):
        if counts and not value[:start].isdecimal():
            return None
        if value[start : start + 2] not in _TAIL_STARTS:
            continue
        try:
            tail = read_elements(value[start:])
        except NoReading:
            continue
        if counts or is_anchor(*tail[0], on):
            return [(ai, value[:start]), *tail]
    return None


def is_anchor(ai: str, value: str, on: date) -> bool:
    """Whether a field is hardly met by chance inside a lot: its digits obey a narrow rule."""
    if ai in ("01", "02") or ai.startswith("310"):
        return True
    if ai not in DATE_AIS:
        return False
    try:
        day = full_date(ai, value, on)
    except NoReading:
        return False
    years = timedelta(days=366)
    if ai in _PAST_AIS:
        return on - 10 * years <= day <= on + years
    return on - 5 * years <= day <= on + 10 * years


def full_date(ai: str, digits: str, on: date) -> date:
    """YYMMDD as a day, the century by a window of 49 years back and 50 ahead of ``on``.

    Source: GS1 General Specifications 3.4 (day 00) and 7.12 (century).
    """
    year, month, day = int(digits[:2]), int(digits[2:4]), int(digits[4:6])
    century = on.year - on.year % 100
    ahead = year - on.year % 100
    if ahead >= 51:
        century -= 100
    elif ahead <= -50:
        century += 100
    try:
        if day == 0:
            day = calendar.monthrange(century + year, month)[1]
        return date(century + year, month, day)
    except ValueError:
        raise NoReading(f"({ai}) {DATE_AIS[ai]} {digits} is not a day of the calendar") from None

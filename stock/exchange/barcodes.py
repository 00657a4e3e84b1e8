"""Scanned codes in, what they say out: GTIN, lot, dates, serial, count, weight.

Understood: GS1 element strings as a hand scanner types them (with or without a symbology
prefix such as ``]d2``, FNC1 as the group separator character), the bracketed form printed under
a symbol, GS1 Digital Link URIs, and plain GTIN-8, -12, -13 and -14. GTINs come out with 14
digits. Weights are kg. Two-digit years fall within 49 years before and 50 after the day handed
in (GS1 General Specifications 7.12); day 00 is the last of its month.

A lot may swallow the next field when a separator was lost on the way. Such a code is *suspect*:
callers ask, they do not book. Nothing here knows which item a GTIN belongs to.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Final, Literal

from stock.errors import BarcodeUnreadable

if TYPE_CHECKING:
    from biip.gs1_element_strings import GS1ElementString

FNC1: Final = "\x1d"
MAX_LENGTH: Final = 2000
"""Longer texts are no scan: the largest symbols hold fewer characters of GS1 data."""

GTIN_LENGTHS: Final = (8, 12, 13, 14)
PIECES_WORTH_ASKING: Final = 1000
"""From this count on, a count that also reads as count + next field is asked about."""

_STAND_INS: Final = re.compile(r"<GS>|\{GS\}|<FNC1>|\{FNC1\}|\u241d|\^")
_SYMBOLOGY: Final = re.compile(r"\]([A-Za-z][0-9A-Za-z])")
_GTIN_SYMBOLS: Final = {"E0": "EAN or UPC", "E3": "EAN with add-on", "E4": "EAN-8", "I1": "ITF-14"}
_GS1_SYMBOLS: Final = ("C1", "d2", "Q3", "e0", "J1")
_BRACKETED: Final = re.compile(r"\((\d{2,4})\)")
_LINK: Final = re.compile(r"https?://", re.IGNORECASE)

_DATE_AIS: Final = {
    "11": "production date",
    "12": "due date",
    "13": "packaging date",
    "15": "best before date",
    "16": "sell by date",
    "17": "expiry date",
    "7003": "expiry date and time",
}
_PAST_AIS: Final = ("11", "13")
_NAMES: Final = {"10": "lot", "21": "serial number", "30": "count", "37": "count", "01": "GTIN"}

Elements = tuple[tuple[str, str], ...]


class _NoReading(Exception):
    """Why a text does not read as GS1 data; becomes :class:`BarcodeUnreadable` at the door."""


@dataclass(frozen=True, slots=True)
class ScannedCode:
    """What one scan says.

    Args:
        text: The scan as it came.
        form: ``gtin``, ``elements`` or ``link``.
        gtin: 14 digits; None when the code names no item. From AI 02 (what a box holds) when
            there is no AI 01.
        lot, serial: AI 10 and AI 21.
        expires: AI 17 (or 7003), the last day of use.
        best_before, produced: AI 15 and AI 11.
        count: Pieces: AI 37, else AI 30.
        net_weight_kg: AI 310n.
        elements: Every (application identifier, value) in the order scanned.
        warnings: Sentences for the person who scanned.
        suspect: The code may mean something else: ask before booking.
        other_reading: What a suspect code says if its separator was lost.
    """

    text: str
    form: Literal["gtin", "elements", "link"]
    gtin: str | None = None
    lot: str | None = None
    expires: date | None = None
    best_before: date | None = None
    produced: date | None = None
    serial: str | None = None
    count: int | None = None
    net_weight_kg: Decimal | None = None
    elements: Elements = ()
    warnings: tuple[str, ...] = ()
    suspect: bool = False
    other_reading: ScannedCode | None = None

    @property
    def use_by(self) -> date | None:
        """Last day of use: the expiry date, else the best before date."""
        return self.expires or self.best_before

    def to_json(self) -> dict[str, object]:
        """Plain values for ``stock scan --json``; a missing expiry falls back to best before."""
        return {
            "gtin": self.gtin,
            "lot": self.lot,
            "expires": self.use_by.isoformat() if self.use_by else None,
            "produced": self.produced.isoformat() if self.produced else None,
            "serial": self.serial,
            "count": self.count,
            "net_weight_kg": float(self.net_weight_kg) if self.net_weight_kg is not None else None,
            "suspect": self.suspect,
            "warnings": list(self.warnings),
        }


def parse_code(text: str, *, on: date, separator: str = "") -> ScannedCode:
    r"""Read one scanned or typed code.

    Args:
        text: What the scanner typed, with or without its closing Enter.
        on: The business day: two-digit years are read relative to it.
        separator: One more character that this shop's scanner types for FNC1.

    Raises:
        BarcodeUnreadable: When it is none of the forms understood, a check digit is wrong or a
            date does not exist.

    >>> code = parse_code("]d201095212345432131714070410ABC123", on=date(2014, 1, 1))
    >>> code.gtin, code.lot, code.expires
    ('09521234543213', 'ABC123', datetime.date(2014, 7, 4))
    """
    try:
        return _parse(text, on, separator)
    except _NoReading as no_reading:
        raise BarcodeUnreadable(text, str(no_reading)) from None


def normal_gtin(text: str) -> str:
    """A GTIN of 8, 12, 13 or 14 digits as the 14 digits the book compares by.

    Raises:
        ValueError: Wrong length, not digits, or a wrong check digit.

    >>> normal_gtin("6291041500213")
    '06291041500213'
    """
    try:
        return _gtin(re.sub(r"[ -]", "", text.strip()))[0]
    except _NoReading as no_reading:
        raise ValueError(str(no_reading)) from None


def check_digit(body: str) -> int:
    """GS1 check digit of the digits before it: weights 3 and 1 from the right.

    Source: GS1 General Specifications 7.9.1.

    >>> check_digit("629104150021")
    3
    """
    from biip.checksums import gs1_standard_check_digit

    return int(gs1_standard_check_digit(body))


def join_scans(codes: Sequence[ScannedCode], *, on: date) -> tuple[ScannedCode, ...]:
    """Put together what one label spreads over several symbols.

    A code that names no item completes the nearest earlier one that does, unless both say the
    same field differently.
    """
    joined: list[ScannedCode] = []
    for code in codes:
        before = joined[-1] if joined else None
        if code.gtin is None and before is not None and before.gtin is not None:
            has = dict(before.elements)
            if all(has.get(ai, value) == value for ai, value in code.elements):
                new = tuple(pair for pair in code.elements if pair[0] not in has)
                base = before.elements or (("01", before.gtin),)
                kept = tuple(
                    note
                    for note in (*before.warnings, *code.warnings)
                    if not note.startswith("no GTIN")
                )
                text = before.text + "\n" + code.text
                joined[-1] = _build(
                    text, "elements", base + new, on, kept, before.suspect or code.suspect
                )
                continue
        joined.append(code)
    return tuple(joined)


def _parse(text: str, on: date, separator: str) -> ScannedCode:
    trimmed = text.strip()
    if not trimmed:
        raise _NoReading("it is empty")
    if len(trimmed) > MAX_LENGTH:
        raise _NoReading(f"it has {len(trimmed)} characters, more than any symbol holds")
    if separator:
        trimmed = trimmed.replace(separator, FNC1)
    warnings: list[str] = []
    symbol = ""
    match = _SYMBOLOGY.match(trimmed)
    if match:
        symbol, trimmed = match[1], trimmed[3:].lstrip()
        if symbol in _GTIN_SYMBOLS:
            return _plain(text, _before_add_on(trimmed, symbol), on, warnings)
    if _LINK.match(trimmed):
        return _link(text, trimmed, on)
    data = _STAND_INS.sub(FNC1, trimmed).strip(FNC1 + " ")
    _refuse_strange(data)
    if symbol and symbol not in _GS1_SYMBOLS:
        warnings.append(
            f"the symbol (]{symbol}) is not marked as GS1; read as GS1 data all the same"
        )
    if data.startswith("("):
        return _build(text, "elements", _bracketed(data), on, warnings, False)
    digits = re.sub(r"[ -]", "", data)
    if symbol not in _GS1_SYMBOLS and digits.isdecimal() and len(digits) in GTIN_LENGTHS:
        return _plain(text, digits, on, warnings)
    if not data[:2].isdecimal():
        raise _NoReading("it is neither a GTIN, a GS1 element string nor a GS1 Digital Link")
    return _elements(text, data, on, warnings)


def _refuse_strange(data: str) -> None:
    strange = next((c for c in data if c != FNC1 and not " " <= c <= "~"), None)
    if strange is not None:
        raise _NoReading(f"the character U+{ord(strange):04X} does not occur in GS1 data")


def _before_add_on(digits: str, symbol: str) -> str:
    return digits[:13] if symbol == "E3" else digits


def _plain(text: str, digits: str, on: date, warnings: list[str]) -> ScannedCode:
    """A bare GTIN; a UPC-E is widened; digits that are only GS1 data are asked about."""
    try:
        gtin, notes = _gtin(digits)
    except _NoReading as wrong:
        if len(digits) == 8 and digits.isascii() and digits[0] in "01":
            widened = _widened_upc_e(digits)
            if widened:
                note = f"read as a UPC-E number, {widened} in full"
                return ScannedCode(text, "gtin", widened, warnings=(*warnings, note))
        try:
            elements = _walk(digits)
        except _NoReading:
            raise wrong from None
        if not any(_is_anchor(ai, value, on) for ai, value in elements):
            raise wrong from None
        note = f"suspect: {wrong}; read as GS1 fields instead"
        return _build(text, "elements", elements, on, [*warnings, note], True)
    return ScannedCode(text, "gtin", gtin, warnings=(*warnings, *notes))


def _widened_upc_e(digits: str) -> str | None:
    from biip import ParseError
    from biip.upc import Upc

    try:
        return str(Upc.parse(digits).as_gtin_14())
    except (ParseError, ValueError, AssertionError):
        return None


def _gtin(digits: str) -> tuple[str, list[str]]:
    from biip import ParseError
    from biip.gtin import Gtin
    from biip.rcn import Rcn

    if not (digits.isascii() and digits.isdecimal()):
        raise _NoReading("a GTIN has digits only")
    if len(digits) not in GTIN_LENGTHS:
        raise _NoReading(f"a GTIN has 8, 12, 13 or 14 digits, this has {len(digits)}")
    if not digits.strip("0"):
        raise _NoReading("a GTIN of zeros names nothing")
    right = check_digit(digits[:-1])
    if right != int(digits[-1]):
        raise _NoReading(f"the check digit of GTIN {digits} should be {right}, not {digits[-1]}")
    try:
        gtin = Gtin.parse(digits)
    except (ParseError, ValueError, AssertionError) as error:
        raise _NoReading(f"{digits} is not a GTIN ({error})") from None
    notes = []
    if isinstance(gtin, Rcn):
        notes.append("this number is for use within one company or region; it may not be unique")
    return digits.zfill(14), notes


def _link(text: str, uri: str, on: date) -> ScannedCode:
    from biip import ParseConfig, ParseError
    from biip.gs1_digital_link_uris import GS1DigitalLinkURI

    if any(not "!" <= c <= "~" for c in uri):
        raise _NoReading("a web address has no spaces or special characters")
    scheme, rest = uri.split("://", 1)
    path, query = (rest.split("?", 1) + [""])[:2]
    tidy = f"{scheme.lower()}://{path.rstrip('/')}" + (f"?{query}" if query else "")
    config = ParseConfig(gs1_element_strings_verify_date=False)
    try:
        parsed = GS1DigitalLinkURI.parse(tidy, config=config)
    except (ParseError, ValueError, ArithmeticError, AssertionError):
        raise _NoReading(
            "this web address is not a GS1 Digital Link (…/01/GTIN/10/LOT?17=YYMMDD)"
        ) from None
    return _build(text, "link", [_checked(element) for element in parsed.element_strings], on)


def _bracketed(data: str) -> list[tuple[str, str]]:
    """Fields of the printed form; a bracket that holds no known identifier belongs to a value."""
    from biip import ParseConfig, ParseError
    from biip.gs1_element_strings import GS1ElementString

    starts = [m for m in _BRACKETED.finditer(data) if _known(m[1])]
    if not starts or starts[0].start() != 0:
        raise _NoReading(f"{data[:6]!r} is not a GS1 application identifier")
    ends = [m.start() for m in starts[1:]] + [len(data)]
    elements = []
    config = ParseConfig(gs1_element_strings_verify_date=False)
    for match, end in zip(starts, ends, strict=True):
        value = data[match.end() : end].strip(FNC1 + " ")
        try:
            element = GS1ElementString.parse(match[1] + value, config=config)
        except (ParseError, ValueError, ArithmeticError):
            raise _NoReading(_why_not(match[1], value)) from None
        elements.append(_checked(element))
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
    if ai in _DATE_AIS:
        wanted = "YYMMDD" if ai != "7003" else "YYMMDDhhmm"
    return f"({ai}) {known.data_title.lower()}: {value[:24]!r} is not {wanted}"


def _checked(element: GS1ElementString) -> tuple[str, str]:
    """One field, its inner check digits verified."""
    ai, value = str(element.ai.ai), str(element.value)
    if not value or not value.isascii():
        raise _NoReading(f"({ai}) is empty or holds characters that GS1 data does not have")
    if ai in ("01", "02", "03"):
        _gtin(value)
    if element.sscc_error or element.gln_error:
        raise _NoReading(f"({ai}) {value} has a wrong check digit")
    return ai, value


def _walk(data: str) -> list[tuple[str, str]]:
    """Fields of a scanned element string, each ended by its length or a separator.

    The parser takes one field at a time; the walk is ours because the parser cuts an over-long
    value at its largest length and reads on in the middle of it, which is how a lost separator
    would turn into a wrong lot without a word.
    """
    from biip import ParseConfig, ParseError
    from biip.gs1_application_identifiers import GS1ApplicationIdentifier
    from biip.gs1_element_strings import GS1ElementString

    config = ParseConfig(gs1_element_strings_verify_date=False)
    elements: list[tuple[str, str]] = []
    rest = data
    while rest:
        try:
            ai = GS1ApplicationIdentifier.extract(rest)
        except ParseError:
            raise _NoReading(
                f"no GS1 application identifier begins with {rest[:4]!r}" + _after(elements)
            ) from None
        try:
            element = GS1ElementString.extract(rest, config=config)
        except (ParseError, ValueError, ArithmeticError):
            value = rest[len(ai.ai) :].split(FNC1)[0]
            raise _NoReading(_why_not(ai.ai, value) + _after(elements)) from None
        elements.append(_checked(element))
        rest = rest[len(ai.ai) + len(elements[-1][1]) :]
        if ".." in ai.format and rest and not rest.startswith(FNC1):
            raise _Swallowed(elements, rest)
        rest = rest.lstrip(FNC1)
    return elements


class _Swallowed(_NoReading):
    """A value of free length goes on past its largest length: its separator was lost."""

    def __init__(self, elements: list[tuple[str, str]], rest: str) -> None:
        ai, value = elements[-1]
        self.before = elements[:-1]
        run, _, self.after = rest.partition(FNC1)
        self.ai, self.run = ai, value + run
        name = _NAMES.get(ai, f"field ({ai})")
        super().__init__(
            f"the {name} {self.run[:40]!r} is longer than it may be or a separator is missing in it"
        )


def _after(elements: list[tuple[str, str]]) -> str:
    return f" after ({elements[-1][0]}){elements[-1][1]}" if elements else ""


def _elements(text: str, data: str, on: date, warnings: list[str]) -> ScannedCode:
    try:
        elements = _walk(data)
    except _Swallowed as swallowed:
        split = _split(swallowed.ai, swallowed.run, on)
        if split is None:
            raise
        rest = _walk(swallowed.after) if swallowed.after else []
        note = f"suspect: a separator is missing; read as {_shown(split)}"
        whole = [*swallowed.before, *split, *rest]
        return _build(text, "elements", whole, on, [*warnings, note], True)
    for place, (ai, value) in enumerate(elements):
        split = _split(ai, value, on)
        if split is None:
            continue
        other = [*elements[:place], *split, *elements[place + 1 :]]
        try:
            reading = _build(text, "elements", other, on)
        except _NoReading:
            continue
        name = _NAMES.get(ai, f"field ({ai})")
        note = f"suspect: {name} {value!r} may have swallowed the next field ({_shown(split)})"
        return _build(text, "elements", elements, on, [*warnings, note], True, reading)
    return _build(text, "elements", elements, on, warnings)


def _shown(elements: Iterable[tuple[str, str]]) -> str:
    return "".join(f"({ai}){value}" for ai, value in elements)


def _split(ai: str, value: str, on: date) -> list[tuple[str, str]] | None:
    """The value of a free-length field read as a shorter value and the fields it swallowed.

    Only tails that begin with a field hardly met by chance count: a plausible date, a GTIN with
    its check digit, a net weight. In a long count any field counts, since counts are short.
    """
    if ai not in ("10", "21", "22", "30", "37", "240", "241", "250", "400"):
        return None
    counts = ai in ("30", "37")
    if counts and int(value) < PIECES_WORTH_ASKING:
        return None
    longest = 8 if counts else 20
    for start in range(1, min(len(value), longest + 1)):
        if value[start : start + 2] not in _TAIL_STARTS:
            continue
        try:
            tail = _walk(value[start:])
        except _NoReading:
            continue
        if counts or _is_anchor(*tail[0], on):
            return [(ai, value[:start]), *tail]
    return None


_TAIL_STARTS: Final = frozenset(("01", "02", "10", "11", "13", "15", "16", "17", "21", "31"))


def _is_anchor(ai: str, value: str, on: date) -> bool:
    if ai in ("01", "02") or ai.startswith("310"):
        return True
    if ai not in _DATE_AIS:
        return False
    try:
        day = _date(ai, value, on)
    except _NoReading:
        return False
    years = timedelta(days=366)
    if ai in _PAST_AIS:
        return on - 10 * years <= day <= on + years
    return on - 5 * years <= day <= on + 10 * years


def _date(ai: str, digits: str, on: date) -> date:
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
        raise _NoReading(f"({ai}) {_DATE_AIS[ai]} {digits} is not a day of the calendar") from None


@dataclass(slots=True)
class _Said:
    """Fields gathered so far; a field said twice must say the same."""

    fields: dict[str, str] = field(default_factory=dict)

    def add(self, ai: str, value: str) -> None:
        if self.fields.setdefault(ai, value) != value:
            name = _NAMES.get(ai, _DATE_AIS.get(ai, f"field ({ai})"))
            raise _NoReading(f"it gives two values for {name}: {self.fields[ai]} and {value}")

    def first(self, *ais: str) -> str | None:
        return next((self.fields[ai] for ai in ais if ai in self.fields), None)


def _build(
    text: str,
    form: Literal["elements", "link"],
    elements: Iterable[tuple[str, str]],
    on: date,
    warnings: Iterable[str] = (),
    suspect: bool = False,
    other_reading: ScannedCode | None = None,
) -> ScannedCode:
    said = _Said()
    for ai, value in elements:
        said.add(ai, value)
    notes = list(warnings)
    dates = {ai: _date(ai, said.fields[ai], on) for ai in _DATE_AIS if ai in said.fields}
    expires = dates.get("17") or dates.get("7003")
    produced = dates.get("11")
    best_before = dates.get("15")
    gtin = said.first("01", "02")
    if gtin is None:
        notes.append("no GTIN: the code does not say which item it is on")
    else:
        notes.extend(_gtin(gtin)[1])
    if "01" in said.fields and "02" in said.fields and said.fields["01"] != said.fields["02"]:
        suspect = True
        notes.append("suspect: it names an item (01) and the content of a box (02)")
    if expires is None and best_before is not None:
        notes.append("no expiry date; the best before date is taken")
    last = expires or best_before
    if last is not None and produced is not None and last < produced:
        suspect = True
        notes.append(f"suspect: it expires on {last} before it was produced on {produced}")
    count = said.first("37", "30")
    weight_ai = next((ai for ai in said.fields if re.fullmatch(r"310\d", ai)), None)
    weight = None
    if weight_ai is not None:
        weight = Decimal(said.fields[weight_ai]).scaleb(-int(weight_ai[3]))
    return ScannedCode(
        text=text,
        form=form,
        gtin=gtin,
        lot=said.first("10"),
        expires=expires,
        best_before=best_before,
        produced=produced,
        serial=said.first("21"),
        count=int(count) if count else None,
        net_weight_kg=weight,
        elements=tuple(said.fields.items()),
        warnings=tuple(dict.fromkeys(notes)),
        suspect=suspect,
        other_reading=other_reading,
    )

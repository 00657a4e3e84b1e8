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

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Final, Literal

from stock.errors import BarcodeUnreadable
from stock.exchange.gs1_fields import (
    DATE_AIS,
    FIELD_NAMES,
    FNC1,
    GTIN_LENGTHS,
    NoReading,
    Swallowed,
    checked,
    full_date,
    is_anchor,
    read_bracketed,
    read_elements,
    read_gtin,
    shown,
    split_swallowed,
)
from stock.exchange.own_codes import AI as OWN_AI
from stock.exchange.own_codes import OwnCode, read_own

MAX_LENGTH: Final = 2000
"""Longer texts are no scan: the largest symbols hold fewer characters of GS1 data."""

_STAND_INS: Final = re.compile(r"<GS>|\{GS\}|<FNC1>|\{FNC1\}|\u241d|\^")
_SYMBOLOGY: Final = re.compile(r"\]([A-Za-z][0-9A-Za-z])")
_GTIN_SYMBOLS: Final = {"E0": "EAN or UPC", "E3": "EAN with add-on", "E4": "EAN-8", "I1": "ITF-14"}
_GS1_SYMBOLS: Final = ("C1", "d2", "Q3", "e0", "J1")
_LINK: Final = re.compile(r"https?://", re.IGNORECASE)

Elements = tuple[tuple[str, str], ...]


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
        own: A place, container or item of the shop, from one of our own labels.
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
    own: OwnCode | None = None
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
            "own": f"{self.own.kind} {self.own.code}" if self.own else None,
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
    except NoReading as no_reading:
        raise BarcodeUnreadable(text, str(no_reading)) from None


def normal_gtin(text: str) -> str:
    """A GTIN of 8, 12, 13 or 14 digits as the 14 digits the book compares by.

    Raises:
        ValueError: Wrong length, not digits, or a wrong check digit.

    >>> normal_gtin("6291041500213")
    '06291041500213'
    """
    try:
        return read_gtin(re.sub(r"[ -]", "", text.strip()))[0]
    except NoReading as no_reading:
        raise ValueError(str(no_reading)) from None


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
        raise NoReading("it is empty")
    if len(trimmed) > MAX_LENGTH:
        raise NoReading(f"it has {len(trimmed)} characters, more than any symbol holds")
    if separator:
        trimmed = trimmed.replace(separator, FNC1)
    warnings: list[str] = []
    symbol = ""
    match = _SYMBOLOGY.match(trimmed)
    if match:
        symbol, trimmed = match[1], trimmed[3:].lstrip()
        if symbol in _GTIN_SYMBOLS:
            return _plain(text, _before_add_on(trimmed, symbol), on, warnings, symbol)
    if _LINK.match(trimmed):
        return _link(text, trimmed, on)
    data = _STAND_INS.sub(FNC1, trimmed).strip(FNC1 + " ")
    _refuse_strange(data)
    if symbol and symbol not in _GS1_SYMBOLS:
        warnings.append(
            f"the symbol (]{symbol}) is not marked as GS1; read as GS1 data all the same"
        )
    if data.startswith("("):
        return _build(text, "elements", read_bracketed(data), on, warnings, False)
    digits = re.sub(r"[ -]", "", data)
    if symbol not in _GS1_SYMBOLS and digits.isdecimal() and len(digits) in GTIN_LENGTHS:
        return _plain(text, digits, on, warnings)
    if not data[:2].isdecimal():
        raise NoReading("it is neither a GTIN, a GS1 element string nor a GS1 Digital Link")
    try:
        return _elements(text, data, on, warnings)
    except NoReading as no_reading:
        if symbol or not digits.isdecimal():
            raise
        raise NoReading(
            f"it is no GTIN, which has 8, 12, 13 or 14 digits, and as GS1 data {no_reading}"
        ) from None


def _refuse_strange(data: str) -> None:
    strange = next((c for c in data if c != FNC1 and not " " <= c <= "~"), None)
    if strange is not None:
        raise NoReading(f"the character U+{ord(strange):04X} does not occur in GS1 data")


def _before_add_on(digits: str, symbol: str) -> str:
    return digits[:13] if symbol == "E3" else digits


def _plain(text: str, digits: str, on: date, warnings: list[str], symbol: str = "") -> ScannedCode:
    """A bare GTIN; a UPC-E is widened; digits that are only GS1 data are asked about."""
    try:
        gtin, notes = read_gtin(digits)
    except NoReading as wrong:
        return _not_a_gtin(text, digits, on, warnings, wrong)
    widened = _widened_upc_e(digits) if symbol == "" else None
    if widened is None:
        return ScannedCode(text, "gtin", gtin, warnings=(*warnings, *notes))
    note = f"suspect: it may also be the UPC-E number {widened}"
    other = ScannedCode(text, "gtin", widened)
    return ScannedCode(
        text, "gtin", gtin, warnings=(*warnings, *notes, note), suspect=True, other_reading=other
    )


def _not_a_gtin(
    text: str, digits: str, on: date, warnings: list[str], wrong: NoReading
) -> ScannedCode:
    """Digits whose check digit is wrong: a UPC-E number, GS1 fields without a GTIN, or neither."""
    widened = _widened_upc_e(digits)
    if widened is not None:
        note = f"read as a UPC-E number, {widened} in full"
        return ScannedCode(text, "gtin", widened, warnings=(*warnings, note))
    try:
        elements = read_elements(digits)
    except NoReading:
        raise wrong from None
    if not any(is_anchor(ai, value, on) for ai, value in elements):
        raise wrong from None
    note = f"suspect: {wrong}; read as GS1 fields instead"
    return _build(text, "elements", elements, on, [*warnings, note], True)


def _widened_upc_e(digits: str) -> str | None:
    """The GTIN that eight digits of a zero-suppressed UPC stand for, if they do."""
    if len(digits) != 8 or not digits.isascii() or digits[0] not in "01":
        return None
    from biip import ParseError
    from biip.upc import Upc

    try:
        return str(Upc.parse(digits).as_gtin_14())
    except (ParseError, ValueError, AssertionError):
        return None


def _link(text: str, uri: str, on: date) -> ScannedCode:
    from biip import ParseConfig, ParseError
    from biip.gs1_digital_link_uris import GS1DigitalLinkURI

    if any(not "!" <= c <= "~" for c in uri):
        raise NoReading("a web address has no spaces or special characters")
    scheme, rest = uri.split("://", 1)
    path, query = (rest.split("?", 1) + [""])[:2]
    tidy = f"{scheme.lower()}://{path.rstrip('/')}" + (f"?{query}" if query else "")
    config = ParseConfig(gs1_element_strings_verify_date=False)
    try:
        parsed = GS1DigitalLinkURI.parse(tidy, config=config)
    except (ParseError, ValueError, ArithmeticError, AssertionError):
        raise NoReading(
            "this web address is not a GS1 Digital Link (…/01/GTIN/10/LOT?17=YYMMDD)"
        ) from None
    return _build(text, "link", [checked(element) for element in parsed.element_strings], on)


def _elements(text: str, data: str, on: date, warnings: list[str]) -> ScannedCode:
    try:
        elements = read_elements(data)
    except Swallowed as swallowed:
        split = split_swallowed(swallowed.ai, swallowed.run, on)
        if split is None:
            raise
        rest = read_elements(swallowed.after) if swallowed.after else []
        note = f"suspect: a separator is missing; read as {shown(split)}"
        whole = [*swallowed.before, *split, *rest]
        return _build(text, "elements", whole, on, [*warnings, note], True)
    for place, (ai, value) in enumerate(elements):
        split = split_swallowed(ai, value, on)
        if split is None:
            continue
        other = [*elements[:place], *split, *elements[place + 1 :]]
        try:
            reading = _build(text, "elements", other, on)
        except NoReading:
            continue
        name = FIELD_NAMES.get(ai, f"field ({ai})")
        note = f"suspect: {name} {value!r} may have swallowed the next field {shown(split)}"
        return _build(text, "elements", elements, on, [*warnings, note], True, reading)
    return _build(text, "elements", elements, on, warnings)


@dataclass(slots=True)
class _Said:
    """Fields gathered so far; a field said twice must say the same."""

    fields: dict[str, str] = field(default_factory=dict)

    def add(self, ai: str, value: str) -> None:
        if self.fields.setdefault(ai, value) != value:
            name = FIELD_NAMES.get(ai, DATE_AIS.get(ai, f"field ({ai})"))
            raise NoReading(f"it gives two values for {name}: {self.fields[ai]} and {value}")

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
    dates = {ai: full_date(ai, said.fields[ai], on) for ai in DATE_AIS if ai in said.fields}
    expires = dates.get("17") or dates.get("7003")
    produced = dates.get("11")
    best_before = dates.get("15")
    gtin = said.first("01", "02")
    own = read_own(said.fields[OWN_AI]) if OWN_AI in said.fields else None
    if gtin is None and own is None:
        notes.append("no GTIN: the code does not say which item it is on")
    elif gtin is not None:
        notes.extend(read_gtin(gtin)[1])
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
        own=own,
        elements=tuple(said.fields.items()),
        warnings=tuple(dict.fromkeys(notes)),
        suspect=suspect,
        other_reading=other_reading,
    )

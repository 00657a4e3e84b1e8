"""Values as people write them in files, read strictly: numbers, money, shares, amounts, lengths.

What has two readings is refused with both shown, unless the file's :class:`Writing` says which
one holds. Nothing here reads a file. Dates are in ``written_dates``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from stock.units import (
    CM_PER_INCH,
    COMMA_GROUPED,
    POINT_GROUPED,
    TWO_WAYS,
    UNITS,
    WHOLE,
    WITH_COMMA,
    WITH_POINT,
    Unit,
    parse_amount,
    without_group_spaces,
)

_CURRENCY_SIGNS: Final = {"EUR": "€", "USD": "$", "GBP": "£", "JPY": "¥", "CHF": "Fr."}
_LENGTH_CM: Final = {"": 1.0, "cm": 1.0, "mm": 0.1, "in": CM_PER_INCH, "inch": CM_PER_INCH}

_WITH_UNIT: Final = re.compile(r"([+-]?[0-9][0-9.,'’ \u00a0\u202f]*|[+-]?[.,][0-9]+)([^0-9]*)")


class NotRead(ValueError):
    """A cell does not hold what its column wants; the text says what was expected."""


class TwoReadings(NotRead):
    """A cell can be read in two ways and nothing said which one holds."""


@dataclass(frozen=True, slots=True)
class Writing:
    """How one file writes its values.

    Args:
        decimal_comma: Decimal comma, decimal point, or None: decide cell by cell.
        dates: ``dmy``, ``mdy``, ``ymd`` or empty: decide by the values.
        currency: Currency (ISO 4217) that may stand beside money, else empty.
        dot_is_decimal: With ``decimal_comma`` None: ``1.500`` is one and a half, as this program
            writes it, and has no second reading.
    """

    decimal_comma: bool | None = None
    dates: str = ""
    currency: str = ""
    dot_is_decimal: bool = False


@dataclass(frozen=True, slots=True)
class GivenAmount:
    """An amount whose item, and so whose unit, the file's reader does not know yet.

    ``held`` is in thousandths of ``unit``; a bare number has no unit and is taken in any.
    """

    held: int
    unit: Unit | None

    def in_unit(self, unit: str) -> int:
        """Thousandths of ``unit``.

        Raises:
            ValueError: The amount was written in a unit of another kind.

        >>> read_amount("1.8 L").in_unit("mL")
        1800000
        """
        if self.unit is not None and self.unit != unit:
            raise ValueError(f"an amount in {unit}, not in {self.unit}")
        return self.held


def read_decimal(text: str, writing: Writing = Writing()) -> Decimal:
    """A number, its thousands grouped or not.

    Raises:
        TwoReadings: ``1,234`` when the file's decimal sign is not known.
        NotRead: Not a number.

    >>> read_decimal("1.234,50")
    Decimal('1234.50')
    """
    raw = without_group_spaces(text)
    if WHOLE.fullmatch(raw):
        return Decimal(raw)
    comma, dot = writing.decimal_comma in (True, None), writing.decimal_comma in (False, None)
    if writing.decimal_comma is None and TWO_WAYS.fullmatch(raw):
        if "," in raw or not writing.dot_is_decimal:
            whole, part = re.split(r"[.,]", raw)
            raise TwoReadings(f"one reading: it is {whole}{part} or {whole}.{part}")
        return Decimal(raw)
    if dot and (WITH_POINT.fullmatch(raw) or COMMA_GROUPED.fullmatch(raw)):
        return Decimal(raw.replace(",", ""))
    if comma and (WITH_COMMA.fullmatch(raw) or POINT_GROUPED.fullmatch(raw)):
        return Decimal(raw.replace(".", "").replace(",", "."))
    if re.fullmatch(r"[0-9.,]+[eE][+-]?[0-9]+", raw):
        raise NotRead("a number in full; a spreadsheet shortened this one")
    if writing.decimal_comma is not None and (
        WITH_POINT.fullmatch(raw) or WITH_COMMA.fullmatch(raw)
    ):
        sign = "comma" if writing.decimal_comma else "point"
        raise NotRead(f"a number with a decimal {sign}")
    raise NotRead("a number")


def decimal_evidence(text: str) -> str:
    """The decimal sign that a number's own shape proves: ``.``, ``,`` or nothing.

    >>> decimal_evidence("12,50"), decimal_evidence("1.234"), decimal_evidence("1.234,5")
    (',', '', ',')
    """
    match = _WITH_UNIT.match(text.strip().lstrip("€$£¥"))
    raw = without_group_spaces(match[1]) if match else ""
    if TWO_WAYS.fullmatch(raw):
        return ""
    if WITH_POINT.fullmatch(raw) or ("." in raw and COMMA_GROUPED.fullmatch(raw)):
        return "."
    if WITH_COMMA.fullmatch(raw) or ("," in raw and POINT_GROUPED.fullmatch(raw)):
        return ","
    return ""


def read_whole(text: str, writing: Writing = Writing()) -> int:
    """A whole number; ``12.0`` is one, ``12.5`` is not."""
    try:
        number = read_decimal(text, writing)
    except TwoReadings:
        raise
    except NotRead:
        raise NotRead("a whole number") from None
    if number != number.to_integral_value():
        raise NotRead("a whole number")
    return int(number)


def read_money(text: str, writing: Writing = Writing(), *, parts_of_cents: bool = False) -> float:
    """Money in minor units (cents); whole unless ``parts_of_cents``.

    >>> read_money("1.234,50")
    123450
    """
    raw = text.strip()
    if writing.currency:
        for sign in (writing.currency, _CURRENCY_SIGNS.get(writing.currency, "")):
            if sign and raw.upper().startswith(sign.upper()):
                raw = raw[len(sign) :].strip()
            elif sign and raw.upper().endswith(sign.upper()):
                raw = raw[: -len(sign)].strip()
    try:
        minor = read_decimal(raw, writing) * 100
    except TwoReadings:
        raise
    except NotRead as not_read:
        if re.search(r"[^\d.,'’\s+-]", raw):
            raise NotRead(
                "money as a number; name the file's currency in the column map"
                if not writing.currency
                else f"money in {writing.currency}"
            ) from None
        raise NotRead(str(not_read).replace("a number", "money as a number")) from None
    if parts_of_cents:
        return float(minor)
    if minor != minor.to_integral_value():
        raise NotRead("money with at most two decimals")
    return int(minor)


def read_share(text: str, writing: Writing = Writing()) -> float:
    """A share between 0 and 1, written ``0.95`` or ``95 %``.

    >>> read_share("95 %"), read_share("0.95")
    (0.95, 0.95)
    """
    raw = text.strip()
    percent = raw.endswith("%")
    try:
        number = read_decimal(raw.rstrip("%"), writing)
    except TwoReadings:
        raise
    except NotRead:
        raise NotRead("a share such as 0.95 or 95 %") from None
    share = number / 100 if percent else number
    if not 0 <= share <= 1:
        raise NotRead("a share from 0 to 1, such as 0.95 or 95 %")
    return float(share)


def read_amount(text: str, writing: Writing = Writing()) -> GivenAmount:
    """``1.8 L``, ``32 fl oz``, ``12`` …: an amount with or without its unit.

    >>> read_amount("250 g")
    GivenAmount(held=250000, unit='g')
    """
    match = _WITH_UNIT.fullmatch(text.strip())
    if match is None:
        raise NotRead("an amount such as 250, 1.8 L or 32 fl oz")
    number = read_decimal(match[1], writing)
    word = match[2].strip()
    for unit in UNITS:
        try:
            held = parse_amount(f"{number:f} {word}".strip(), unit, decimal_comma=False)
        except ValueError:
            continue
        return GivenAmount(held, unit if word else None)
    if word:
        raise NotRead("an amount in mL, cl, dl, L, fl oz, gal, mg, g, kg, oz, lb, each or dozen")
    raise NotRead("an amount that the book can hold")


def read_length_cm(text: str, writing: Writing = Writing()) -> float:
    """A length in cm; ``300 mm`` and ``12 in`` are understood.

    >>> read_length_cm("12 in")
    30.48
    """
    match = _WITH_UNIT.fullmatch(text.strip())
    word = match[2].strip().lower().replace('"', "in").replace("″", "in") if match else ""
    if match is None or word not in _LENGTH_CM:
        raise NotRead("a length such as 30, 300 mm or 12 in")
    return round(float(read_decimal(match[1], writing)) * _LENGTH_CM[word], 6)


def read_yes_no(text: str) -> bool:
    """``yes`` or ``no`` and their usual short forms."""
    word = text.strip().lower()
    if word in ("yes", "y", "true", "1", "x"):
        return True
    if word in ("no", "n", "false", "0"):
        return False
    raise NotRead("yes or no")

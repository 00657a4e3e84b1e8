"""Amounts: how they are kept, read and written.

An amount in the book is an integer of thousandths of its base unit: µL for mL, mg for g,
thousandths for each. Money is an integer of minor units (cents). Nothing here rounds silently:
what cannot be held exactly in thousandths is rounded half to even, and only there.
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final, Literal

Unit = Literal["mL", "g", "each"]
UNITS: Final[tuple[Unit, ...]] = ("mL", "g", "each")

THOUSAND: Final = 1000
MAX_THOUSANDTHS: Final = 10**15
"""Largest amount held: a million base units of a billion thousandths; guards 64-bit sums."""

CM_PER_INCH: Final = 2.54

_FACTORS: Final[dict[str, tuple[Unit, Decimal]]] = {
    "ul": ("mL", Decimal("0.001")),
    "µl": ("mL", Decimal("0.001")),
    "ml": ("mL", Decimal(1)),
    "cl": ("mL", Decimal(10)),
    "dl": ("mL", Decimal(100)),
    "l": ("mL", Decimal(1000)),
    "fl oz": ("mL", Decimal("29.5735295625")),  # US fluid ounce, NIST SP 811 (2008) App. B.8
    "floz": ("mL", Decimal("29.5735295625")),
    "us fl oz": ("mL", Decimal("29.5735295625")),
    "pt": ("mL", Decimal("473.176473")),  # US liquid pint, NIST SP 811 (2008) App. B.8
    "qt": ("mL", Decimal("946.352946")),  # US liquid quart, NIST SP 811 (2008) App. B.8
    "us gal": ("mL", Decimal("3785.411784")),
    "gal": ("mL", Decimal("3785.411784")),  # US gallon, NIST SP 811 (2008) App. B.8
    "mg": ("g", Decimal("0.001")),
    "g": ("g", Decimal(1)),
    "kg": ("g", Decimal(1000)),
    "oz": ("g", Decimal("28.349523125")),  # avoirdupois ounce, NIST SP 811 (2008) App. B.8
    "lb": ("g", Decimal("453.59237")),  # avoirdupois pound, NIST SP 811 (2008) App. B.8
    "each": ("each", Decimal(1)),
    "pc": ("each", Decimal(1)),
    "pcs": ("each", Decimal(1)),
    "dozen": ("each", Decimal(12)),
}

_LONG_NAMES: Final = {
    "millilitre": "ml",
    "milliliter": "ml",
    "litre": "l",
    "liter": "l",
    "fluid ounce": "fl oz",
    "pint": "pt",
    "quart": "qt",
    "gallon": "gal",
    "gram": "g",
    "kilogram": "kg",
    "ounce": "oz",
    "pound": "lb",
    "piece": "pc",
}

_AMOUNT = re.compile(r"^\s*([+-]?[\d.,'’\u00a0\u202f ]*\d)\s*([A-Za-zµμ][A-Za-zµμ. ]*?)?\s*$")

# How numbers are written: whole, with a decimal sign, with grouped thousands.
WHOLE: Final = re.compile(r"[+-]?[0-9]{1,20}")
WITH_POINT: Final = re.compile(r"[+-]?[0-9]{0,20}\.[0-9]{1,20}")
WITH_COMMA: Final = re.compile(r"[+-]?[0-9]{0,20},[0-9]{1,20}")
POINT_GROUPED: Final = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:\.[0-9]{3}){1,6}(?:,[0-9]{1,20})?")
COMMA_GROUPED: Final = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3}){1,6}(?:\.[0-9]{1,20})?")
SPACE_GROUPED: Final = re.compile(
    r"[+-]?[1-9][0-9]{0,2}([ \u00a0\u202f'’])[0-9]{3}(?:\1[0-9]{3}){0,5}(?:[.,][0-9]{1,20})?"
)
TWO_WAYS: Final = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_GROUP_SPACES: Final = str.maketrans("", "", " \u00a0\u202f'’")


def parse_decimal(text: str, *, decimal_comma: bool | None = None) -> Decimal:
    """Read a number as a person writes it, refusing what has two readings or none.

    Thousands may be grouped, by threes and by one sign throughout. ``decimal_comma`` says how the
    source writes numbers; ``None`` decides by the text itself: when both ``.`` and ``,`` appear the
    last one is the decimal sign; a single comma is the decimal sign unless exactly three digits
    follow, which reads both ways and is refused; a single point is the decimal sign.

    Raises:
        ValueError: Not a number, or one with two readings; the text says which.

    >>> parse_decimal("1.234,5")
    Decimal('1234.5')
    >>> parse_decimal("0,5")
    Decimal('0.5')
    >>> parse_decimal("1.2.3")
    Traceback (most recent call last):
    ...
    ValueError: '1.2.3' is not a number
    """
    raw = without_group_spaces(text)
    if decimal_comma is None and "," in raw and TWO_WAYS.fullmatch(raw):
        whole, part = raw.split(",")
        raise ValueError(f"{text!r} reads as {whole}{part} or as {whole}.{part}")
    by_point = WITH_POINT.fullmatch(raw) or COMMA_GROUPED.fullmatch(raw)
    by_comma = WITH_COMMA.fullmatch(raw) or POINT_GROUPED.fullmatch(raw)
    if WHOLE.fullmatch(raw) or (by_point and decimal_comma is not True):
        return Decimal(raw.replace(",", ""))
    if by_comma and decimal_comma is not False:
        return Decimal(raw.replace(".", "").replace(",", "."))
    raise ValueError(f"{text!r} is not a number")


def without_group_spaces(text: str) -> str:
    """The number without the spaces or apostrophes that group its thousands, if they do.

    >>> without_group_spaces(" 1 234,5 "), without_group_spaces("12 13")
    ('1234,5', '12 13')
    """
    raw = text.strip()
    return raw.translate(_GROUP_SPACES) if SPACE_GROUPED.fullmatch(raw) else raw


def to_thousandths(value: Decimal | float | int | str) -> int:
    """Base units to the integer thousandths the book keeps, rounded half to even.

    >>> to_thousandths("1.8")
    1800
    """
    exact = value if isinstance(value, Decimal) else Decimal(str(value))
    if not exact.is_finite():
        raise ValueError(f"{value} is not an amount")
    held = int((exact * THOUSAND).to_integral_value(ROUND_HALF_EVEN))
    if abs(held) > MAX_THOUSANDTHS:
        raise ValueError(f"{value} is larger than the book can hold")
    return held


def from_thousandths(held: int) -> float:
    """The book's integer as a plain number of base units.

    >>> from_thousandths(1500)
    1.5
    """
    return held / THOUSAND


def parse_amount(text: str, unit: Unit, *, decimal_comma: bool | None = None) -> int:
    """Read ``"1.8 L"``, ``"32 fl oz"`` or ``"250"`` as thousandths of ``unit``.

    A bare number is in the base unit. A unit of another kind (mass for a volume) is refused.

    >>> parse_amount("1.8 L", "mL")
    1800000
    """
    match = _AMOUNT.match(text)
    if match is None:
        raise ValueError(f"{text!r} is not an amount in {unit}")
    number = parse_decimal(match[1], decimal_comma=decimal_comma)
    named = " ".join((match[2] or "").lower().replace("μ", "µ").replace(".", " ").split())
    if not named:
        return to_thousandths(number)
    single = named.removesuffix("s")
    known = _FACTORS.get(named) or _FACTORS.get(_LONG_NAMES.get(single, single))
    if known is None:
        raise ValueError(f"{match[2]!r} is not a unit this program knows")
    base, factor = known
    if base != unit:
        raise ValueError(f"{text!r} is in {base}, the item is kept in {unit}")
    return to_thousandths(number * factor)


def format_amount(held: int, unit: str, *, places: int | None = None) -> str:
    """An amount for people: up to three decimals, none that say nothing.

    >>> format_amount(1500, "mL")
    '1.5 mL'
    >>> format_amount(12000, "each")
    '12'
    """
    number = Decimal(held) / THOUSAND
    if places is not None:
        text = f"{number:,.{places}f}"
    else:
        text = f"{number:,.3f}".rstrip("0").rstrip(".")
    return text if unit == "each" else f"{text} {unit}"


def format_money(minor: int, currency: str = "") -> str:
    """Minor units for people.

    >>> format_money(123456, "EUR")
    '1,234.56 EUR'
    """
    return f"{minor / 100:,.2f} {currency}".rstrip()


def parse_length_cm(text: str) -> float:
    """A print's width or height in cm; ``"12 in"`` and ``"300 mm"`` are understood.

    >>> parse_length_cm("12 in"), parse_length_cm("30,5")
    (30.48, 30.5)
    """
    match = re.match(r"^\s*([\d.,]+)\s*(cm|mm|in|inch|inches|\"|″)?\s*\.?\s*$", text, re.IGNORECASE)
    if match is None:
        raise ValueError(f"{text!r} is not a length")
    number = float(parse_decimal(match[1]))
    factor = {None: 1.0, "cm": 1.0, "mm": 0.1}
    named = match[2].lower() if match[2] else None
    return round(number * factor.get(named, CM_PER_INCH), 6)


def shown_unit(unit: str, system: str = "metric", largest: float = 0.0) -> tuple[str, float]:
    """The unit people are shown amounts up to ``largest`` in, and how many base units it is.

    >>> shown_unit("g", "us", 100.0), shown_unit("each", "us", 100.0)
    (('oz', 28.349523125), ('each', 1.0))
    """
    if system != "us" or unit not in ("mL", "g"):
        return unit, 1.0
    named = "fl oz" if unit == "mL" else "lb" if abs(largest) >= 453.59237 else "oz"
    return named, float(_FACTORS[named][1])


def shown_amount(amount: float, unit: str, system: str = "metric") -> str:
    """A plain amount in base units for people: four figures, US units where the shop uses them.

    >>> shown_amount(1234.56, "mL"), shown_amount(12.0, "each")
    ('1,235 mL', '12')
    >>> shown_amount(473.176473, "mL", "us"), shown_amount(907.18474, "g", "us")
    ('16 fl oz', '2 lb')
    """
    named, size_of_one = shown_unit(unit, system, amount)
    amount = amount / size_of_one
    size = abs(amount)
    places = 0 if size >= 1000 else 1 if size >= 100 else 2 if size >= 10 else 3
    text = f"{amount:,.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    text = "0" if text == "-0" else text
    return text if unit == "each" else f"{text} {named}"

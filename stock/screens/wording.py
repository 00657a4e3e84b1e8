"""Amounts, money and days as the screens write them, in the shop's units.

Nothing here reads the book; the shop's units are a setting of the station, read once.
"""

from __future__ import annotations

from datetime import date
from functools import lru_cache

from stock.units import format_money, shown_amount


@lru_cache(maxsize=1)
def _choices() -> tuple[str, str]:
    from stock.shop.settings import load_settings

    known = load_settings()
    return str(known["units"]), str(known["currency"])


def read_settings() -> None:
    """Read the station's units and currency; what is wrong with the settings is said here.

    Raises:
        InputFaults: The settings hold faults.
    """
    _choices.cache_clear()
    _choices()


def amount(base: float, unit: str) -> str:
    """Base units for people."""
    return shown_amount(base, unit, _choices()[0])


def held(thousandths: int, unit: str) -> str:
    """The book's integer for people."""
    return amount(thousandths / 1000, unit)


def some(thousandths: int, unit: str) -> str:
    """The same, nothing as a dash."""
    return held(thousandths, unit) if thousandths else "–"


def money(minor: float) -> str:
    """Minor units with the shop's currency."""
    return format_money(round(minor), _choices()[1])


def plain_money(minor: float) -> str:
    """Minor units without the currency, for a column that names it."""
    return f"{minor / 100:,.2f}"


def counted(number: int, word: str) -> str:
    """So many of something.

    >>> counted(1, "line"), counted(1200, "line"), counted(2, "entry")
    ('1 line', '1,200 lines', '2 entries')
    """
    if number != 1:
        word = f"{word[:-1]}ies" if word.endswith("ry") else f"{word}s"
    return f"{number:,} {word}"


def container_word(code: str, unit: str) -> str:
    """The container's code; what lies there unopened is sealed, pieces lie there as they are.

    >>> container_word("K000001", "mL"), container_word("", "mL"), container_word("", "each")
    ('K000001', 'sealed', '–')
    """
    return code or ("–" if unit == "each" else "sealed")


def chance(share: float) -> str:
    """A chance in per cent, never rounded to certainty.

    >>> chance(0.004), chance(0.5), chance(0.998), chance(0.0), chance(1.0)
    ('<1 %', '50 %', '>99 %', '0 %', '100 %')
    """
    if 0 < share < 0.01:
        return "<1 %"
    if 0.99 < share < 1:
        return ">99 %"
    return f"{share:.0%}".replace("%", " %")


def until(day: date | None) -> str:
    """A date, or that there is none."""
    return day.isoformat() if day else "no date"


def days_word(days: int) -> str:
    """How far off a day is: ``in 9 days``, ``today``, ``3 days past``.

    >>> days_word(9), days_word(0), days_word(-1)
    ('in 9 days', 'today', '1 day past')
    """
    if days == 0:
        return "today"
    count = f"{abs(days)} day" + ("s" if abs(days) != 1 else "")
    return f"in {count}" if days > 0 else f"{count} past"

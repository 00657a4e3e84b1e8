"""Kinds of settings: how each is read from TOML or an environment variable, and what is allowed.

A reader takes what TOML gave (text, number, yes/no, date, list) or the text of an environment
variable, and answers the value or raises ``ValueError`` with what was expected.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from stock.clock import WEEKDAYS, parse_weekdays

Reader = Callable[[object], Any]


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting: its dotted name in the file, what holds without it, how it is read."""

    name: str
    default: Any
    read: Reader
    allowed: str
    help: str

    @property
    def variable(self) -> str:
        """The environment variable that overrides it."""
        return "STOCK_" + self.name.upper().replace(".", "_")


def text(longest: int = 200) -> Reader:
    """Any printable text on one line."""

    def read(value: object) -> str:
        if not isinstance(value, str) or len(value) > longest or not (value + "x").isprintable():
            raise ValueError(f"text of at most {longest} characters")
        return value.strip()

    return read


def choice(*allowed: str) -> Reader:
    """One of some words."""

    def read(value: object) -> str:
        if not isinstance(value, str) or value.strip().lower() not in allowed:
            raise ValueError(f"one of {', '.join(allowed)}")
        return value.strip().lower()

    return read


def yes_no(value: object) -> bool:
    """``true`` or ``false``; an environment variable may say yes or no."""
    if isinstance(value, bool):
        return value
    word = value.strip().lower() if isinstance(value, str) else ""
    if word in ("true", "yes", "1"):
        return True
    if word in ("false", "no", "0"):
        return False
    raise ValueError("true or false")


def number(least: float, most: float, *, open_ends: bool = False) -> Reader:
    """A number between two bounds, which belong to it unless ``open_ends``."""

    def read(value: object) -> float:
        found = _plain_number(value)
        inside = found is not None and (
            least < found < most if open_ends else least <= found <= most
        )
        if found is None or not inside:
            word = "between" if open_ends else "from"
            joint = "and" if open_ends else "to"
            raise ValueError(f"a number {word} {least:g} {joint} {most:g}")
        return found

    return read


def whole(least: int, most: int) -> Reader:
    """A whole number between two bounds."""

    def read(value: object) -> int:
        found = _plain_number(value)
        if found is None or found != int(found) or not least <= found <= most:
            raise ValueError(f"a whole number from {least} to {most}")
        return int(found)

    return read


def _plain_number(value: object) -> float | None:
    if isinstance(value, bool):
        return None
    if isinstance(value, int | float):
        found = float(value)
    elif isinstance(value, str):
        try:
            found = float(value)
        except ValueError:
            return None
    else:
        return None
    return found if found == found and abs(found) < 1e300 else None


def weekday(value: object) -> str:
    """One day of the week."""
    word = value.strip().lower()[:3] if isinstance(value, str) else ""
    if word not in WEEKDAYS:
        raise ValueError(f"a day of the week ({', '.join(WEEKDAYS)})")
    return word


def weekdays(value: object) -> tuple[str, ...]:
    """Days of the week, as a list or separated by commas; at least one."""
    expected = f"a list of days of the week ({', '.join(WEEKDAYS)})"
    parts = value.split(",") if isinstance(value, str) else value
    if not isinstance(parts, Sequence) or not parts:
        raise ValueError(expected)
    try:
        chosen = parse_weekdays(",".join(str(part) for part in parts))
    except ValueError:
        raise ValueError(expected) from None
    return tuple(WEEKDAYS[place] for place in sorted(chosen))


def days(value: object) -> tuple[date, ...]:
    """Single days and spans, ``2026-12-24`` or ``"2026-12-24..2027-01-02"``."""
    expected = 'a list of days as 2026-12-24, or spans as "2026-12-24..2027-01-02"'
    parts = value.split(",") if isinstance(value, str) else value
    if not isinstance(parts, Sequence):
        raise ValueError(expected)
    found: set[date] = set()
    for part in parts:
        if isinstance(part, date) and not isinstance(part, datetime):
            found.add(part)
            continue
        try:
            first, _, last = str(part).strip().partition("..")
            start = date.fromisoformat(first)
            end = date.fromisoformat(last) if last else start
        except ValueError:
            raise ValueError(expected) from None
        if not 0 <= (end - start).days <= 366:
            raise ValueError("spans of at most a year whose end is not before their start")
        found.update(date.fromordinal(n) for n in range(start.toordinal(), end.toordinal() + 1))
    return tuple(sorted(found))


def country(value: object) -> str:
    """An ISO 3166 country, optionally with a region, as ``DE`` or ``US-CA``; empty for none."""
    if value == "":
        return ""
    word = value.strip().upper() if isinstance(value, str) else ""
    if not re.fullmatch(r"[A-Z]{2}(-[A-Z0-9]{1,3})?", word):
        raise ValueError("a country code as DE or US-CA (ISO 3166), or empty")
    return word


def currency(value: object) -> str:
    """An ISO 4217 code."""
    word = value.strip().upper() if isinstance(value, str) else ""
    if not re.fullmatch(r"[A-Z]{3}", word):
        raise ValueError("a currency code of three letters as EUR (ISO 4217)")
    return word


def character(value: object) -> str:
    """One character, or the word ``tab``; empty for none."""
    if not isinstance(value, str) or (len(value) > 1 and value.lower() != "tab"):
        raise ValueError('one character, "tab", or empty')
    return "\t" if value.lower() == "tab" else value

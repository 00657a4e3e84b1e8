"""Dates of lots and containers: how long each may be used, and how long a blend may.

Days are dates; amounts are integers of thousandths. Nothing here reads a clock.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from fractions import Fraction
from typing import Final

from stock.book.holding import Holding

TRACE_OF_A_BLEND: Final = Fraction(1, 20)
"""A part below this share of a tank does not set the tank's date.

After a top-up the old lot thins out but never quite leaves, and its date would keep the whole tank
expired for good. A twentieth is above what a tank's unusable rest and tubes keep back at every
refill (judgement, no source). Tracing is not affected: it names every lot.
"""


def effective_expiry(
    sealed_expiry: date | None, opened_on: date | None, open_life_days: int | None
) -> date | None:
    """Last day of use: the earlier of the sealed date and opened on + open life.

    Source: a plotter maker's manual (c. 1995) gives min(carton date, opened + open life).

    >>> effective_expiry(date(2027, 5, 1), date(2026, 1, 1), 180)
    datetime.date(2026, 6, 30)
    """
    opened_until = (
        opened_on + timedelta(days=open_life_days)
        if opened_on is not None and open_life_days is not None
        else None
    )
    dates = [day for day in (sealed_expiry, opened_until) if day is not None]
    return min(dates) if dates else None


def mixed_expiry(
    parents: Iterable[date | None], mixed_on: date, mix_life_days: int | None
) -> date | None:
    """Last day of a mix: the earliest of its parents' dates and mixed on + mix life.

    >>> mixed_expiry([date(2027, 5, 1), None], date(2026, 3, 2), 30)
    datetime.date(2026, 4, 1)
    """
    dates = [day for day in parents if day is not None]
    if mix_life_days is not None:
        dates.append(mixed_on + timedelta(days=mix_life_days))
    return min(dates) if dates else None


def blend_date(parts: Iterable[tuple[int, date | None]]) -> date | None:
    """Last day of a blend of (amount, last day): the earliest date among the parts that matter.

    Returns None when no such part has a date, or nothing is there.

    >>> blend_date([(100, date(2026, 1, 1)), (9900, date(2026, 9, 1))])
    datetime.date(2026, 9, 1)
    """
    there = [(amount, day) for amount, day in parts if amount > 0]
    total = sum(amount for amount, _ in there)
    dates = [day for amount, day in there if amount >= TRACE_OF_A_BLEND * total and day is not None]
    return min(dates) if dates else None


def blend_expiry(parts: Iterable[Holding]) -> date | None:
    """Last day of a tank, from what it holds; see :func:`blend_date`."""
    return blend_date(
        (part.amount, None if part.last_day == date.max else part.last_day) for part in parts
    )

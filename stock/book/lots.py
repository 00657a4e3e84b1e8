"""Dates of lots and containers: how long each may be used, and how long a blend may.

Days are dates; amounts are integers of thousandths. Nothing here reads a clock.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from fractions import Fraction
from typing import Final

from stock.book.holding import Holding

TRACE_OF_A_BLEND: Final = Fraction(5, 1000)
"""A part below this share of a tank does not set the tank's date.

After a top-up the old lot thins out but never quite leaves: fifteen half-tank refills later three
thousandths of a per cent are still it, and its date would keep the whole tank expired for good.
Half of one per cent is about what the tubes between tank and head hold (common practice, no
source). Tracing is not affected: it names every lot.
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


def blend_expiry(parts: Iterable[Holding]) -> date | None:
    """Last day of a tank: the earliest date among the parts that matter (see above).

    Returns None when no such part has a date, or nothing is there.
    """
    there = [part for part in parts if part.amount > 0]
    total = sum(part.amount for part in there)
    dates = [
        part.last_day
        for part in there
        if part.amount >= TRACE_OF_A_BLEND * total and part.last_day != date.max
    ]
    return min(dates) if dates else None

"""Which stock counts: unexpired, ours, not in quarantine, and drawn before its date.

Lots are drawn first expired, first out along each path of need; what would be left at a lot's
date is not cover. Amounts are base units, days calendar days from the snapshot's day. Nothing
here orders anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from stock.demand.known import Floats
from stock.plan.needs import Course
from stock.plan.snapshot import StockLot


@dataclass(frozen=True, slots=True)
class CountedLot:
    """A lot that may be drawn: how much of it, and through which day (None: no date)."""

    lot: StockLot
    amount: float
    last_day: int | None


@dataclass(frozen=True, slots=True)
class Shelf:
    """One item's stock, sorted out.

    Args:
        counted: Lots that may be drawn, first expired first, those without a date last.
        left_out: (lot, base units, reason) of what does not count.
        sd: Uncertainty of what is there, one standard deviation.
        unsure: Base units in places whose level is unsure: at most so much may be missing.
    """

    counted: tuple[CountedLot, ...] = ()
    left_out: tuple[tuple[StockLot, float, str], ...] = ()
    sd: float = 0.0
    unsure: float = 0.0

    @property
    def amount(self) -> float:
        """All that may be drawn, before dates are looked at."""
        return sum(lot.amount for lot in self.counted)

    @property
    def value(self) -> float:
        """Its value, minor units."""
        return sum(
            entry.lot.value_minor * entry.amount / entry.lot.amount
            for entry in self.counted
            if entry.lot.amount > 0
        )


def sort_out(stock: Iterable[StockLot], day: date) -> Mapping[str, Shelf]:
    """Each item's stock as of ``day``: what counts, what does not and why."""
    counted: dict[str, list[CountedLot]] = {}
    left_out: dict[str, list[tuple[StockLot, float, str]]] = {}
    variance: dict[str, float] = {}
    doubtful: set[tuple[str, str]] = set()
    for lot in stock:
        if not np.isfinite(lot.amount) or lot.amount <= 0:
            continue
        aside = left_out.setdefault(lot.item, [])
        own = counted.setdefault(lot.item, [])
        expiry = lot.effective_expiry
        if lot.owner:
            aside.append((lot, lot.amount, f"belongs to customer {lot.owner}"))
        elif lot.place_kind == "quarantine":
            aside.append((lot, lot.amount, "in quarantine"))
        elif expiry is not None and expiry < day:
            aside.append((lot, lot.amount, f"expired on {expiry.isoformat()}"))
        else:
            rest = min(max(lot.unusable_rest, 0.0), lot.amount)
            if rest > 0:
                aside.append((lot, rest, "never comes out of the container"))
            last = None if expiry is None else (expiry - day).days
            if lot.amount > rest:
                own.append(CountedLot(lot, lot.amount - rest, last))
            if lot.amount_sd > 0:
                variance[lot.item] = variance.get(lot.item, 0.0) + lot.amount_sd**2
                doubtful.add((lot.item, lot.place))
    return {
        item: Shelf(
            tuple(sorted(lots, key=_first_expired)),
            tuple(left_out[item]),
            variance.get(item, 0.0) ** 0.5,
            sum(entry.amount for entry in lots if (item, entry.lot.place) in doubtful),
        )
        for item, lots in counted.items()
    }


def _first_expired(entry: CountedLot) -> tuple[float, str, str, str]:
    last = float("inf") if entry.last_day is None else float(entry.last_day)
    return (last, entry.lot.lot, entry.lot.place, entry.lot.container)


def left_at_date(course: Course, row: int, shelf: Shelf) -> Floats:
    """What each counted lot with a date has left at the end of that day, shape (lots, paths).

    First expired, first out: by a lot's date everything needed so far went to the lots before
    it, as far as they had it, and then to this one. Lots without a date come last and have none.
    """
    dated = [entry for entry in shelf.counted if entry.last_day is not None]
    left = np.zeros((len(dated), course.paths))
    drawn = np.zeros(course.paths)
    here = np.array([row])
    for place, entry in enumerate(dated):
        assert entry.last_day is not None
        needed = course.through(entry.last_day, here)[0]
        taken = np.clip(needed - drawn, 0.0, entry.amount)
        left[place] = entry.amount - taken
        drawn += taken
    return left

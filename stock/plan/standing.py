"""Where each item stands before anything is ordered: what counts, what comes, when it runs out.

One :class:`Standing` per item and the offer it would be bought from. Amounts are base units, days
calendar days from the snapshot's day, chances read off the joint paths. Nothing here orders.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from stock.demand.known import Floats, ItemTerms
from stock.plan.amount import Choice, Judge
from stock.plan.cover import CountedLot, Shelf
from stock.plan.decisions import NeedParts
from stock.plan.due import Due
from stock.plan.lead_time import Ints, order_day
from stock.plan.needs import Course
from stock.plan.snapshot import Offer, Snapshot
from stock.plan.timing import Timing


@dataclass(frozen=True, eq=False)
class Best:
    """The offer an item would be bought from.

    Args:
        choice: Packs to buy now; None while the position is at or above the level.
        order_by: Last day on which ordering still keeps the promised service.
        compared: Every offer with its expected cost per week, the one taken first.
        rest_of_pack: Share of a pack expected to outlast its life once opened.
        lingers: How many times over holding counts, need being uneven.
    """

    offer: Offer
    timing: Timing
    judge: Judge
    choice: Choice | None
    order_by: date
    compared: tuple[tuple[Offer, float], ...]
    rest_of_pack: float = 0.0
    lingers: float = 1.0

    @property
    def packs(self) -> int:
        """Packs to buy now, 0 for none."""
        return self.choice.packs if self.choice is not None else 0


@dataclass(frozen=True, eq=False)
class Standing:
    """One item, before ordering.

    Args:
        lost: (lot, expected rest at its date) of lots that expire within the protection interval.
        usable: Stock that counts: all unexpired less what is lost.
        due: Open purchase lines.
        need, need_mean: Expected need over the protection interval, by part and in all.
        runs_out: First day without stock if nothing is ordered, per path; the horizon if never.
        runs_dry_before_delivery: Chance of running out before an order placed now is here.
    """

    item: ItemTerms
    shelf: Shelf
    lost: tuple[tuple[CountedLot, float], ...]
    usable: float
    due: tuple[Due, ...]
    on_order: float
    need: NeedParts
    protection_days: float
    stockout_chance: float
    runs_dry_before_delivery: float
    cover_days: float
    bands: tuple[Floats, ...]
    best: Best | None = None

    @property
    def position(self) -> float:
        """Usable stock and what is on order."""
        return self.usable + self.on_order


def first_day_short(
    course: Course, row: int, shelf: Shelf, left: Floats, due: Sequence[Due]
) -> tuple[Ints, Floats]:
    """First day each path runs out if nothing is ordered, and the running need net of deliveries.

    What expires unused leaves the stock on the day after its date; deliveries come in the morning.
    """
    drained = course.total[row]
    dated = [entry for entry in shelf.counted if entry.last_day is not None]
    gone = [place for place, entry in enumerate(dated) if (entry.last_day or 0) + 1 < course.days]
    if due or (len(gone) and left[gone].any()):
        drained = drained.astype(np.float32)
        steps = np.zeros((course.paths, course.days + 1), np.float32)
        each = np.arange(course.paths)
        for place in gone:
            day = dated[place].last_day
            assert day is not None
            steps[:, day + 1] += left[place]
        for line in due:
            steps[each, np.minimum(line.days, course.days)] -= line.line.amount
        drained += np.cumsum(steps[:, :-1], axis=1)
    over = drained > np.float32(shelf.amount * (1 + 1e-6) + 1e-9)
    first = np.where(over.any(axis=1), np.argmax(over, axis=1), course.days)
    return first, drained


def latest_order_day(
    snapshot: Snapshot, timing: Timing, runs_out: Ints, service: float, days: int
) -> date:
    """Last day on which ``timing``'s supplier takes an order that still keeps ``service``.

    An order that goes out a day later comes a day later. When even today's is too late it is
    today's.
    """
    slack = np.where(runs_out >= days, days, runs_out - timing.arrive)
    place = int(np.floor((1 - service) * len(slack)))
    place = min(place, len(slack) - 1)
    spare = int(np.partition(slack, place)[place])
    first = snapshot.day + timedelta(days=timing.order_offset)
    best = first
    ahead = first + timedelta(days=1)
    while (ahead - first).days <= min(max(spare, 0), days):
        try:
            ahead = order_day(timing.supplier, ahead)
        except ValueError:
            break
        if (ahead - first).days > spare:
            break
        best = ahead
        ahead += timedelta(days=1)
    return best


def weekly_bands(course: Course, row: int, stock: float, drained: Floats) -> tuple[Floats, ...]:
    """Stock and need by week: low, middle and high of each (chance .1, .5, .9), (weeks,) each."""
    ends = np.arange(6, course.days, 7)
    places = [int(level * (course.paths - 1)) for level in (0.1, 0.5, 0.9)]
    through = np.ascontiguousarray(course.total[row][:, ends].T)
    weekly = through.copy()
    weekly[1:] -= through[:-1]
    left = np.sort(np.float32(stock) - drained[:, ends].T, axis=1)
    weekly.sort(axis=1)
    stock_bands = tuple(np.maximum(left[:, place].astype(float), 0.0) for place in places)
    return stock_bands + tuple(weekly[:, place].astype(float) for place in places)


def parts_of_need(
    known: tuple[Floats, Floats, Floats], until: Ints, total_mean: float
) -> NeedParts:
    """Split the mean need until each path's day ``until`` (not included) by where it comes from."""
    sums = []
    for daily in known:
        added = np.concatenate([[0.0], np.cumsum(daily)])
        sums.append(float(added[np.minimum(until, len(daily))].mean()))
    firm, quotes, upkeep = sums
    return NeedParts(firm, quotes, max(total_mean - firm - quotes - upkeep, 0.0), upkeep)

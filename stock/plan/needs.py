"""The planner's view of need: joint daily paths, added up, and read at any day.

Amounts are base units; day 0 is the snapshot's day and "through day t" includes it. Paths reach a
horizon; what lies beyond is carried on from their later half. Nothing here knows stock.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Protocol

import numpy as np
import numpy.typing as npt

from stock.demand.known import Floats, ItemTerms
from stock.plan.snapshot import Snapshot

if TYPE_CHECKING:
    from stock.demand.paths import NeedPaths

Paths = npt.NDArray[np.float32]
Days = int | npt.NDArray[np.int64]

LONGEST_WEEKS = 52


class Needs(Protocol):
    """What a source of joint need paths must answer; the demand package's does."""

    @property
    def items(self) -> tuple[ItemTerms, ...]:
        """Items, the rows."""

    @property
    def n_paths(self) -> int:
        """Number of joint paths."""

    @property
    def horizon_weeks(self) -> int:
        """Weeks the paths reach."""

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences about what could not be known."""

    def row(self, sku: str) -> int:
        """Row of item ``sku``."""

    def daily(self, rows: Iterable[int]) -> Paths:
        """Need per day, shape (rows, paths, 7 × weeks)."""

    def known_parts(self, row: int) -> tuple[Floats, Floats, Floats]:
        """Expected need per day from orders, from quotes and by upkeep, each (7 × weeks,)."""

    def kind(self, row: int) -> str:
        """Class of demand (:mod:`stock.demand.classes`); ``none`` where there is no telling."""


def paths_of(snapshot: Snapshot, weeks: int) -> NeedPaths:
    """The joint need paths of a snapshot, from the demand package."""
    from stock.demand.paths import need_paths

    settings = snapshot.settings
    return need_paths(
        snapshot.items,
        snapshot.order_lines,
        snapshot.past_lines,
        snapshot.misprints,
        snapshot.history,
        snapshot.links,
        snapshot.upkeep,
        day=snapshot.day,
        horizon_weeks=weeks,
        n_paths=settings.paths,
        seed=settings.seed,
        weekdays=settings.weekdays,
        closed=settings.closed,
        peak_factor=settings.peak_factor,
        misprint_prior=settings.misprint_prior,
        autoets=settings.blend_autoets,
    )


class DemandNeeds:
    """The demand package's paths, with the expected parts day by day."""

    def __init__(self, snapshot: Snapshot, horizon_weeks: int) -> None:
        settings = snapshot.settings
        self._paths = paths_of(snapshot, horizon_weeks)
        self.items = snapshot.items
        self.n_paths = settings.paths
        self.horizon_weeks = horizon_weeks
        self.notes = self._paths.notes
        self._rooms: dict[bool, Paths] = {}

    def row(self, sku: str) -> int:
        """Row of item ``sku``."""
        return self._paths.row(sku)

    def daily(self, rows: Iterable[int]) -> Paths:
        """Need per day, shape (rows, paths, days)."""
        return self._paths.daily(rows)

    def added_up(self, rows: Iterable[int], *, usual: bool = False) -> Paths:
        """Need through the end of each day, shape (rows, paths, days).

        With ``usual`` as if nothing were on the book. Each of the two lies in the memory of the
        last one asked for: fresh memory costs as much as the drawing.
        """
        chosen = list(rows)
        room = self._rooms.get(usual)
        if room is None or len(room) < len(chosen):
            room = np.empty((len(chosen), self.n_paths, 7 * self.horizon_weeks), np.float32)
            self._rooms[usual] = room
        return self._paths.cumulative(chosen, room, usual=usual)

    def booked(self, row: int) -> bool:
        """Whether orders on the book make the item's need differ from the usual."""
        return self._paths.booked(row)

    def known_parts(self, row: int) -> tuple[Floats, Floats, Floats]:
        """Expected need per day from orders, from quotes and by upkeep."""
        need = self._paths.need
        upkeep = np.repeat(self._paths.upkeep[row] / 7, 7)
        return need.firm_mean[row], need.quote_mean[row], upkeep

    def kind(self, row: int) -> str:
        """Class of demand of the series that drives the item."""
        return self._paths.classes[row]


class Course:
    """Need of a few items added up along each path.

    Args:
        total: Need through the end of each day, shape (rows, paths, days).
    """

    def __init__(self, total: Paths) -> None:
        self.total = total
        self.rows, self.paths, self.days = self.total.shape
        self._each = np.arange(self.paths)
        self._tail: tuple[Floats, Floats, Floats] | None = None

    def through(self, days: Days, rows: npt.NDArray[np.int64] | None = None) -> Floats:
        """Need through the end of ``days`` (one for all paths or one each), shape (rows, paths).

        A negative day gives 0.
        """
        chosen = np.arange(self.rows) if rows is None else rows
        if isinstance(days, int) and 0 <= days < self.days:
            return np.asarray(self.total[:, :, days][chosen], float)
        when = np.broadcast_to(np.asarray(days, np.int64), (self.paths,))
        inside = np.clip(when, 0, self.days - 1)
        found = self.total[chosen[:, None], self._each, inside].astype(float)
        if (when < 0).any():
            found[:, when < 0] = 0.0
        beyond = np.maximum(when - (self.days - 1), 0)
        if beyond.any():
            found += self._beyond(chosen, beyond)
        return found

    def _beyond(self, chosen: npt.NDArray[np.int64], beyond: npt.NDArray[np.int64]) -> Floats:
        """What is needed in so many days past the horizon.

        The later half of the horizon is repeated: its mean, the part of each path's departure
        that lasts (the correlation of the two halves), and chance for the rest.
        """
        if self._tail is None:
            half = self.days // 2
            first = self.total[:, :, half - 1].astype(float)
            second = self.total[:, :, -1].astype(float) - first
            mean = second.mean(axis=1, keepdims=True)
            strays = second - mean
            other = first - first.mean(axis=1, keepdims=True)
            spread = np.sqrt((strays**2).mean(axis=1) * (other**2).mean(axis=1))
            joint = (strays * other).mean(axis=1)
            lasting = np.divide(joint, spread, out=np.zeros_like(joint), where=spread > 0)
            self._tail = mean, strays, np.clip(lasting, 0.0, 1.0)[:, None]
        mean, strays, lasting = (part[chosen] for part in self._tail)
        blocks = beyond / (self.days - self.days // 2)
        chance = np.roll(strays, 1, axis=1) * np.sqrt((1 - lasting**2) * blocks)
        return np.asarray(np.maximum((mean + lasting * strays) * blocks + chance, 0.0))


def course_of(needs: Needs, rows: Iterable[int]) -> Course:
    """The course of some rows; it holds until the next one is asked for."""
    if isinstance(needs, DemandNeeds):
        return Course(needs.added_up(rows))
    daily = needs.daily(rows)
    return Course(np.cumsum(daily, axis=2, out=daily))


def usual_course_of(needs: Needs, rows: Iterable[int], course: Course) -> Course:
    """The course of ``rows`` in weeks as they usually are, with nothing on the book yet.

    What is bought beyond the next delivery serves such weeks: today's orders are not repeated.
    Given paths know no book and are taken for usual.
    """
    chosen = list(rows)
    if not isinstance(needs, DemandNeeds) or not any(needs.booked(row) for row in chosen):
        return course
    return Course(needs.added_up(chosen, usual=True))


def horizon_for(snapshot: Snapshot, longest_lead_days: float) -> int:
    """Weeks the paths must reach: the shop's setting, or two reviews past the longest lead time."""
    days = longest_lead_days + 2 * snapshot.settings.review_days
    return min(max(snapshot.settings.horizon_weeks, int(np.ceil(days / 7)) + 1), LONGEST_WEEKS)

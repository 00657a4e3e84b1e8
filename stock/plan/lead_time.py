"""How long a supplier takes: from the stated lead time and its own past, in working days.

A lead time is counted in working days of the supplier, from the day the order is taken (next
order day, cut-off and closures respected) to the day the goods are on the shelf (a day the shop
works). What is returned are weighted values, a distribution; days and offsets are calendar days
from the snapshot's day, 0 being that day. Nothing here looks at demand or stock.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from stock.clock import WorkCalendar
from stock.demand.draws import stream
from stock.demand.known import Floats
from stock.plan.snapshot import OnOrder, PlanSettings, SupplierTerms

Ints = npt.NDArray[np.int64]

STATED_WEIGHT = 4.0
"""Past deliveries the stated lead time weighs as much as (judgement: a month of weekly orders)."""
HALF_LIFE_DAYS = 365.0
"""A delivery a year ago says half as much as one today (judgement)."""
STATED_SPREAD = 0.4
"""Spread as a share of the stated lead time where a supplier states none. In 68 vendors' purchase
lines (USAID Supply Chain Shipment Pricing Data) most lie between 0.35 and 0.7; a promised day
takes some of that away (judgement)."""
KERNEL = 9
"""Points each past lead time is spread over, so that a short past does not hide a long tail."""
OVERTAKEN_WEIGHT = 1.0
"""Overtakings that must be seen over the expected ones before they are believed (judgement)."""
REACH_DAYS = 800
"""How far calendars are laid out; longer lead times are cut there."""
_LEVELS = (np.arange(64) + 0.5) / 64


@dataclass(frozen=True, eq=False)
class LeadTime:
    """Distribution of one supplier's lead time.

    Args:
        supplier: Code.
        working_days: Possible lead times, ascending, shape (k,).
        weights: Their probabilities, shape (k,), summing to 1.
        seen: Distinct past deliveries behind it.
        stated: Stated lead time, working days.
        share_in_full: Received over ordered in the past, 1 where there is no past.
        overtaking: How far later orders come before earlier ones, 0 (they keep their turn) to 1
            (each takes its own time).
    """

    supplier: str
    working_days: Floats
    weights: Floats
    seen: int
    stated: float
    share_in_full: float = 1.0
    overtaking: float = 0.0

    @property
    def mean(self) -> float:
        """Mean lead time, working days."""
        return float(self.working_days @ self.weights)

    @property
    def sd(self) -> float:
        """Standard deviation, working days."""
        return float(np.sqrt(np.maximum((self.working_days - self.mean) ** 2 @ self.weights, 0)))

    def quantile(self, level: Floats) -> Floats:
        """Lead time at ``level`` (0–1), working days; not decreasing in ``level``."""
        reached = np.cumsum(self.weights)
        place = np.searchsorted(reached, np.asarray(level) * reached[-1], side="left")
        return np.asarray(self.working_days[np.minimum(place, len(reached) - 1)])

    def share_within(self, days: float) -> float:
        """Chance that the lead time is at most ``days`` working days."""
        return float(self.weights[self.working_days <= days].sum())


def supplier_calendar(supplier: SupplierTerms) -> WorkCalendar:
    """Monday to Friday and the supplier's order days, less its closures."""
    return WorkCalendar(frozenset(range(5)) | supplier.order_days, supplier.closed)


def order_day(supplier: SupplierTerms, day: date, hour: int = 0) -> date:
    """First day on or after ``day`` on which ``supplier`` takes an order.

    Raises:
        ValueError: When there is none within a year.

    >>> order_day(SupplierTerms("S", order_days=frozenset({3})), date(2026, 1, 5))
    datetime.date(2026, 1, 8)
    """
    first = day
    if supplier.cut_off_hour is not None and hour >= supplier.cut_off_hour:
        first = day + timedelta(days=1)
    for ahead in range(366):
        candidate = first + timedelta(days=ahead)
        if candidate.weekday() in supplier.order_days and candidate not in supplier.closed:
            return candidate
    raise ValueError(f"supplier {supplier.code} takes no order within a year of {day}")


def working_days_between(calendar: WorkCalendar, start: date, end: date) -> int:
    """Working days after ``start`` up to and including ``end``; negative when ``end`` is before.

    >>> working_days_between(WorkCalendar(), date(2026, 1, 2), date(2026, 1, 6))
    2
    """
    if end < start:
        return -working_days_between(calendar, end, start)
    days = np.arange(np.datetime64(start, "D") + 1, np.datetime64(end, "D") + 1)
    return int(_worked(days, calendar).sum())


def lead_time_of(supplier: SupplierTerms, day: date) -> LeadTime:
    """The supplier's lead time: its past deliveries, shrunk towards what it states.

    Deliveries of one order on one day are one observation; a delivery before its order is dirt
    and left out. With n observations (older ones count less) the past weighs n / (n + 4).
    """
    calendar = supplier_calendar(supplier)
    seen: dict[tuple[date, date], tuple[float, float]] = {}
    ordered = received = 0.0
    for placed_on, came_on, asked, came in supplier.lead_history:
        if came_on < placed_on or came_on > day:
            continue
        key = (placed_on, came_on)
        age = 0.5 ** ((day - came_on).days / HALF_LIFE_DAYS)
        weight = min(1.0, came / asked) if asked > 0 else 1.0
        old = seen.get(key, (0.0, 0.0))
        seen[key] = (0.0, max(old[1], age * max(weight, 0.05)))
        ordered += max(asked, 0.0)
        received += min(max(came, 0.0), max(asked, 0.0))
    values, weights = _stated_levels(supplier.lead_days, supplier.lead_sd_days)
    weight_seen = sum(weight for _, weight in seen.values())
    if weight_seen > 0:
        past = np.array(
            [
                max(0, working_days_between(calendar, _taken(supplier, placed), came))
                for placed, came in seen
            ],
            float,
        )
        past_weights = np.array([weight for _, weight in seen.values()]) / weight_seen
        share = weight_seen / (weight_seen + STATED_WEIGHT)
        past, past_weights = _smoothed(past, past_weights, weight_seen)
        values = np.concatenate([values, past])
        weights = np.concatenate([weights * (1 - share), past_weights * share])
    ranked = np.argsort(values, kind="stable")
    return LeadTime(
        supplier.code,
        values[ranked],
        weights[ranked] / weights.sum(),
        len(seen),
        supplier.lead_days,
        received / ordered if ordered > 0 else 1.0,
        _overtaking(list(seen)),
    )


def _overtaking(seen: Sequence[tuple[date, date]]) -> float:
    """How far deliveries overtake each other, against what lead times of their own would do.

    Of two orders in a row, the later one overtakes when it comes first. With lead times shuffled
    among the orders the expected number of that follows; ``OVERTAKEN_WEIGHT`` more expected
    ones without any keep a short past from proving it.
    """
    orders = sorted(dict(sorted(seen, reverse=True)).items())
    if len(orders) < 3:
        return 0.0
    placed = np.array([day.toordinal() for day, _ in orders])
    lead = np.array([came.toordinal() for _, came in orders]) - placed
    gaps = np.diff(placed)
    happened = int((np.diff(placed + lead) < 0).sum())
    ranked = np.sort(lead)
    shorter_by = [np.searchsorted(ranked, ranked - gap, side="left").mean() for gap in gaps]
    expected = float(np.sum(shorter_by)) / len(ranked)
    return min(1.0, happened / (expected + OVERTAKEN_WEIGHT))


def _smoothed(past: Floats, weights: Floats, seen: float) -> tuple[Floats, Floats]:
    """Each past lead time spread over a lognormal kernel; mean and spread are kept.

    Bandwidth half of the normal reference rule σ n^(−1/5) on the logarithm (B. W. Silverman,
    Density Estimation, 1986, section 3.4.2: smaller for skewed and many-humped data), σ shrunk
    towards the usual spread while the past is short; drawn in so that the variance stays.
    """
    logs = np.log(np.maximum(past, 0.5))
    centre = float(weights @ logs)
    usual = math.log1p(STATED_SPREAD**2)
    variance = (STATED_WEIGHT * usual + seen * float(weights @ (logs - centre) ** 2)) / (
        STATED_WEIGHT + seen
    )
    width = 0.5 * math.sqrt(variance) * max(seen, 1.0) ** -0.2
    normal = NormalDist()
    places = np.array([normal.inv_cdf((k + 0.5) / KERNEL) for k in range(KERNEL)])
    drawn_in = math.sqrt(variance / (variance + width**2))
    spread = np.exp(centre + (logs - centre)[:, None] * drawn_in + width * drawn_in * places)
    spread *= float(weights @ past) / float(weights @ spread.mean(axis=1))
    return spread.ravel(), np.repeat(weights / KERNEL, KERNEL)


def slipped(lead: LeadTime, days: float) -> LeadTime:
    """The same lead time, ``days`` working days longer (never below 0)."""
    return replace(lead, working_days=np.maximum(lead.working_days + days, 0.0))


def _taken(supplier: SupplierTerms, placed: date) -> date:
    try:
        return order_day(supplier, placed)
    except ValueError:
        return placed


@lru_cache(maxsize=256)
def _stated_levels(mean: float, sd: float) -> tuple[Floats, Floats]:
    """A lognormal distribution with this mean and spread, as 64 equally likely values."""
    mean = max(mean, 0.0)
    weights = np.full(len(_LEVELS), 1 / len(_LEVELS))
    if mean == 0:
        return np.zeros(len(_LEVELS)), weights
    spread = sd if sd > 0 else STATED_SPREAD * mean
    log_variance = math.log1p((spread / mean) ** 2)
    normal = NormalDist(math.log(mean) - log_variance / 2, math.sqrt(log_variance))
    values = np.exp([normal.inv_cdf(float(level)) for level in _LEVELS])
    return values * (mean / values.mean()), weights


def _worked(days: npt.NDArray[np.datetime64], calendar: WorkCalendar) -> npt.NDArray[np.bool_]:
    weekday = (days.astype("datetime64[D]").astype(np.int64) + 3) % 7
    worked = np.isin(weekday, sorted(calendar.weekdays))
    if calendar.closed:
        worked &= ~np.isin(days, np.array(sorted(calendar.closed), "datetime64[D]"))
    return worked


class Arrivals:
    """Turns lead times in working days into arrival offsets, calendar days from ``day``.

    One is made for each supplier and snapshot day; ``after(start)`` gives the function for orders
    taken ``start`` calendar days from ``day``.
    """

    def __init__(self, supplier: SupplierTerms, settings: PlanSettings, day: date) -> None:
        days = np.datetime64(day, "D") + np.arange(REACH_DAYS)
        self._offsets = np.flatnonzero(_worked(days, supplier_calendar(supplier)))
        shop = _worked(days, WorkCalendar(settings.weekdays, settings.closed))
        open_days = np.flatnonzero(shop) if shop.any() else np.arange(REACH_DAYS)
        place = np.searchsorted(open_days, np.arange(REACH_DAYS))
        self._shelf = open_days[np.minimum(place, len(open_days) - 1)]

    def after(self, start: int) -> Callable[[Floats], Ints]:
        """Arrival offset of an order taken at offset ``start``, for lead times in working days."""
        later = self._offsets[self._offsets > start]

        def arrive(working_days: Floats) -> Ints:
            count = np.rint(np.maximum(working_days, 0)).astype(np.int64)
            offset = np.where(
                count == 0, start, later[np.clip(count - 1, 0, max(len(later) - 1, 0))]
            )
            return np.asarray(self._shelf[np.clip(offset, 0, REACH_DAYS - 1)])

        return arrive


def due_offsets(line: OnOrder, lead: LeadTime, arrivals: Arrivals, day: date, u: Floats) -> Ints:
    """When an open purchase line comes, calendar days from ``day``, one value per level ``u``.

    A promise still ahead is moved by how far this supplier strays from its own median; a line
    without one, or past it, waits out what remains of the lead time given that it has not come
    yet. Nothing comes before tomorrow: what is here would be booked.
    """
    median = float(lead.quantile(np.array([0.5]))[0])
    if line.promised_on is not None and line.promised_on >= day:
        promised = (line.promised_on - day).days
        strays = lead.quantile(u) - median
        moved = promised + np.rint(strays * 7 / 5).astype(np.int64)
        return np.clip(moved, 1, REACH_DAYS - 1)
    waited = (day - line.ordered_on).days * 5 / 7
    gone = lead.share_within(waited)
    if gone >= 1 - 1e-9:
        remaining = 1.0 + np.maximum(0.25 * waited, 1.0) * -np.log1p(-np.minimum(u, 0.999))
    else:
        remaining = np.maximum(lead.quantile(gone + u * (1 - gone)) - waited, 1.0)
    return np.maximum(arrivals.after(0)(remaining), 1)


def levels(count: int, seed: int, *name: object) -> Floats:
    """``count`` stratified levels in (0, 1), shuffled: one per path, the same for a name."""
    rng = stream(seed, "lead time", *name)
    return np.asarray((rng.permutation(count) + rng.random(count)) / count)

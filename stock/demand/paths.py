"""Joint paths of what every item will need, week by week and day by day.

Amounts are float32 in each item's base unit. Day 0 is the planning day; week k is the seven days
from day 7 (k − 1), whatever weekday the planning day is. A path of an item is the sum of

* its order lines, each printed or not (cancellation, quotes won or lost), with misprints, at the
  item's rate, which is wrong by the same amount in all lines of a path;
* what is not on the book yet: in each week, pick-up (the week's forecast thinned to the orders
  still to be placed) blended with the plain forecast less what is on the book. Nothing on the
  book is counted twice, and one more firm order never lowers what a path needs in any week (within
  a week it moves need to its own day; a service by schedule may move with it by some days);
* upkeep per calendar day; supplies used by schedule on the days they fall due.

The same seed gives the same bytes, whatever rows are asked for and in whatever chunks. Items
driven by one series share its paths; others are drawn independently.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from stock.clock import WorkCalendar
from stock.demand.chances import (
    MISPRINT_PRIOR,
    cancel_hazard,
    misprint_rates,
    win_rates,
)
from stock.demand.draws import stream
from stock.demand.drivers import Drive, drivers
from stock.demand.explode import FirmNeed, explode
from stock.demand.forecast import Forecast, forecast
from stock.demand.known import (
    Floats,
    History,
    ItemTerms,
    Link,
    MisprintRecord,
    OrderLine,
    PastOrderLine,
    Upkeep,
)
from stock.demand.on_book import OnBook
from stock.demand.pickup import Pickup, learn_pickup
from stock.demand.schedule import services_per_day
from stock.demand.season import Season
from stock.demand.unbooked import Unbooked

Paths = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class NeedPaths:
    """What every item will need, as joint paths drawn when asked for.

    Args:
        items: The items; rows of every array below.
        day: The planning day, day 0.
        horizon_weeks, n_paths, seed: As asked for.
        firm, quotes, upkeep: Expected need per week, shape (items, H); schedule-driven supplies
            count as upkeep.
        need: Order lines exploded, by day.
        forecast: Forecast of the driving series.
        pickup: What was learnt about orders still to come, in pieces.
        classes, models: Demand class and how it was forecast, per item.
        notes: Sentences for the person: what could not be known.
    """

    items: tuple[ItemTerms, ...]
    day: date
    horizon_weeks: int
    n_paths: int
    seed: int
    firm: Floats
    quotes: Floats
    upkeep: Floats
    need: FirmNeed
    forecast: Forecast
    pickup: Pickup
    classes: tuple[str, ...]
    models: tuple[str, ...]
    notes: tuple[str, ...]
    _on_book: OnBook = field(repr=False)
    _to_come: Unbooked = field(repr=False)
    _upkeep_of: Mapping[int, tuple[Upkeep, ...]] = field(repr=False)
    _prints: tuple[int, ...] = field(repr=False)
    _profile: Floats = field(repr=False)
    _unbooked: Floats = field(repr=False)
    _kept: dict[str, Paths] = field(default_factory=dict, repr=False)
    _rows: dict[str, int] = field(default_factory=dict, repr=False)

    def row(self, sku: str) -> int:
        """Position of item ``sku``; raises ``KeyError`` when there is none."""
        if not self._rows:
            self._rows.update({item.sku: row for row, item in enumerate(self.items)})
        return self._rows[sku]

    @property
    def unbooked(self) -> Floats:
        """Expected need not on the book yet, per week, shape (items, H): the mean over the paths.

        Rows are filled when their paths are first drawn; asking for the whole draws the rest.
        """
        missing = np.flatnonzero(np.isnan(self._unbooked[:, 0]))
        for start in range(0, len(missing), 64):
            self.chunk(missing[start : start + 64].tolist())
        return self._unbooked

    @property
    def mean(self) -> Floats:
        """Expected need per week, all parts together, shape (items, H)."""
        return self.firm + self.quotes + self.unbooked + self.upkeep

    def chunk(self, rows: Iterable[int], out: Paths | None = None) -> Paths:
        """Need per week of these items, shape (rows, n_paths, H).

        Args:
            out: float32 (at least as many rows, n_paths, H) to draw into; fresh memory costs more
                than the drawing.
        """
        chosen = list(rows)
        weeks = self.horizon_weeks
        drawn = self._room(len(chosen), weeks, out)
        weekly = self._profile.reshape(weeks, weeks, 7).sum(axis=2).astype(np.float32)
        for place, row in enumerate(chosen):
            on_book, to_come = self._parts_of(row)
            if to_come is None:
                drawn[place] = 0
            else:
                np.matmul(to_come.T, weekly, out=drawn[place])
            for day, need in on_book.items():
                drawn[place, :, day // 7] += need
            for part in self._upkeep_rates(row):
                drawn[place] += 7 * part[:, None]
            if self._scheduled(row):
                drawn[place] += self._services(row).reshape(self.n_paths, weeks, 7).sum(axis=2)
        return drawn

    def daily(self, rows: Iterable[int], out: Paths | None = None) -> Paths:
        """Need per day of these items, shape (rows, n_paths, 7 H).

        Order lines fall on their own day, upkeep on every calendar day, what is not on the book
        yet in equal parts on the working days of its week (in a week without one, on the next
        working day). Sums over seven days equal :meth:`chunk` to rounding.

        Args:
            out: float32 (at least as many rows, n_paths, 7 H) to draw into; fresh memory costs
                more than the drawing.
        """
        return self._days(list(rows), self._profile, out, added_up=False)

    def cumulative(
        self, rows: Iterable[int], out: Paths | None = None, *, usual: bool = False
    ) -> Paths:
        """Need through the end of each day, shape (rows, n_paths, 7 H): :meth:`daily` added up.

        Cheaper than adding :meth:`daily` up; ``out`` as there. With ``usual`` the plain forecast
        and upkeep, as if nothing were on the book: what weeks are like in the long run.
        """
        profile = np.cumsum(self._profile, axis=1)
        return self._days(list(rows), profile, out, added_up=True, usual=usual)

    def booked(self, row: int) -> bool:
        """Whether what is on the book makes the item's paths differ from the usual ones."""
        on_book = bool(self.firm[row].any() or self.quotes[row].any())
        return on_book or (self.pickup.usable and self.classes[row] != "none")

    def chunks(self, size: int = 64) -> Iterator[tuple[range, Paths]]:
        """All items in turn, ``size`` rows at a time: (rows, weekly paths).

        Each array lies in the same memory as the one before.
        """
        room = self._room(min(size, len(self.items)), self.horizon_weeks, None)
        for start in range(0, len(self.items), size):
            rows = range(start, min(start + size, len(self.items)))
            yield rows, self.chunk(rows, room)

    def _room(self, rows: int, width: int, out: Paths | None) -> Paths:
        if out is None:
            return np.empty((rows, self.n_paths, width), np.float32)
        return out[:rows]

    def _days(
        self,
        rows: list[int],
        profile: Floats,
        out: Paths | None,
        *,
        added_up: bool,
        usual: bool = False,
    ) -> Paths:
        days = 7 * self.horizon_weeks
        drawn = self._room(len(rows), days, out)
        spread = profile.astype(np.float32)
        passed = np.arange(1, days + 1, dtype=np.float32) if added_up else np.float32(1)
        for place, row in enumerate(rows):
            on_book, to_come = ({}, self._to_come.total(row)) if usual else self._parts_of(row)
            if to_come is None:
                drawn[place] = 0
            else:
                np.matmul(to_come.T, spread, out=drawn[place])
            if on_book and added_up:
                drawn[place] += self._added_up(on_book)
            elif on_book:
                for day, need in on_book.items():
                    drawn[place, :, day] += need
            for part in self._upkeep_rates(row):
                drawn[place] += part[:, None] * passed
            if self._scheduled(row):
                services = self._services(row)
                drawn[place] += np.cumsum(services, axis=1) if added_up else services
        return drawn

    def _added_up(self, on_book: Mapping[int, Paths]) -> Paths:
        """Need of the days added up, shape (paths, days)."""
        total = np.zeros((7 * self.horizon_weeks, self.n_paths), np.float32)
        for day, need in on_book.items():
            total[day] = need
        return np.cumsum(total, axis=0, out=total).T

    def _parts_of(self, row: int) -> tuple[dict[int, Paths], Paths | None]:
        """Need on the book by day, and need still to come by week; fills the means."""
        on_book = self._on_book.by_day(row, lambda: self._to_come.rate_error(row))
        weekly: Paths | None = None
        if on_book:
            weekly = np.zeros((self.horizon_weeks, self.n_paths), np.float32)
            for day, need in on_book.items():
                weekly[day // 7] += need
        to_come = self._to_come.paths(row, weekly)
        self._unbooked[row] = 0.0 if to_come is None else to_come.mean(axis=1, dtype=np.float64)
        return on_book, to_come

    def _upkeep_rates(self, row: int) -> Iterator[Paths]:
        """Loss per calendar day in each path, one for each cause."""
        for loss in self._upkeep_of.get(row, ()):
            draws = stream(self.seed, "upkeep", loss.item, loss.printer).standard_normal(
                self.n_paths, dtype=np.float32
            )
            yield np.maximum(loss.per_day + loss.per_day_sd * draws, 0).astype(np.float32)

    def _scheduled(self, row: int) -> bool:
        return bool(self.items[row].every_prints or self.items[row].every_days)

    def _services(self, row: int) -> Paths:
        """What schedule asks for on each day, shape (paths, days)."""
        item = self.items[row]
        services = services_per_day(item, self._prints_per_day(), self.day)
        return np.asarray(services * np.float32(item.amount_per_service), np.float32)

    def _prints_per_day(self) -> Paths:
        if "prints" not in self._kept:
            booked = self._on_book.prints_by_day()
            weekly = np.zeros((self.horizon_weeks, self.n_paths), np.float32)
            for series in self._prints:
                weekly += self._to_come.series(series)
            known = booked.reshape(self.n_paths, self.horizon_weeks, 7).sum(axis=2).T
            rest = np.maximum(weekly - known, 0).T @ self._profile.astype(np.float32)
            self._kept["prints"] = np.asarray(booked + rest, np.float32)
        return self._kept["prints"]


def need_paths(
    items: Sequence[ItemTerms],
    order_lines: Sequence[OrderLine] = (),
    past_lines: Sequence[PastOrderLine] = (),
    misprints: Sequence[MisprintRecord] = (),
    history: History | None = None,
    links: Sequence[Link] = (),
    upkeep: Sequence[Upkeep] = (),
    *,
    day: date,
    horizon_weeks: int = 12,
    n_paths: int = 2000,
    seed: int = 20_260_105,
    weekdays: frozenset[int] = frozenset(range(5)),
    closed: frozenset[date] = frozenset(),
    peak_factor: Season = (),
    misprint_prior: tuple[float, float] = MISPRINT_PRIOR,
    autoets: bool = False,
) -> NeedPaths:
    """What every item will need over the horizon, ready to draw from.

    Args:
        items: The rows.
        order_lines: Lines not yet printed or cancelled.
        past_lines: Lines of the past, for win rates, cancellations and pick-up.
        misprints: The shop's record by location.
        history: Weekly use of items and drivers up to the week before ``day``.
        links: What drives which item; see :func:`stock.demand.drivers.drivers`.
        upkeep: Loss per calendar day.
        day: The planning day.
        weekdays, closed: When the shop prints.
        peak_factor: Demand multiplier by month.
    """
    if history is None:
        none = np.zeros((0, 0))
        history = History((), np.array([], "datetime64[D]"), none, none.astype(bool))
    past = list(past_lines)
    days = 7 * horizon_weeks
    need = explode(
        order_lines,
        items,
        day=day,
        horizon_days=days,
        misprints=misprint_rates(misprints, misprint_prior),
        wins=win_rates(past),
        hazard=cancel_hazard(past),
    )
    series, drives = drivers(items, history, links)
    prints = [key for key in history.keys if key.startswith("prints:")]
    scheduled = any(item.every_prints for item in items)
    if scheduled and prints:
        missing = [key for key in prints if key not in series.keys]
        places = [history.row(key) for key in missing]
        series = History(
            series.keys + tuple(missing),
            series.mondays,
            np.vstack([series.values, history.values[places]]),
            np.vstack([series.stocked_out, history.stocked_out[places]]),
        )
    seen = forecast(
        series, horizon_weeks, season=peak_factor, autoets=autoets, seed=seed, start=day
    )
    pickup = learn_pickup(past, day=day, max_lead=horizon_weeks - 1)
    rows = {item.sku: row for row, item in enumerate(items)}
    upkeep_of: dict[int, list[Upkeep]] = {}
    steady = np.zeros((len(items), horizon_weeks))
    for loss in upkeep:
        if loss.item in rows:
            upkeep_of.setdefault(rows[loss.item], []).append(loss)
            steady[rows[loss.item]] += 7 * loss.per_day
    sizes = _order_sizes(rows, past, drives, seen)
    paths = NeedPaths(
        items=tuple(items),
        day=day,
        horizon_weeks=horizon_weeks,
        n_paths=n_paths,
        seed=seed,
        firm=_weekly(need.firm_mean, horizon_weeks),
        quotes=_weekly(need.quote_mean, horizon_weeks),
        upkeep=steady,
        need=need,
        forecast=seen,
        pickup=pickup,
        classes=tuple(seen.classes[d[0].series] if d else "none" for d in drives),
        models=tuple(_label(item, d, seen) for item, d in zip(items, drives, strict=True)),
        notes=_notes(need, pickup),
        _on_book=OnBook(need, n_paths, horizon_weeks, seed),
        _to_come=Unbooked(items, drives, seen, pickup, sizes, n_paths, seed),
        _upkeep_of={row: tuple(found) for row, found in upkeep_of.items()},
        _prints=tuple(seen.row(key) for key in prints) if scheduled else (),
        _profile=daily_profile(day, horizon_weeks, WorkCalendar(weekdays, closed)),
        _unbooked=np.full((len(items), horizon_weeks), np.nan),
    )
    for row in range(len(items)):
        if paths._scheduled(row):
            services = paths._services(row).mean(axis=0, dtype=np.float64)
            steady[row] += services.reshape(horizon_weeks, 7).sum(axis=1)
    return paths


def _notes(need: FirmNeed, pickup: Pickup) -> tuple[str, ...]:
    notes = [] if pickup.usable else [pickup.note]
    if need.unknown:
        order, line, item = need.unknown[0]
        more = f" and {len(need.unknown) - 1} more" if len(need.unknown) > 1 else ""
        notes.append(f"order {order} line {line} uses {item}, which is not among the items{more}")
    return tuple(notes)


def daily_profile(day: date, weeks: int, calendar: WorkCalendar) -> Floats:
    """Share of each week's need on each day, shape (weeks, 7 weeks); rows sum to 1.

    Equal parts on the working days of the week; a week without one falls on the next working day,
    or on the horizon's last day when there is none.
    """
    profile = np.zeros((weeks, 7 * weeks))
    works = [calendar.works_on(day + timedelta(days=k)) for k in range(7 * weeks)]
    for week in range(weeks):
        days = [k for k in range(7 * week, 7 * week + 7) if works[k]]
        if not days:
            later = [k for k in range(7 * week + 7, 7 * weeks) if works[k]]
            days = later[:1] or [7 * weeks - 1]
        profile[week, days] = 1 / len(days)
    return profile


def _weekly(daily: Floats, weeks: int) -> Floats:
    summed: Floats = daily.reshape(len(daily), weeks, 7).sum(axis=2)
    return summed


def _label(item: ItemTerms, drives: tuple[Drive, ...], seen: Forecast) -> str:
    if item.every_prints or item.every_days:
        return "by schedule"
    if not drives:
        return "no history"
    return seen.models[drives[0].series]


def _order_sizes(
    rows: Mapping[str, int],
    past: Sequence[PastOrderLine],
    drives: tuple[tuple[Drive, ...], ...],
    seen: Forecast,
) -> Floats:
    """Size-weighted amount of one order per item: Σ a² / Σ a over its past lines.

    Without lines: the variance of a week's forecast over its mean, as for orders of one size.
    Open lines do not count, so that one more of them changes no draw.
    """
    first, second = np.zeros(len(rows)), np.zeros(len(rows))
    for line in past:
        for use in line.uses:
            row = rows.get(use.item)
            if row is not None:
                amount = line.pieces * use.amount
                first[row] += amount
                second[row] += amount**2
    sizes = np.divide(second, first, out=np.zeros(len(rows)), where=first > 0)
    for row, found in enumerate(drives):
        if sizes[row] > 0 or not found:
            continue
        mean = spread = 0.0
        for drive in found:
            week = seen.total_quantiles[drive.series, 0]
            mean += drive.factor * float(seen.weekly_mean[drive.series, 0])
            spread += (drive.factor * float(np.std(week))) ** 2
        sizes[row] = spread / mean if mean > 0 else 1.0
    return sizes

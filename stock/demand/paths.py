"""Joint paths of what every item will need, week by week and day by day.

Amounts are float32 in each item's base unit. Day 0 is the planning day; week k is the seven days
from day 7 (k − 1), whatever weekday the planning day is. A path of an item is the sum of

* its order lines, each printed or not (cancellation, quotes won or lost), with misprints, at the
  item's rate, which is wrong by the same amount in all lines of a path;
* what is not on the book yet: in each week, pick-up (the week's forecast thinned to the orders
  still to be placed) blended with the plain forecast less what is on the book. Nothing on the
  book is counted twice, and one more firm order never lowers a path (for supplies used by
  schedule: never lowers a path's total from day 0 on);
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
from stock.demand.explode import Exploded, FirmNeed, explode
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
from stock.demand.pickup import Pickup, learn_pickup
from stock.demand.schedule import services_per_day
from stock.demand.season import Season
from stock.demand.thinning import BINS, kept_share

Paths = npt.NDArray[np.float32]

SHARE_GROUPS = 8
"""Paths are dealt into this many groups by size share; within a group the share is its mean."""


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
    _drives: tuple[tuple[Drive, ...], ...] = field(repr=False)
    _lines_of: Mapping[int, tuple[tuple[int, float, float], ...]] = field(repr=False)
    _upkeep_of: Mapping[int, tuple[tuple[str, float, float], ...]] = field(repr=False)
    _order_size: Floats = field(repr=False)
    _profile: Floats = field(repr=False)
    _prints: tuple[int, ...] = field(repr=False)
    _unbooked: Floats = field(repr=False)
    _rows: dict[str, int] = field(default_factory=dict, repr=False)
    _series_paths: dict[int, Paths] = field(default_factory=dict, repr=False)

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

    def chunk(self, rows: Iterable[int]) -> Paths:
        """Need per week of these items, shape (rows, n_paths, H)."""
        return self._draw(list(rows), daily=False)

    def daily(self, rows: Iterable[int]) -> Paths:
        """Need per day of these items, shape (rows, n_paths, 7 H).

        Order lines fall on their own day, upkeep on every calendar day, what is not on the book
        yet in equal parts on the working days of its week (in a week without one, on the next
        working day). Sums over seven days equal :meth:`chunk` to rounding.
        """
        return self._draw(list(rows), daily=True)

    def chunks(self, size: int = 64) -> Iterator[tuple[range, Paths]]:
        """All items in turn, ``size`` rows at a time: (rows, weekly paths)."""
        for start in range(0, len(self.items), size):
            rows = range(start, min(start + size, len(self.items)))
            yield rows, self.chunk(rows)

    def _draw(self, rows: list[int], *, daily: bool) -> Paths:
        days = 7 * self.horizon_weeks
        width = days if daily else self.horizon_weeks
        drawn = np.zeros((len(rows), self.n_paths, width), np.float32)
        for place, row in enumerate(rows):
            on_book = self._on_book(row)
            weekly = on_book.reshape(self.n_paths, self.horizon_weeks, 7).sum(axis=2)
            unbooked = self._still_to_come(row, weekly)
            self._unbooked[row] = unbooked.mean(axis=0, dtype=np.float64)
            steady = self._steady(row)
            spread = self._profile if daily else self._weekly_profile()
            drawn[place] = unbooked @ spread.astype(np.float32)
            drawn[place] += on_book if daily else weekly
            if steady is not None:
                drawn[place] += (
                    steady
                    if daily
                    else steady.reshape(self.n_paths, self.horizon_weeks, 7).sum(axis=2)
                )
        return drawn

    def _weekly_profile(self) -> Floats:
        weeks = self.horizon_weeks
        summed: Floats = self._profile.reshape(weeks, weeks, 7).sum(axis=2)
        return summed

    def _rate_error(self, row: int) -> Paths:
        """How wrong the item's rate is in each path, in standard deviations."""
        draws = stream(self.seed, "rate", self.items[row].sku)
        return np.asarray(draws.standard_normal(self.n_paths), np.float32)

    def _on_book(self, row: int) -> Paths:
        total = np.zeros((self.n_paths, 7 * self.horizon_weeks), np.float32)
        lines = self._lines_of.get(row, ())
        error = self._rate_error(row) if lines else None
        for place, amount, sd in lines:
            line = self.need.lines[place]
            pieces = line_pieces(line, self.n_paths, self.seed)
            rate = np.float32(amount)
            if sd and error is not None:
                total[:, line.offset] += pieces * np.maximum(rate + np.float32(sd) * error, 0)
            else:
                total[:, line.offset] += pieces * rate
        return total

    def _paths_of_series(self, series: int) -> Paths:
        kept = self._series_paths
        if series not in kept:
            if len(kept) >= 64:
                kept.pop(next(iter(kept)))
            kept[series] = self.forecast.sample([series], self.n_paths, self.seed)[0]
        return kept[series]

    def _total_path(self, row: int) -> Paths | None:
        """What the plain forecast says the item needs per week, before the book is looked at."""
        total: Paths | None = None
        for drive in self._drives[row]:
            path = self._paths_of_series(drive.series)
            if drive.share_weights is not None:
                path = self._share_of(row, path, drive.share_weights)
            factor = np.float32(drive.factor)
            if drive.factor_sd:
                wrong = np.float32(drive.factor_sd) * self._rate_error(row)
                path = np.asarray(path * np.maximum(factor + wrong, 0)[:, None], np.float32)
            elif factor != 1:
                path = np.asarray(path * factor, np.float32)
            total = path if total is None else np.asarray(total + path, np.float32)
        return total

    def _share_of(self, row: int, path: Paths, weights: tuple[float, float]) -> Paths:
        """A size's part of its family: each garment is of this size with an uncertain chance."""
        chances = stream(self.seed, "size", self.items[row].sku).beta(*weights, self.n_paths)
        pieces = np.maximum(np.rint(path), 1).astype(np.int32)
        parts = self._parts("pieces", row)
        kept = np.empty_like(path)
        for group in np.array_split(np.argsort(chances, kind="stable"), SHARE_GROUPS):
            chance = float(chances[group].mean()) if group.size else 0.0
            kept[group] = kept_share(pieces[group], chance, parts[group])
        return np.asarray(kept * path, np.float32)

    def _parts(self, what: str, row: int) -> npt.NDArray[np.int32]:
        name = f"{what}:{self.items[row].sku}"
        draws = stream(self.seed, "parts", name)
        shape = (self.n_paths, self.horizon_weeks)
        return np.asarray(draws.integers(0, BINS, shape, dtype=np.int32))

    def _still_to_come(self, row: int, on_book: Paths) -> Paths:
        total = self._total_path(row)
        if total is None:
            return np.zeros((self.n_paths, self.horizon_weeks), np.float32)
        plain: Paths = np.maximum(total - on_book, 0)
        if not self.pickup.usable:
            return plain
        size = np.float32(max(self._order_size[row], 1e-9))
        orders = np.maximum(np.rint(total / size), 1).astype(np.int32)
        parts = self._parts("orders", row)
        blended = np.empty_like(plain)
        for week in range(self.horizon_weeks):
            weight = np.float32(self.pickup.weight[week])
            share = kept_share(
                orders[:, week], float(self.pickup.share_to_come[week]), parts[:, week]
            )
            blended[:, week] = weight * share * total[:, week] + (1 - weight) * plain[:, week]
        return blended

    def _steady(self, row: int) -> Paths | None:
        days = 7 * self.horizon_weeks
        total: Paths | None = None
        for printer, per_day, sd in self._upkeep_of.get(row, ()):
            draws = stream(self.seed, "upkeep", self.items[row].sku, printer)
            daily = np.maximum(per_day + sd * draws.standard_normal(self.n_paths), 0.0)
            one = np.repeat(daily.astype(np.float32)[:, None], days, axis=1)
            total = one if total is None else np.asarray(total + one, np.float32)
        item = self.items[row]
        if item.every_prints or item.every_days:
            services = services_per_day(item, self._prints_per_day(), self.day)
            use = services * np.float32(item.amount_per_service)
            total = use if total is None else np.asarray(total + use, np.float32)
        return total

    def _prints_per_day(self) -> Paths:
        weekly = np.zeros((self.n_paths, self.horizon_weeks), np.float32)
        for series in self._prints:
            weekly += self._paths_of_series(series)
        booked = np.zeros((self.n_paths, 7 * self.horizon_weeks), np.float32)
        for line in self.need.lines:
            booked[:, line.offset] += line_pieces(line, self.n_paths, self.seed)
        known = booked.reshape(self.n_paths, self.horizon_weeks, 7).sum(axis=2)
        rest = np.maximum(weekly - known, 0) @ self._profile.astype(np.float32)
        return np.asarray(booked + rest, np.float32)


def line_pieces(line: Exploded, n_paths: int, seed: int) -> Paths:
    """Garments printed for one line in each path, misprints included; 0 where it is not."""
    draws = stream(seed, "line", line.line.order, line.line.line)
    printed = draws.random(n_paths) < line.probability
    whole = max(1, round(line.line.pieces))
    spoiled = draws.binomial(whole, line.misprint_rate, n_paths) * (line.line.pieces / whole)
    return np.asarray(np.where(printed, line.line.pieces + spoiled, 0.0), np.float32)


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
    autoets: bool = True,
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
    lines_of: dict[int, list[tuple[int, float, float]]] = {}
    for place, line in enumerate(need.lines):
        for row, amount, sd in line.uses:
            lines_of.setdefault(row, []).append((place, amount, sd))
    rows = {item.sku: row for row, item in enumerate(items)}
    upkeep_of: dict[int, list[tuple[str, float, float]]] = {}
    steady = np.zeros((len(items), horizon_weeks))
    for loss in upkeep:
        if loss.item in rows:
            row = rows[loss.item]
            upkeep_of.setdefault(row, []).append((loss.printer, loss.per_day, loss.per_day_sd))
            steady[row] += 7 * loss.per_day
    paths = NeedPaths(
        tuple(items),
        day,
        horizon_weeks,
        n_paths,
        seed,
        _weekly(need.firm_mean, horizon_weeks),
        _weekly(need.quote_mean, horizon_weeks),
        steady,
        need,
        seen,
        pickup,
        tuple(seen.classes[d[0].series] if d else "none" for d in drives),
        tuple(_label(item, d, seen) for item, d in zip(items, drives, strict=True)),
        (() if pickup.usable else (pickup.note,)),
        drives,
        {row: tuple(found) for row, found in lines_of.items()},
        {row: tuple(found) for row, found in upkeep_of.items()},
        _order_sizes(rows, past, drives, seen),
        daily_profile(day, horizon_weeks, WorkCalendar(weekdays, closed)),
        tuple(seen.row(key) for key in prints) if scheduled else (),
        np.full((len(items), horizon_weeks), np.nan),
    )
    for row, item in enumerate(items):
        if item.every_prints or item.every_days:
            use = services_per_day(item, paths._prints_per_day(), day).mean(axis=0)
            steady[row] += use.reshape(horizon_weeks, 7).sum(axis=1) * item.amount_per_service
    return paths


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

"""Ways of ordering to compare: rules people use, the textbook's, and the planner itself.

All see the same :class:`stock.plan.replay.Moment` and answer amounts in base units. Lead times
are calendar days. Nothing here knows the future; foreseen variants are told so by name.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import timedelta
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from stock.demand.known import Floats, History, ItemTerms, OrderLine, PieceUse
from stock.plan.decide import plan
from stock.plan.replay import Moment, Past
from stock.plan.snapshot import (
    Offer,
    OnOrder,
    PlanSettings,
    Snapshot,
    StockLot,
    SupplierTerms,
)


def recent_mean(known: Floats, weeks: int) -> Floats:
    """Mean weekly need over the last ``weeks`` weeks, what was not yet sold left out."""
    last = known[:, -weeks:]
    count = np.maximum((~np.isnan(last)).sum(axis=1), 1)
    return np.asarray(np.nansum(last, axis=1) / count)


def lead_moments(past: Past, moment: Moment) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the lead times seen so far, weeks, per item."""
    seen = [np.array([days for _, days in found] or [14]) for found in moment.leads_seen]
    mean = np.array([days.mean() for days in seen])[past.supplier]
    spread = np.array([days.std() for days in seen])[past.supplier]
    return mean / 7, spread / 7


@dataclass
class FixedLevel:
    """A level set by eye once: below ``low`` weeks' mean at the start, order up to ``high``."""

    low: float = 3.0
    high: float = 6.0
    factor: float = 1.0
    name: str = "fixed level by eye"
    _mean: Floats = field(default_factory=lambda: np.zeros(0), repr=False)

    def begin(self, past: Past) -> None:
        """Set the level from the mean at the start."""
        self._mean = recent_mean(past.before, past.before.shape[1])

    def order(self, moment: Moment) -> Floats:
        """Up to the upper level when below the lower."""
        position = moment.position
        low, high = (self.factor * weeks * self._mean for weeks in (self.low, self.high))
        return np.where(position < low, high - position, 0.0)


@dataclass
class WeeksOfCover:
    """Last 8 weeks' mean × (lead time + a week) × 1.5, ordered up to every week."""

    weeks: int = 8
    factor: float = 1.5
    name: str = "last 8 weeks' mean × cover"
    _past: Past | None = field(default=None, repr=False)

    def begin(self, past: Past) -> None:
        """Keep who supplies what."""
        self._past = past

    def order(self, moment: Moment) -> Floats:
        """Up to the cover."""
        if self._past is None:
            raise ValueError("begin() comes before order()")
        lead, _ = lead_moments(self._past, moment)
        target = self.factor * recent_mean(moment.known, self.weeks) * (lead + 1)
        return np.maximum(target - moment.position, 0.0)


@dataclass
class LastPack:
    """One more lot when the last pack is opened; a lot is so many weeks' mean at the start."""

    weeks: float = 4.0
    factor: float = 1.0
    name: str = "when the last pack is opened"
    _lot: Floats = field(default_factory=lambda: np.zeros(0), repr=False)

    def begin(self, past: Past) -> None:
        """Set the pack from the mean at the start."""
        self._lot = self.factor * self.weeks * recent_mean(past.before, past.before.shape[1])

    def order(self, moment: Moment) -> Floats:
        """Whole lots until more than one pack is there or coming."""
        lot = np.maximum(self._lot, 1e-9)
        missing = np.maximum(lot - moment.position, 0.0)
        return np.where(moment.position <= lot, (np.floor(missing / lot) + 1) * lot, 0.0)


@dataclass
class TextbookNormal:
    """Level μ (L + 1) + z √((L + 1) σ² + μ² σ_L²) from the last half year; lot by the EOQ or none.

    z is the normal quantile of shortage cost over shortage and holding cost, times ``factor``.
    Source: E. Silver, D. Pyke, D. Thomas, Inventory and Production Management in Supply Chains,
    4th ed. (2017), periodic review with random lead time (from memory).
    """

    with_lot: bool = False
    factor: float = 1.0
    weeks: int = 26
    service: float | None = None
    name: str = "textbook normal"
    _past: Past | None = field(default=None, repr=False)

    def begin(self, past: Past) -> None:
        """Keep the costs."""
        self._past = past

    def order(self, moment: Moment) -> Floats:
        """Up to the level, or a lot above it when below it."""
        past = self._past
        if past is None:
            raise ValueError("begin() comes before order()")
        mean = recent_mean(moment.known, self.weeks)
        spread = np.nan_to_num(np.nanstd(moment.known[:, -self.weeks :], axis=1, ddof=1))
        lead, lead_spread = lead_moments(past, moment)
        hold = past.hold_per_week * past.unit_value
        ratio = past.short_per_week / (past.short_per_week + hold)
        if self.service is not None:
            ratio = np.full(len(ratio), self.service)
        z = self.factor * np.array([NormalDist().inv_cdf(float(share)) for share in ratio])
        deviation = np.sqrt((lead + 1) * spread**2 + mean**2 * lead_spread**2)
        level = mean * (lead + 1) + z * deviation
        lot = np.sqrt(2 * past.order_cost * mean / hold) if self.with_lot else 0.0
        return np.where(moment.position < level, level + lot - moment.position, 0.0)


class Planned:
    """The planner itself: a snapshot of each Monday, and :func:`stock.plan.decide.plan`.

    Args:
        foresee_need: Show the true need instead of a forecast.
        foresee_leads: Show the true lead time of this week's order.
        short_factor: Shortage cost the planner is told, as a multiple of the true one.
        fill_rate: Plan for this fill rate instead of the shortage cost.
        paths, autoets: As in the plan's settings.
    """

    def __init__(
        self,
        name: str = "planned",
        *,
        foresee_need: bool = False,
        foresee_leads: bool = False,
        short_factor: float = 1.0,
        fill_rate: float | None = None,
        paths: int = 1000,
        autoets: bool = False,
    ) -> None:
        self.name = name
        self.foresee_need, self.foresee_leads = foresee_need, foresee_leads
        self.short_factor, self.fill_rate = short_factor, fill_rate
        self.paths, self.autoets = paths, autoets

    def begin(self, past: Past) -> None:
        """Write down the terms."""
        self._past = past
        self._settings = PlanSettings(
            paths=self.paths,
            holding_per_week=past.hold_per_week,
            weekdays=past.weekdays,
            blend_autoets=self.autoets,
            misprint_prior=(0.0, 200.0),
        )
        self._items = tuple(self._terms(row, sku) for row, sku in enumerate(past.items))
        self._offers = tuple(
            Offer(sku, f"supplier {past.supplier[row]}", "unit", 1.0, float(past.unit_value[row]))
            for row, sku in enumerate(past.items)
        )

    def _terms(self, row: int, sku: str) -> ItemTerms:
        short = float(self._past.short_per_week[row]) * self.short_factor
        life = int(self._past.life_days[row])
        return ItemTerms(
            sku,
            "supply",
            "g",
            service=self.fill_rate or 0.95,
            service_kind="fill" if self.fill_rate else "cycle",
            shortage_cost_minor=0.0 if self.fill_rate else short,
            shelf_life_days=life - 1 if life > 1 else None,
        )

    def order(self, moment: Moment) -> Floats:
        """Amounts of this Monday's list."""
        past = self._past
        foreseen = FutureNeed(past, moment, self._items, self.paths) if self.foresee_need else None
        decided = plan(self.snapshot(moment), foreseen)
        rows = {sku: row for row, sku in enumerate(past.items)}
        amounts = np.zeros(len(past.items))
        for line in decided.lines:
            amounts[rows[line.item]] = line.amount
        return amounts

    def snapshot(self, moment: Moment) -> Snapshot:
        """What was known on that Monday; what is owed is an order line due that day."""
        past, day = self._past, moment.day
        weeks = moment.known.shape[1]
        mondays = np.datetime64(day, "D") - 7 * np.arange(weeks, 0, -1)
        owed = np.maximum(-moment.stock, 0.0)
        return Snapshot(
            day=day,
            items=self._items,
            stock=tuple(self._stock(moment)),
            on_order=tuple(
                OnOrder(
                    f"{order.week}",
                    past.items[row],
                    f"supplier {past.supplier[row]}",
                    float(order.amounts[row]),
                    past.first_monday + timedelta(days=7 * order.week),
                )
                for order in moment.open_orders
                for row in np.flatnonzero(order.amounts > 0)
            ),
            offers=self._offers,
            suppliers=tuple(self._supplier(moment, row) for row in range(len(past.lead_days))),
            order_lines=tuple(
                OrderLine(
                    f"owed {past.items[row]}",
                    1,
                    "released",
                    day - timedelta(days=7),
                    day - timedelta(days=1),
                    float(owed[row]),
                    uses=(PieceUse(past.items[row], 1.0),),
                )
                for row in np.flatnonzero(owed > 1e-9)
            ),
            history=History(past.items, mondays, moment.known, np.zeros(moment.known.shape, bool)),
            settings=self._settings,
        )

    def _stock(self, moment: Moment) -> list[StockLot]:
        lots = []
        for row, sku in enumerate(self._past.items):
            if moment.expiring and self._past.life_days[row] > 0:
                for ends, amount in moment.expiring[row]:
                    last = moment.day + timedelta(days=ends)
                    lots.append(
                        StockLot(sku, str(ends), "shelf", "shelf", amount, effective_expiry=last)
                    )
            elif moment.stock[row] > 0:
                lots.append(StockLot(sku, "lot", "shelf", "shelf", float(moment.stock[row])))
        return lots

    def _supplier(self, moment: Moment, supplier: int) -> SupplierTerms:
        past = self._past
        seen = moment.leads_seen[supplier]
        history = []
        for week, days in seen:
            placed = past.first_monday + timedelta(days=7 * week)
            came = placed + timedelta(days=days)
            if week < 0:
                came = min(came, past.first_monday)
                placed = came - timedelta(days=days)
            history.append((placed, came, 1.0, 1.0))
        mean = float(np.mean([days for _, days in seen])) * 5 / 7 if seen else 10.0
        announced = []
        if self.foresee_leads:
            for week, days in enumerate(past.lead_days[supplier]):
                placed = past.first_monday + timedelta(days=7 * week)
                announced.append((placed, placed + timedelta(days=int(days))))
        costs = past.order_cost[past.supplier == supplier]
        return SupplierTerms(
            f"supplier {supplier}",
            lead_days=mean,
            line_cost_minor=float(costs[0]) if costs.size else 0.0,
            lead_history=tuple(history),
            announced=tuple(announced),
        )


class FutureNeed:
    """Need paths that all are what really came, owed amounts first; past the end the last mean."""

    def __init__(
        self, past: Past, moment: Moment, items: tuple[ItemTerms, ...], paths: int, weeks: int = 20
    ) -> None:
        self.items = items
        self.n_paths, self.horizon_weeks, self.notes = paths, weeks, ()
        ahead = past.need[:, 7 * moment.week : 7 * (moment.week + weeks)]
        missing = 7 * weeks - ahead.shape[1]
        if missing > 0:
            usual = recent_mean(past.weekly(), 12)[:, None] / 7
            ahead = np.hstack([ahead, np.repeat(usual, missing, axis=1)])
        self._daily = ahead.astype(float)
        self._daily[:, 0] += np.maximum(-moment.stock, 0.0)
        self._rows = {item.sku: row for row, item in enumerate(items)}

    def row(self, sku: str) -> int:
        """Row of item ``sku``."""
        return self._rows[sku]

    def daily(self, rows: Iterable[int]) -> npt.NDArray[np.float32]:
        """Need per day, the same on every path."""
        chosen = self._daily[list(rows)].astype(np.float32)
        return np.repeat(chosen[:, None, :], self.n_paths, axis=1)

    def known_parts(self, row: int) -> tuple[Floats, Floats, Floats]:
        """All of it is as good as firm."""
        nothing = np.zeros(self._daily.shape[1])
        return self._daily[row], nothing, nothing

    def kind(self, row: int) -> str:
        """Foreseen need has no class."""
        return "none"


Rule = FixedLevel | WeeksOfCover | LastPack | TextbookNormal


def tuned(policy: Rule, factor: float) -> Rule:
    """The same rule with its factor multiplied."""
    return replace(policy, factor=policy.factor * factor)

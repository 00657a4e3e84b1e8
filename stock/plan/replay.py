"""Walk history week by week, giving each policy only what was known then, and count the cost.

A :class:`Past` holds what really happened: need per day, the lead time an order placed in a given
week really had, costs. :func:`walk` lets a policy order every week and keeps the shelf day by
day; the planner's own policy makes a snapshot of that moment and calls
:func:`stock.plan.decide.plan`, the very function of the weekly list. Amounts are base units,
money minor units, weeks start on Mondays. Nothing here looks ahead, except the bound in
:mod:`stock.plan.bound`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Protocol

import numpy as np
import numpy.typing as npt

from stock.demand.known import Bools, Floats
from stock.plan.lead_time import Ints

LONG_AGO = 12
"""Weeks before the first by which all earlier deliveries had come."""


@dataclass(frozen=True, eq=False)
class Past:
    """What really happened to some items over some weeks.

    Args:
        items: Skus, the rows.
        first_monday: Monday of the first week replayed.
        before: Weekly need before that, oldest first, shape (items, weeks before).
        need: Need per day from the first Monday on, shape (items, days).
        supplier: Number of each item's supplier, shape (items,).
        lead_days: Calendar days an order placed in each week really took, shape (suppliers, weeks).
        earlier_leads: Lead times known at the start, calendar days, one array per supplier.
        unit_value: Minor units per base unit, shape (items,).
        order_cost: Cost of one order line, minor units, shape (items,).
        hold_per_week: Cost of holding as a share of value per week.
        short_per_week: Cost of one base unit short for one week, minor units, shape (items,).
        start: Stock on the first Monday, shape (items,).
        life_days: Days a delivery can be used, from the day it comes (1: that day only); 0: it
            does not expire; shape (items,).
        weekdays: Days of the week on which there is need.
    """

    items: tuple[str, ...]
    first_monday: date
    before: Floats
    need: Floats
    supplier: Ints
    lead_days: Ints
    earlier_leads: tuple[Ints, ...]
    unit_value: Floats
    order_cost: Floats
    hold_per_week: float
    short_per_week: Floats
    start: Floats
    life_days: Ints
    weekdays: frozenset[int] = frozenset(range(5))

    @property
    def weeks(self) -> int:
        """Weeks replayed."""
        return int(self.need.shape[1] // 7)

    def weekly(self) -> Floats:
        """Need per replayed week, shape (items, weeks)."""
        whole = self.need[:, : self.weeks * 7]
        return np.asarray(whole.reshape(len(self.items), self.weeks, 7).sum(axis=2))


@dataclass(frozen=True, eq=False)
class Open:
    """One order on its way: placed in a week, for these items, with the day each comes."""

    week: int
    amounts: Floats
    arrive: Ints


@dataclass(eq=False)
class Moment:
    """What a policy may look at on a Monday morning.

    Args:
        week: Number of the replayed week, from 0.
        day: That Monday.
        known: Weekly need up to last week, shape (items, weeks so far).
        stock: On the shelf less what is owed, shape (items,).
        on_order: Still to come, shape (items,).
        open_orders: The same, order by order.
        leads_seen: (week placed or a negative number, lead days) per supplier, deliveries so far.
        expiring: Per item, (last usable day counted from today, amount), for items that expire.
    """

    week: int
    day: date
    known: Floats
    stock: Floats
    on_order: Floats
    open_orders: list[Open]
    leads_seen: list[list[tuple[int, int]]]
    expiring: list[list[tuple[int, float]]] = field(default_factory=list)

    @property
    def position(self) -> Floats:
        """Stock and what is on order, less what is owed."""
        return self.stock + self.on_order


class Policy(Protocol):
    """A way of deciding what to order each week."""

    @property
    def name(self) -> str:
        """What people call it."""

    def begin(self, past: Past) -> None:
        """Look at what is known before the first week."""

    def order(self, moment: Moment) -> Floats:
        """Amount to order of each item this week, base units, shape (items,)."""


@dataclass(frozen=True, eq=False)
class Verdict:
    """What a policy did and cost, per item, summed over the weeks; money in minor units.

    Args:
        holding, ordering, shortage, outdating: Cost by kind, shape (items,).
        orders: Order lines placed.
        needed, short: Units needed, and those not there on the day they were needed.
        outdated: Units that expired.
        days_short: Days that ended owing something.
        mean_stock: Average stock, base units.
    """

    policy: str
    holding: Floats
    ordering: Floats
    shortage: Floats
    outdating: Floats
    orders: Ints
    needed: Floats
    short: Floats
    outdated: Floats
    days_short: Ints
    mean_stock: Floats

    @property
    def cost(self) -> Floats:
        """All of it, per item."""
        return self.holding + self.ordering + self.shortage + self.outdating

    def total(self, rows: npt.ArrayLike | None = None) -> float:
        """Cost over all items, or over ``rows``."""
        return float(self.cost.sum() if rows is None else self.cost[np.asarray(rows)].sum())

    def fill_rate(self, rows: npt.ArrayLike | None = None) -> float:
        """Share of need served on its day."""
        chosen = slice(None) if rows is None else np.asarray(rows)
        needed = self.needed[chosen].sum()
        return float(1 - self.short[chosen].sum() / needed) if needed > 0 else 1.0


class Shelves:
    """Stock of all items day by day, oldest date first where items expire."""

    def __init__(self, past: Past) -> None:
        self.past = past
        self.perishable: Bools = past.life_days > 0
        self.dated = bool(self.perishable.any())
        self.net = past.start.astype(float).copy()
        days = past.need.shape[1]
        if self.dated:
            self.last = days + int(past.life_days.max()) + 1
            self.by_date = np.zeros((len(past.items), self.last + 1))
            self.owed = np.zeros(len(past.items))
            end = np.where(self.perishable, past.life_days - 1, self.last)
            self.by_date[np.arange(len(end)), end] = past.start

    def receive(self, day: int, amounts: Floats) -> None:
        """Put a delivery on the shelf in the morning of ``day``; what is owed is served first."""
        self.net += amounts
        if self.dated:
            served = np.minimum(self.owed, amounts)
            self.owed -= served
            life = self.past.life_days
            end = np.where(self.perishable, np.minimum(day + life - 1, self.last), self.last)
            self.by_date[np.arange(len(end)), end] += amounts - served

    def serve(self, day: int) -> tuple[Floats, Floats, Floats]:
        """One day's need: (missed on the day, expired that evening, left on the shelf)."""
        need = self.past.need[:, day]
        before = np.maximum(self.net, 0.0)
        missed = np.maximum(need - before, 0.0)
        self.net -= need
        if not self.dated:
            return missed, np.zeros(len(need)), np.maximum(self.net, 0.0)
        reached = np.cumsum(self.by_date[:, day:], axis=1)
        drawn = np.minimum(need, reached[:, -1])
        self.by_date[:, day:] = np.diff(
            np.maximum(reached - drawn[:, None], 0.0), axis=1, prepend=0.0
        )
        self.owed += need - drawn
        expired = np.where(self.perishable, self.by_date[:, day], 0.0)
        self.by_date[:, day] = np.where(self.perishable, 0.0, self.by_date[:, day])
        self.net -= expired
        return missed, expired, np.maximum(self.net, 0.0)

    def expiring(self, day: int) -> list[list[tuple[int, float]]]:
        """What is on the shelf by last usable day, counted from ``day``."""
        if not self.dated:
            return []
        found: list[list[tuple[int, float]]] = []
        for row in range(len(self.net)):
            ahead = np.flatnonzero(self.by_date[row, day:] > 1e-9)
            found.append([(int(at), float(self.by_date[row, day + at])) for at in ahead])
        return found


def walk(past: Past, policy: Policy, *, measure_from: int = 0) -> Verdict:
    """Let ``policy`` run the shelf over the weeks of ``past``.

    Deliveries come in the morning, need is served through the day, cost counts each evening:
    a seventh of a week's holding on what is there, of a week's shortage on what is owed.

    Args:
        measure_from: First week whose cost counts; the weeks before let a start level run in.
    """
    count = len(past.items)
    shelves = Shelves(past)
    zero = np.zeros(count)
    holding, ordering, shortage, outdating = (zero.copy() for _ in range(4))
    needed, short, outdated, stock_days = (zero.copy() for _ in range(4))
    orders, days_short = np.zeros(count, np.int64), np.zeros(count, np.int64)
    opened: list[Open] = []
    leads: list[list[tuple[int, int]]] = [
        [(place - len(seen) - LONG_AGO, int(days)) for place, days in enumerate(seen)]
        for seen in past.earlier_leads
    ]
    policy.begin(past)
    weekly = past.weekly()
    for week in range(past.weeks):
        counts = week >= measure_from
        for weekday in range(7):
            day = 7 * week + weekday
            opened = _take_in(opened, day, shelves, leads)
            if weekday == 0:
                moment = Moment(
                    week=week,
                    day=past.first_monday + timedelta(days=day),
                    known=np.hstack([past.before, weekly[:, :week]]),
                    stock=shelves.net.copy(),
                    on_order=sum((open_.amounts for open_ in opened), zero),
                    open_orders=list(opened),
                    leads_seen=leads,
                    expiring=shelves.expiring(day),
                )
                amounts = np.maximum(policy.order(moment), 0.0)
                arrive = day + np.maximum(past.lead_days[past.supplier, week], 0)
                placed = amounts > 0
                opened.append(Open(week, amounts, arrive))
                opened = _take_in(opened, day, shelves, leads)
                if counts:
                    ordering += np.where(placed, past.order_cost, 0.0)
                    orders += placed
            missed, expired, left = shelves.serve(day)
            if not counts:
                continue
            owed = np.maximum(-shelves.net, 0.0)
            holding += past.hold_per_week / 7 * past.unit_value * left
            shortage += past.short_per_week / 7 * owed
            outdating += past.unit_value * expired
            needed += past.need[:, day]
            short += missed
            outdated += expired
            stock_days += left
            days_short += owed > 1e-9
    measured = max(7 * (past.weeks - measure_from), 1)
    return Verdict(
        policy.name,
        holding,
        ordering,
        shortage,
        outdating,
        orders,
        needed,
        short,
        outdated,
        days_short,
        stock_days / measured,
    )


def _take_in(
    opened: list[Open], day: int, shelves: Shelves, leads: list[list[tuple[int, int]]]
) -> list[Open]:
    """Receive what is due by the morning of ``day``; what stays open is returned."""
    kept: list[Open] = []
    for order in opened:
        here = (order.arrive <= day) & (order.amounts > 0)
        if here.any():
            shelves.receive(day, np.where(here, order.amounts, 0.0))
            for supplier in np.unique(shelves.past.supplier[here]):
                row = np.flatnonzero(here & (shelves.past.supplier == supplier))[0]
                leads[supplier].append((order.week, int(order.arrive[row]) - 7 * order.week))
            order = Open(order.week, np.where(here, 0.0, order.amounts), order.arrive)
        if (order.amounts > 0).any():
            kept.append(order)
    return kept


def compare(past: Past, policies: Iterable[Policy], *, measure_from: int = 0) -> Sequence[Verdict]:
    """Walk the same past with each policy, same lead times for the same week."""
    return [walk(past, policy, measure_from=measure_from) for policy in policies]

"""The least any policy could have cost, had it known all need and every lead time beforehand.

A dynamic programme over the days on which an order could have come: between two deliveries each
day's need is served late from the second or early from the first, whichever costs less. For one
item without expiry it is exact (W. I. Zangwill, Management Science 15 (1969) 506–527, backlogged
lot sizing; without backlog H. M. Wagner and T. M. Whitin, Management Science 5 (1958) 89–96), so
no policy can do better; where items expire it is still a bound, as expiry only adds cost.
Amounts are base units, money minor units, days count from the first day replayed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stock.demand.known import Floats
from stock.plan.lead_time import Ints
from stock.plan.replay import Past, Verdict


@dataclass(frozen=True, eq=False)
class LeastCost:
    """A least-cost set of orders: cost in all, and the amount from each candidate order."""

    cost: float
    amounts: Floats


def least_cost(
    need: Floats,
    arrive: Ints,
    order_cost: Floats,
    hold: float,
    short: float,
    *,
    start: float = 0.0,
    unit_cost: Floats | None = None,
) -> LeastCost:
    """Orders that serve ``need`` at least cost when everything is known.

    Args:
        need: Per day, shape (days,).
        arrive: Day on which each candidate order comes, in the morning, shape (orders,).
        order_cost: Of each candidate, shape (orders,).
        hold, short: Cost of one unit on the shelf, or owed, over one night; ``short`` infinite:
            nothing may be late.
        start: Stock on the first morning; it serves the first need.
        unit_cost: Price of a unit by candidate, shape (orders,).

    The cost includes holding the starting stock until it is used, and what is still owed at the
    end is counted up to the last day.
    """
    days = len(need)
    covered = np.minimum(np.cumsum(need), start)
    net = need - np.diff(covered, prepend=0.0)
    left = start - covered
    base = hold * float(np.maximum(left, 0.0).sum())
    order = np.argsort(arrive, kind="stable")
    order = order[arrive[order] < days]
    at = arrive[order].astype(float)
    fixed = order_cost[order]
    price = np.zeros(len(order)) if unit_cost is None else unit_cost[order]
    tables = _Tables(net, hold, short)
    # Node 0 is "no order yet", node j + 1 the j-th candidate; best[j] is the cost of all need
    # before its arrival, served by earlier ones or late by it.
    best = np.full(len(order) + 1, np.inf)
    came_from = np.zeros(len(order) + 1, np.int64)
    best[0] = 0.0
    for j in range(len(order)):
        late_only = tables.all_late(0.0, at[j], price[j])
        between = tables.between(at[:j], price[:j], at[j], price[j])
        costs = best[: j + 1] + np.concatenate([[late_only], between]) + fixed[j]
        came_from[j + 1] = int(np.argmin(costs))
        best[j + 1] = costs[came_from[j + 1]]
    ends = np.concatenate([[tables.never(days)], tables.after(at, price, days)])
    totals = best + ends
    node = int(np.argmin(totals))
    cost = float(totals[node]) + base
    chosen = []
    while node > 0:
        chosen.append(node - 1)
        node = int(came_from[node])
    chosen.reverse()
    amounts = np.zeros(len(arrive))
    for place, j in enumerate(chosen):
        first = (
            0.0
            if place == 0
            else float(
                tables.split(at[chosen[place - 1]], price[chosen[place - 1]], at[j], price[j])
            )
        )
        last = float(days)
        if place + 1 < len(chosen):
            after = chosen[place + 1]
            last = float(tables.split(at[j], price[j], at[after], price[after]))
        amounts[order[j]] = float(net[int(first) : int(last)].sum())
    return LeastCost(cost, amounts)


class _Tables:
    """Running sums of need, so that the cost between two deliveries is read off at once."""

    def __init__(self, net: Floats, hold: float, short: float) -> None:
        self.hold, self.short = hold, short
        days = np.arange(len(net))
        self.units = np.concatenate([[0.0], np.cumsum(net)])
        self.dated = np.concatenate([[0.0], np.cumsum(net * days)])

    def early(self, served: Floats, price: Floats, first: Floats, last: Floats) -> Floats:
        """Need of days ``first`` … ``last`` − 1 out of a delivery on day ``served``."""
        low, high = first.astype(int), last.astype(int)
        units = self.units[high] - self.units[low]
        kept = self.dated[high] - self.dated[low] - served * units
        return np.asarray(self.hold * kept + price * units)

    def late(self, served: Floats, price: Floats, first: Floats, last: Floats) -> Floats:
        """The same days' need owed until a delivery on day ``served``."""
        low, high = first.astype(int), last.astype(int)
        units = self.units[high] - self.units[low]
        if not np.isfinite(self.short):
            return np.where(units > 1e-12, np.inf, 0.0)
        waited = served * units - (self.dated[high] - self.dated[low])
        return np.asarray(self.short * waited + price * units)

    def split(
        self, first: Floats | float, price: Floats | float, second: float, second_price: float
    ) -> Floats:
        """First day better served late by ``second`` than early by ``first``."""
        if not np.isfinite(self.short):
            return np.broadcast_to(np.asarray(second, float), np.shape(first)).copy()
        total = self.hold + self.short
        even = (
            self.short * second + self.hold * np.asarray(first) + second_price - np.asarray(price)
        )
        if total > 0:
            even = even / total
        return np.asarray(np.clip(np.floor(even) + 1, first, second))

    def between(self, first: Floats, price: Floats, second: float, second_price: float) -> Floats:
        """Cost of the need between each of ``first`` and the next delivery ``second``."""
        change = self.split(first, price, second, second_price)
        ahead = np.full(len(first), second)
        return self.early(first, price, first, change) + self.late(
            ahead, np.full(len(first), second_price), change, ahead
        )

    def all_late(self, first: float, second: float, price: float) -> float:
        """Need from day ``first`` on, all owed until ``second``."""
        one = np.array([second])
        return float(self.late(one, np.array([price]), np.array([first]), one)[0])

    def after(self, first: Floats, price: Floats, days: int) -> Floats:
        """Need from each of ``first`` to the end."""
        return self.early(first, price, first, np.full(len(first), float(days)))

    def never(self, days: int) -> float:
        """Nothing ever ordered: all need owed to the end."""
        return self.all_late(0.0, float(days), 0.0)


def clairvoyant(past: Past) -> Verdict:
    """What perfect knowledge would have cost, item by item; a bound, not a policy."""
    count, days = len(past.items), past.need.shape[1]
    cost = np.zeros(count)
    orders = np.zeros(count, np.int64)
    arrive_of = 7 * np.arange(past.weeks) + past.lead_days[past.supplier]
    for row in range(count):
        found = least_cost(
            past.need[row],
            arrive_of[row],
            np.full(past.weeks, past.order_cost[row]),
            past.hold_per_week * past.unit_value[row] / 7,
            past.short_per_week[row] / 7,
            start=past.start[row],
        )
        cost[row] = found.cost
        orders[row] = int((found.amounts > 1e-9).sum())
    zero = np.zeros(count)
    ordering = orders * past.order_cost
    return Verdict(
        "clairvoyant bound",
        holding=cost - ordering,
        ordering=ordering,
        shortage=zero,
        outdating=zero,
        orders=orders,
        needed=past.need.sum(axis=1),
        short=zero,
        outdated=zero,
        days_short=np.zeros(count, np.int64),
        mean_stock=np.full(count, np.nan) if days else zero,
    )

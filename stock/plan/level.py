r"""When to order and how much at once: a level s and an order-up-to level S on a grid.

Costs are in minor units per review, positions in base units on an even grid ``y = k × step`` from
0 up; arrays are shaped (rows, cells), a row being one item from one supplier. What comes in is
read off the joint paths: how much is needed until the next chance to order can deliver, and
where the position stands at later reviews. Nothing here draws a number or knows an item.

An order now that lifts the position to y pays for itself until the position falls below s again:

.. math:: c(s, S) = \frac{K + W(S) + G(S) + \sum_j m(j)\,G(S - j)\,[S - j \ge s]}
                        {1 + \sum_j m(j)\,[S - j \ge s]}

with K the cost of ordering, W(S) the value expected to expire, G(y) the holding and shortage cost
of one review period at position y (a lead time later), and m(j) how many later reviews find the
position j lower. The best s is where waiting one more review costs as much as the best average:
G(s) = c. For independent demand this is the exact (s, S) policy: Y.-S. Zheng and A. Federgruen,
"Finding optimal (s, S) policies is about as simple as evaluating a single policy", Operations
Research 39 (1991) 654–665; with unit demand and continuous review the (r, Q) policy of
A. Federgruen and Y.-S. Zheng, Operations Research 40 (1992) 808–813; with certain demand the
economic order quantity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stock.demand.known import Bools, Floats
from stock.plan.grid import CELLS, Ints, read_at, read_lower

ROUNDS = 8
"""Policy iterations; the average cost falls each time and settles in three to five."""


@dataclass(frozen=True, eq=False)
class Outlook:
    """What the paths say about one batch of rows.

    Args:
        step: Base units per cell, shape (rows,).
        now_hold, now_short: Expected stock and shortage, averaged over the days between the
            delivery of an order now and that of the next chance, at each position, base units.
        later_hold, later_short: The same for a later review.
        later_new_short: Expected shortage newly arising in a later review period.
        visits: Expected number of later reviews that find the position this much lower.
        need_per_review: Mean need in a review period, base units, shape (rows,).
        outdated: Expected amount of a position that expires unused, base units.
        over_usual: How much more than usual today's orders take before the days looked at, base
            units, shape (rows,): later reviews find the position lower by that as well.
    """

    step: Floats
    now_hold: Floats
    now_short: Floats
    later_hold: Floats
    later_short: Floats
    later_new_short: Floats
    visits: Floats
    need_per_review: Floats
    outdated: Floats
    over_usual: Floats


@dataclass(frozen=True, eq=False)
class Terms:
    """Costs and service of one batch of rows, each of shape (rows,).

    Args:
        order_cost: Cost of one more order line, K.
        hold_cost: Holding one base unit for one review period.
        short_cost: One base unit short for one review period; 0: by service.
        unit_value: Price of one base unit, for what expires.
        now_level, later_level: Level that keeps cycle service, base units; NaN: by cost or fill.
        fill_rate: Share of need to be served from stock; NaN: by cost or cycle service.
        least_lot: Smallest amount on sale, base units.
        purchase: Price of an order of ``k × step`` base units, shape (rows, cells); None: every
            unit costs ``unit_value``.
    """

    order_cost: Floats
    hold_cost: Floats
    short_cost: Floats
    unit_value: Floats
    now_level: Floats
    later_level: Floats
    fill_rate: Floats
    least_lot: Floats
    purchase: Floats | None = None


@dataclass(frozen=True, eq=False)
class Policy:
    """When and how much, for one batch of rows.

    Args:
        level: Order when the position is below this, base units.
        order_up_to: Where the position then is best lifted to, base units.
        cost_rate: Long-run cost per review, minor units; without the price of what is used up
            unless ``purchase`` was given.
        value: Expected cost of leaving today with each position, over the long-run average,
            minor units, shape (rows, cells).
        later_level, later_up_to: The same two for later reviews.
        short_cost: Shortage cost per review that the service asked for amounts to.
        lot_price: Price of one base unit at the usual lot.
    """

    step: Floats
    level: Floats
    order_up_to: Floats
    cost_rate: Floats
    value: Floats
    later_level: Floats
    later_up_to: Floats
    short_cost: Floats
    lot_price: Floats

    def value_at(self, row: int, position: npt.ArrayLike) -> Floats:
        """Expected cost of leaving today with ``position``, interpolated; steep below 0."""
        wanted = np.asarray(position, float)
        cells = self.value.shape[1]
        grid = np.arange(cells) * self.step[row]
        inside = np.interp(wanted, grid, self.value[row])
        below = -np.minimum(wanted, 0.0) * self.short_cost[row]
        over = np.maximum(wanted - grid[-1], 0.0)
        if over.any():
            tail = max(cells // 8, 2)
            slope = (self.value[row, -1] - self.value[row, -tail]) / ((tail - 1) * self.step[row])
            inside = inside + over * max(slope, 0.0) * (1 + over / max(grid[-1], 1e-12))
        return np.asarray(inside + below)


def best_policy(outlook: Outlook, terms: Terms) -> Policy:
    """Level and order-up-to level of every row at least long-run cost.

    With a level fixed by cycle service only the lot is chosen by cost; with a fill rate the level
    is the lowest that reaches it for the lot chosen; with a shortage cost both are chosen.
    """
    steady = _Steady(outlook, terms)
    by_cost = (terms.short_cost > 0) & np.isnan(terms.later_level) & np.isnan(terms.fill_rate)
    by_fill = ~np.isnan(terms.fill_rate)
    level = np.where(np.isnan(terms.later_level), 0.0, terms.later_level)
    start = np.minimum(np.ceil(level / outlook.step - 1e-9), CELLS - 1).astype(np.int64)
    if by_cost.any():
        cheapest = np.argmin(steady.period_cost, axis=1)
        start = np.where(by_cost, cheapest, start)
    if by_fill.any():
        start = np.where(by_fill, np.argmin(steady.hold_gap(), axis=1), start)
    rate, up_to, price = steady.evaluate(start)
    served = _BestServed(len(start))
    for _ in range(ROUNDS):
        settled = start
        if by_cost.any():
            own = steady.level_for(rate, price)
            if steady.forced.any():
                own = np.where(steady.forced, steady.level_for_lot(up_to - settled), own)
            start = np.where(by_cost, own, start)
        if by_fill.any():
            start = np.where(by_fill, steady.level_for_fill(up_to - settled), start)
        if (start == settled).all():
            break
        lot = up_to - settled
        rate, up_to, price = steady.evaluate(start)
        served.keep(by_fill & (up_to - start >= lot), rate, start, up_to, price)
    else:
        rate, start, up_to, price = served.instead_of(by_fill, rate, start, up_to, price)
    short_cost = np.where(terms.short_cost > 0, terms.short_cost, steady.implied(start, up_to))
    return _today(outlook, terms, steady, start, up_to, rate, short_cost, price, by_fill)


class _BestServed:
    """The cheapest level and lot met that serve the fill rate, for rows that do not settle.

    A smaller lot needs a higher level and a higher level may make a smaller lot cheaper, so that
    two policies can lead to each other.
    """

    def __init__(self, rows: int) -> None:
        self.rate = np.full(rows, np.inf)
        self.start, self.up_to = np.zeros(rows, np.int64), np.zeros(rows, np.int64)
        self.price = np.zeros(rows)

    def keep(self, enough: Bools, rate: Floats, start: Ints, up_to: Ints, price: Floats) -> None:
        """Take over the rows that serve ``enough`` and cost less than before."""
        better = enough & (rate < self.rate)
        self.rate = np.where(better, rate, self.rate)
        self.start = np.where(better, start, self.start)
        self.up_to = np.where(better, up_to, self.up_to)
        self.price = np.where(better, price, self.price)

    def instead_of(
        self, rows: Bools, rate: Floats, start: Ints, up_to: Ints, price: Floats
    ) -> tuple[Floats, Ints, Ints, Floats]:
        """The kept policies of ``rows`` where there are any, the given ones elsewhere."""
        use = rows & np.isfinite(self.rate)
        return (
            np.where(use, self.rate, rate),
            np.where(use, self.start, start),
            np.where(use, self.up_to, up_to),
            np.where(use, self.price, price),
        )


class _Steady:
    """Long-run average costs of one batch, on the grid."""

    def __init__(self, outlook: Outlook, terms: Terms) -> None:
        self.outlook, self.terms = outlook, terms
        self.cells = outlook.later_hold.shape[1]
        self.index = np.arange(self.cells)
        self.hold = terms.hold_cost[:, None] * outlook.later_hold
        self.short = terms.short_cost[:, None] * outlook.later_short
        self.period_cost = self.hold + self.short
        self.waste = terms.unit_value[:, None] * outlook.outdated
        self.visited = np.fft.rfft(outlook.visits, 2 * self.cells, axis=1)
        self.visits_within = np.cumsum(outlook.visits, axis=1)
        self.forced: Bools = np.zeros(len(outlook.step), bool)
        """Rows whose lot, at the last evaluation, was the smallest on sale and dearer than less."""

    def over_visits(self, per_position: Floats, start: Ints) -> Floats:
        """Sum over this and later reviews of ``per_position`` while it stays at or above start."""
        kept = np.where(self.index >= start[:, None], per_position, 0.0)
        both = np.fft.rfft(kept, 2 * self.cells, axis=1) * self.visited
        later = np.fft.irfft(both, 2 * self.cells, axis=1)[:, : self.cells]
        return np.asarray(per_position + later)

    def reviews(self, start: Ints) -> Floats:
        """Expected reviews between two orders for each S, given s; below s it is 1."""
        gap = self.index - start[:, None]
        within = np.take_along_axis(self.visits_within, np.maximum(gap, 0), axis=1)
        return np.where(gap >= 0, 1.0 + within, 1.0)

    def evaluate(self, start: Ints) -> tuple[Floats, Ints, Floats]:
        """Least cost per review over S for each row's s, that S, and the price of its lot."""
        reviews = self.reviews(start)
        hold = self.over_visits(self.hold, start)
        short = self.over_visits(self.short, start)
        price = np.broadcast_to(self.terms.unit_value[:, None], hold.shape)
        bought: Floats | float = 0.0
        lot = reviews * self.outlook.need_per_review[:, None]
        if self.terms.purchase is not None:
            cell = lot / self.outlook.step[:, None]
            bought = read_at(self.terms.purchase, cell)
            price = bought / np.maximum(lot, 1e-12)
            hold = hold * price / np.maximum(self.terms.unit_value[:, None], 1e-12)
        total = self.terms.order_cost[:, None] + self.waste + bought + hold + short
        possible = self.index >= start[:, None]
        least = self.terms.least_lot - 0.5 * self.outlook.step
        enough = possible & (lot >= least[:, None])
        free = np.argmin(np.where(possible, total / reviews, np.inf), axis=1)
        possible = np.where(enough.any(axis=1, keepdims=True), enough, possible)
        rate = np.where(possible, total / reviews, np.inf)
        best = np.argmin(rate, axis=1)
        rows = np.arange(len(best))
        self.forced = free < best
        return rate[rows, best], best.astype(np.int64), price[rows, best]

    def level_for(self, rate: Floats, price: Floats) -> Ints:
        """Lowest position at which waiting one more review costs no more than ``rate``."""
        spent = rate
        if self.terms.purchase is not None:
            spent = rate - self.outlook.need_per_review * price
        cost = self.period_cost
        if self.terms.purchase is not None:
            cost = self.hold * (price / np.maximum(self.terms.unit_value, 1e-12))[:, None]
            cost = cost + self.short
        fine = cost <= spent[:, None]
        lowest = np.argmin(cost, axis=1)
        return np.asarray(np.where(fine.any(axis=1), np.argmax(fine, axis=1), lowest), np.int64)

    def level_for_lot(self, lot: Ints) -> Ints:
        """Position s at least cost per review when every order lifts it by ``lot`` cells.

        Where packs set the lot, waiting also puts off where the lot lifts the position to.
        """
        lot = np.maximum(lot, 0)
        within = np.where(self.index <= lot[:, None], self.outlook.visits, 0.0)
        both = np.fft.rfft(self.period_cost, 2 * self.cells, axis=1) * np.fft.rfft(
            within, 2 * self.cells, axis=1
        )
        later = np.fft.irfft(both, 2 * self.cells, axis=1)[:, : self.cells]
        cost = self.period_cost + later + self.waste
        top = self.index + lot[:, None]
        over = top >= self.cells
        cost = np.take_along_axis(cost, np.minimum(top, self.cells - 1), axis=1)
        return np.asarray(np.argmin(np.where(over & (self.index > 0), np.inf, cost), axis=1))

    def hold_gap(self) -> Floats:
        """How far each position is from holding one review's need: a first guess for fill."""
        return np.abs(self.outlook.later_hold - self.outlook.need_per_review[:, None])

    def level_for_fill(self, lot: Ints) -> Ints:
        """Lowest s with the fill rate asked for, orders lifting the position by ``lot`` cells."""
        lot = np.maximum(lot, 0)
        within = np.where(self.index <= lot[:, None], self.outlook.visits, 0.0)
        spectrum = np.fft.rfft(within, 2 * self.cells, axis=1)
        short = self.outlook.later_new_short
        both = np.fft.rfft(short, 2 * self.cells, axis=1) * spectrum
        later = np.fft.irfft(both, 2 * self.cells, axis=1)[:, : self.cells]
        reviews = 1.0 + within.sum(axis=1)
        missed = (short + later) / np.maximum(reviews * self.outlook.need_per_review, 1e-12)[
            :, None
        ]
        top = np.minimum(self.index + lot[:, None], self.cells - 1)
        missed = np.take_along_axis(missed, top, axis=1)
        enough = missed <= 1 - self.terms.fill_rate[:, None]
        last = np.maximum(self.cells - 1 - lot, 0)
        return np.asarray(np.where(enough.any(axis=1), np.argmax(enough, axis=1), last), np.int64)

    def implied(self, start: Ints, up_to: Ints) -> Floats:
        """Shortage cost for which ``start`` would be the level at least cost."""
        rows = np.arange(len(start))
        reviews = self.reviews(start)[rows, up_to]
        hold = self.over_visits(self.hold, start)[rows, up_to]
        short = self.over_visits(self.outlook.later_short, start)[rows, up_to]
        fixed = self.terms.order_cost + self.waste[rows, up_to]
        gain = self.outlook.later_short[rows, start] - short / reviews
        cost = (fixed + hold) / reviews - self.hold[rows, start]
        floor = self.terms.hold_cost * 1.0
        with np.errstate(divide="ignore", invalid="ignore"):
            implied = np.where(gain > 1e-12, cost / np.maximum(gain, 1e-12), 0.0)
        return np.clip(implied, floor, np.maximum(self.terms.hold_cost * 1e4, 1e-9))


def _today(
    outlook: Outlook,
    terms: Terms,
    steady: _Steady,
    start: Ints,
    up_to: Ints,
    rate: Floats,
    short_cost: Floats,
    lot_price: Floats,
    by_fill: Bools,
) -> Policy:
    """The same two numbers for today, whose need is known better than a usual week's."""
    step = outlook.step
    spent = rate
    if terms.purchase is not None:
        spent = rate - outlook.need_per_review * lot_price
    hold = terms.hold_cost
    if terms.purchase is not None:
        hold = hold * lot_price / np.maximum(terms.unit_value, 1e-12)
    later = hold[:, None] * outlook.later_hold + np.where(
        terms.short_cost[:, None] > 0, short_cost[:, None] * outlook.later_short, 0.0
    )
    excess = later - spent[:, None]
    ahead = read_lower(steady.over_visits(excess, start) - excess, outlook.over_usual / step)
    short_now = short_cost[:, None] * outlook.now_short
    hold_now = hold[:, None] * outlook.now_hold + steady.waste
    value = hold_now + short_now - spent[:, None] + ahead
    by_service = terms.short_cost <= 0
    judged = np.where(by_service[:, None], value - short_now, value)
    floor = np.zeros(len(step))
    fixed = ~np.isnan(terms.now_level)
    floor = np.where(fixed, terms.now_level, floor)
    floor_cell = np.minimum(np.ceil(floor / step - 1e-9), steady.cells - 1)
    if by_fill.any():
        same = _position_of_equal_short(outlook, start)
        floor_cell = np.where(by_fill, same, floor_cell)
    allowed = steady.index >= floor_cell[:, None]
    best = np.argmin(np.where(allowed, judged, np.inf), axis=1)
    rows = np.arange(len(step))
    wait = value <= (terms.order_cost + value[rows, best])[:, None]
    first = np.argmax(wait, axis=1)
    crossing = _crossing(value, terms.order_cost, best, first)
    by_lot = _prices_differ(terms, step) | steady.forced
    if by_lot.any():
        best, crossing = _priced_by_lot(
            value,
            judged,
            terms,
            lot_price,
            step,
            floor_cell.astype(np.int64),
            by_lot,
            best,
            crossing,
        )
    level_cell = np.where(by_service, floor_cell, crossing)
    level = np.where(fixed, floor, level_cell * step)
    return Policy(
        step=step,
        level=level,
        order_up_to=np.maximum(best * step, level),
        cost_rate=rate,
        value=value,
        later_level=start * step,
        later_up_to=up_to * step,
        short_cost=short_cost,
        lot_price=lot_price,
    )


def _prices_differ(terms: Terms, step: Floats) -> Bools:
    """Rows whose price of a unit depends on the lot."""
    if terms.purchase is None:
        return np.zeros(len(step), bool)
    lots = np.arange(terms.purchase.shape[1]) * step[:, None]
    apart = np.abs(terms.purchase - terms.unit_value[:, None] * lots)
    return np.asarray((apart > 1e-9 * np.abs(terms.purchase)).any(axis=1))


def _priced_by_lot(
    value: Floats,
    judged: Floats,
    terms: Terms,
    lot_price: Floats,
    step: Floats,
    floor_cell: Ints,
    by_lot: Bools,
    best: Ints,
    crossing: Floats,
) -> tuple[Ints, Floats]:
    """Best position and crossing of the rows ``by_lot``, the others as given.

    From position x a lot of k cells costs K, what its price is over the usual lot's, and the
    cost of leaving with x + k; the level is where the cheapest lot on sale costs as much as
    waiting.
    """
    best, crossing = best.copy(), crossing.copy()
    cells = value.shape[1]
    lots = np.arange(cells) * step[:, None]
    over = np.zeros_like(lots)
    if terms.purchase is not None:
        over = terms.purchase - lot_price[:, None] * lots
    for row in np.flatnonzero(by_lot):
        if terms.short_cost[row] <= 0:
            floor = floor_cell[row]
            best[row] = floor + np.argmin(judged[row, floor:] + over[row, : cells - floor])
            continue
        least = terms.least_lot[row] - 0.5 * step[row]
        lot_cost = np.where(lots[row] >= least, over[row], np.inf)
        beyond = np.concatenate([value[row], np.full(cells - 1, np.inf)])
        ordered = np.lib.stride_tricks.sliding_window_view(beyond, cells) + lot_cost
        lot = np.argmin(ordered, axis=1)
        gap = value[row] - terms.order_cost[row] - ordered[np.arange(cells), lot]
        first = int(np.argmax(gap <= 0))
        before = max(first - 1, 0)
        part = gap[before] / (gap[before] - gap[first]) if first else 0.0
        crossing[row] = before + part
        best[row] = before + lot[before]
    return best, crossing


def _position_of_equal_short(outlook: Outlook, start: Ints) -> Floats:
    """Today's position whose expected shortage is nearest that of the usual level.

    Nearest, not the first with less: both are read off random paths, and the first with less would
    lie a whole unit higher every other time.
    """
    rows = np.arange(len(start))
    usual = outlook.later_short[rows, start]
    enough = outlook.now_short <= usual[:, None] + 1e-12
    cells = outlook.now_short.shape[1]
    first = np.where(enough.any(axis=1), np.argmax(enough, axis=1), cells - 1)
    before = np.maximum(first - 1, 0)
    over = outlook.now_short[rows, before] - usual
    under = usual - outlook.now_short[rows, first]
    return np.asarray(np.where(over < under, before, first), float)


def _crossing(value: Floats, order_cost: Floats, best: Ints, first: Ints) -> Floats:
    """Where on the way down to the best position waiting becomes dearer than ordering, cells."""
    rows = np.arange(len(best))
    target = order_cost + value[rows, best]
    before = np.maximum(first - 1, 0)
    high, low = value[rows, before], value[rows, first]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(high > low, (high - target) / (high - low), 1.0)
    return np.where(first == 0, 0.0, before + np.clip(part, 0.0, 1.0))

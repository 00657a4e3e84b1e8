"""From joint paths to what an order is judged by, for a few items and their offers at a time.

Reads the paths of a handful of items once, and for every (item, offer) the need until the next
chance to order can deliver, the need a usual week later, and what would outlive a new lot.
Amounts are base units. Nothing here chooses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from stock.demand.draws import stream
from stock.demand.known import Bools, Floats, ItemTerms
from stock.plan.cover import Shelf
from stock.plan.due import Due
from stock.plan.grid import CELLS, Ints, expected_short, expected_stock
from stock.plan.grid import spread_on_grid as on_grid
from stock.plan.level import Outlook, Terms
from stock.plan.needs import Course
from stock.plan.price import breaks_as_order_cost, feasible, purchase_cost
from stock.plan.snapshot import Offer, PlanSettings
from stock.plan.timing import Timing

LONGEST_LOT_WEEKS = 26.0
"""A lot never lasts longer than this on average: half a year ahead is guesswork (judgement)."""
MOST_REVIEWS = 24

LINGERS: Final[Mapping[str, float]] = {"erratic": 1.4, "intermittent": 2.5, "lumpy": 2.5}
"""How many times over holding counts, by class of demand; others once.

A cost per review assumes that the next review would buy the same unit again. Where need is uneven
the level is as restless as the forecast: what is bought at its peak lies for weeks in which no
one would buy it. Chosen on every 24th series of an open retail set from four starting points, at
two unit values; reported on others (guide, replay).
"""


@dataclass(frozen=True, eq=False)
class Pair:
    """One item from one offer, in a chunk: the item's row there and its terms.

    ``lingers`` is how many times over holding counts (:data:`LINGERS`).
    """

    row: int
    item: ItemTerms
    offer: Offer
    timing: Timing
    order_cost: float
    lingers: float = 1.0

    @property
    def life_days(self) -> int | None:
        """Days a delivered lot lives; None: no limit."""
        lives = [life for life in (self.offer.shelf_life_days, self.item.shelf_life_days) if life]
        return min(lives) if lives else None


@dataclass(frozen=True, eq=False)
class Seen:
    """What the paths say about each pair, shape (pairs, paths) unless said.

    Args:
        until_next: Need until the next chance delivers.
        outlives: Need until a lot ordered now would expire; infinity without a date.
        per_review: Mean need in a review period, shape (pairs,).
        rest_of_pack: Share of a pack expected to outlast its open life, shape (pairs,).
    """

    until_next: Floats
    outlives: Floats
    per_review: Floats
    rest_of_pack: Floats


def look_ahead(
    course: Course,
    usual: Course,
    pairs: Sequence[Pair],
    shelves: Sequence[Shelf],
    due: Sequence[Sequence[Due]],
    settings: PlanSettings,
) -> tuple[Seen, Outlook, Terms]:
    """Everything :func:`stock.plan.level.best_policy` needs for ``pairs``.

    Args:
        course: Paths of the chunk's items.
        usual: The same without what is on the book: what later reviews will see.
        shelves: Stock of the chunk's items, for its uncertainty.
        due: Open purchase lines of the chunk's items.
    """
    rows = np.array([pair.row for pair in pairs])
    review = max(1, settings.review_days)
    seen_days = _by_supplier(course, usual, pairs, review)
    until_next, until_look, later_end, later_look, later_start, outlives = seen_days
    unsure = np.array([shelf.sd for shelf in shelves])
    if (unsure > 0).any():
        noise = np.array(
            [
                np.minimum(
                    stream(settings.seed, "stock", pair.item.sku).standard_normal(course.paths)
                    * unsure[pair.row],
                    shelves[pair.row].unsure,
                )
                for pair in pairs
            ]
        )
        until_next, until_look = until_next + noise, until_look + noise
    weight = np.array([pair.timing.weight for pair in pairs])
    missing_next, missing_look = _not_yet_here(pairs, due, course.paths)
    until_next, until_look = until_next + missing_next, until_look + missing_look
    spacing = np.full(len(pairs), float(review))
    checks = _review_positions(usual, review)
    per_review = _usual_need(usual, review)[rows]
    unit_value = np.array([pair.offer.price_minor / pair.offer.amount for pair in pairs])
    lingers = np.array([pair.lingers for pair in pairs])
    hold = settings.holding_per_week * unit_value * spacing / 7 * lingers
    order_cost = np.array([pair.order_cost for pair in pairs])
    step = _steps(pairs, until_next, later_end, per_review, hold, order_cost, review)
    rest_of_pack = _rest_of_pack(course, pairs)
    outlook = _outlook(
        (until_look, later_look, later_end, later_start, outlives),
        weight,
        step,
        per_review,
        _visits(checks, rows, step, per_review),
        rest_of_pack,
        _over_usual(course, usual, pairs),
    )
    terms = _terms(pairs, until_next, later_end, step, hold, order_cost, unit_value, spacing)
    return Seen(until_next, outlives, per_review, rest_of_pack), outlook, terms


def _by_supplier(
    course: Course, usual: Course, pairs: Sequence[Pair], review: int
) -> tuple[Floats, ...]:
    shape = (len(pairs), course.paths)
    found = tuple(np.zeros(shape) for _ in range(6))
    until_next, until_look, later_end, later_look, later_start, outlives = found
    outlives.fill(np.inf)
    base = usual.through(review - 1)
    groups: dict[str, list[int]] = {}
    for place, pair in enumerate(pairs):
        groups.setdefault(pair.offer.supplier, []).append(place)
    for places in groups.values():
        timing = pairs[places[0]].timing
        rows = np.array([pairs[place].row for place in places])
        until_next[places] = course.through(timing.next_arrive - 1, rows)
        until_look[places] = course.through(timing.look, rows)
        later_end[places] = usual.through(timing.next_arrive - 1 + review, rows) - base[rows]
        later_look[places] = usual.through(timing.look + review, rows) - base[rows]
        fill = [place for place in places if pairs[place].item.service_kind == "fill"]
        if fill:
            own = np.array([pairs[place].row for place in fill])
            start = usual.through(timing.arrive - 1 + review, own) - base[own]
            later_start[fill] = start
        for place in places:
            life = pairs[place].life_days
            if life is not None:
                own = np.array([pairs[place].row])
                outlives[place] = course.through(timing.arrive + life, own)[0]
    return found


def _over_usual(course: Course, usual: Course, pairs: Sequence[Pair]) -> Floats:
    """How much more than usual is needed until the days looked at, on average, shape (pairs,)."""
    found = np.zeros(len(pairs))
    if usual is course:
        return found
    for place, pair in enumerate(pairs):
        row = np.array([pair.row])
        looked = pair.timing.look
        found[place] = course.through(looked, row).mean() - usual.through(looked, row).mean()
    return found


def _not_yet_here(
    pairs: Sequence[Pair], due: Sequence[Sequence[Due]], paths: int
) -> tuple[Floats, Floats]:
    """What is on order but comes after the days looked at, where deliveries overtake each other."""
    at_next, at_look = np.zeros((len(pairs), paths)), np.zeros((len(pairs), paths))
    for place, pair in enumerate(pairs):
        timing = pair.timing
        for line in due[pair.row]:
            if line.line.supplier == pair.offer.supplier and not timing.overtaken.any():
                continue
            apart = timing.overtaken | (line.line.supplier != pair.offer.supplier)
            at_next[place] += line.line.amount * (apart & (line.days >= timing.next_arrive))
            at_look[place] += line.line.amount * (apart & (line.days > timing.look))
    return at_next, at_look


def _usual_need(course: Course, review: int) -> Floats:
    """Mean need per review period after the first, shape (rows,)."""
    reviews = max(2, course.days // review)
    last = course.through(min(reviews * review, course.days) - 1).mean(axis=1)
    first = course.through(review - 1).mean(axis=1)
    spans = min(reviews * review, course.days) / review - 1
    return np.asarray((last - first) / max(spans, 1e-9))


def _review_positions(course: Course, review: int) -> list[Floats]:
    count = max(1, min(course.days // review, MOST_REVIEWS))
    return [course.through((place + 1) * review - 1) for place in range(count)]


def _visits(checks: list[Floats], rows: Ints, step: Floats, per_review: Floats) -> Floats:
    """Expected later reviews that find the position so many cells lower.

    Past the last review looked at the position goes on falling at its usual pace.
    """
    visits = np.zeros((len(rows), CELLS))
    for fallen in checks[:-1]:
        visits += on_grid(fallen[rows], step)
    last = on_grid(checks[-1][rows], step)
    pace = np.maximum(per_review / step, 1e-9)
    beyond = np.cumsum(last, axis=1) / pace[:, None]
    beyond = np.where((per_review > 1e-9)[:, None], beyond, 0.0)
    half = np.minimum(np.rint(pace / 2), CELLS).astype(np.int64)
    index = np.arange(CELLS) - half[:, None]
    moved = np.take_along_axis(beyond, np.maximum(index, 0), axis=1)
    return np.asarray(visits + last + np.where(index > 0, moved, 0.0))


def _steps(
    pairs: Sequence[Pair],
    until_next: Floats,
    later_end: Floats,
    per_review: Floats,
    hold: Floats,
    order_cost: Floats,
    review: int,
) -> Floats:
    """Base units per cell: the grid reaches past the level and any lot worth thinking of."""
    most = np.maximum(until_next.max(axis=1), later_end.max(axis=1))
    with np.errstate(divide="ignore", invalid="ignore"):
        fixed = order_cost + np.array([breaks_as_order_cost(pair.offer) for pair in pairs])
        lot = np.sqrt(2 * fixed * per_review / hold)
    longest = LONGEST_LOT_WEEKS * 7 / review * per_review
    lot = np.where(np.isfinite(lot), np.minimum(1.8 * lot, longest), longest)
    pack = np.array(
        [pair.offer.amount * feasible(pair.offer, 1) for pair in pairs],
    )
    breaks = np.array(
        [
            max((step.from_packs * pair.offer.amount for step in pair.offer.breaks), default=0.0)
            for pair in pairs
        ]
    )
    lot = np.maximum(lot, np.minimum(np.maximum(pack, breaks), 2 * longest))
    top = np.maximum(most * 1.02 + lot, 1e-6)
    fine = top / (CELLS - 1)
    whole = np.array([pair.item.unit == "each" for pair in pairs])
    return np.asarray(np.where(whole, np.maximum(fine, 1.0), fine))


def _outlook(
    needs: tuple[Floats, ...],
    weight: Floats,
    step: Floats,
    per_review: Floats,
    visits: Floats,
    rest_of_pack: Floats,
    over_usual: Floats,
) -> Outlook:
    until_look, later_look, later_end, later_start, outlives = needs
    now_hold = expected_stock(on_grid(until_look, step, weight), step)
    later_hold = expected_stock(on_grid(later_look, step, weight), step)
    grid = np.arange(CELLS) * step[:, None]
    new_short = np.zeros_like(now_hold)
    counted = later_start.any(axis=1)
    if counted.any():
        new_short[counted] = _new_short(later_end[counted], later_start[counted], step[counted])
    outdated = rest_of_pack[:, None] * grid
    dated = np.isfinite(outlives[:, 0])
    if dated.any():
        outdated[dated] += expected_stock(on_grid(outlives[dated], step[dated]), step[dated])
    return Outlook(
        step=step,
        now_hold=now_hold,
        now_short=expected_short(now_hold, (weight * until_look).mean(axis=1), step),
        later_hold=later_hold,
        later_short=expected_short(later_hold, (weight * later_look).mean(axis=1), step),
        later_new_short=new_short,
        visits=visits,
        need_per_review=np.maximum(per_review, 1e-12),
        outdated=outdated,
        over_usual=over_usual,
    )


def _new_short(end: Floats, start: Floats, step: Floats) -> Floats:
    """Expected shortage that arises between ``start`` and ``end`` at each position."""
    short_end = expected_short(expected_stock(on_grid(end, step), step), end.mean(axis=1), step)
    held = expected_stock(on_grid(start, step), step)
    return np.maximum(short_end - expected_short(held, start.mean(axis=1), step), 0.0)


def _terms(
    pairs: Sequence[Pair],
    until_next: Floats,
    later_end: Floats,
    step: Floats,
    hold: Floats,
    order_cost: Floats,
    unit_value: Floats,
    spacing: Floats,
) -> Terms:
    short = np.array([pair.item.shortage_cost_minor for pair in pairs]) * spacing / 7
    by_service = short <= 0
    cycle = by_service & np.array([pair.item.service_kind == "cycle" for pair in pairs])
    fill = by_service & ~cycle
    matters = np.array([pair.timing.weight > 0 for pair in pairs])
    service = np.array([pair.item.service for pair in pairs])
    purchase = None
    if any(pair.offer.breaks for pair in pairs):
        purchase = np.array(
            [
                purchase_cost(pair.offer, np.arange(CELLS) * cell / pair.offer.amount)
                for pair, cell in zip(pairs, step, strict=True)
            ]
        )
    return Terms(
        order_cost=order_cost,
        hold_cost=hold,
        short_cost=short,
        unit_value=unit_value,
        now_level=np.where(cycle, quantile_of(until_next, service, matters), np.nan),
        later_level=np.where(cycle, quantile_of(later_end, service, matters), np.nan),
        fill_rate=np.where(fill, service, np.nan),
        least_lot=np.array([p.offer.amount * feasible(p.offer, 1) for p in pairs]),
        purchase=purchase,
    )


def quantile_of(values: Floats, level: Floats, matters: Bools) -> Floats:
    """Smallest value of each row not exceeded by a share ``level`` of those that matter."""
    count = matters.sum(axis=1)
    place = np.clip(np.ceil(level * count - 1e-9).astype(np.int64) - 1, 0, count - 1)
    ranked = np.partition(np.where(matters, values, np.inf), np.unique(place), axis=1)
    return np.asarray(ranked[np.arange(len(values)), place])


def _rest_of_pack(course: Course, pairs: Sequence[Pair]) -> Floats:
    """Share of a pack expected to outlast its life once opened, shape (pairs,)."""
    rest = np.zeros(len(pairs))
    for place, pair in enumerate(pairs):
        life = pair.item.open_life_days
        if life is not None and life > 0:
            drawn = course.through(life - 1, np.array([pair.row]))[0]
            rest[place] = np.maximum(pair.offer.amount - drawn, 0.0).mean() / pair.offer.amount
    return rest

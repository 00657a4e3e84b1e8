"""The plan: one pure function from a snapshot to what to buy, from whom, how many, and why.

The weekly list, a what-if and a replay over years of history all call :func:`plan`. The same
snapshot (and its seed) gives the same answer to the last byte. Amounts are base units, money
minor units. Nothing here reads a book, a clock or a file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta

import numpy as np

from stock.demand.known import Floats, ItemTerms
from stock.plan.amount import Choice, Judge, choose
from stock.plan.cover import Shelf, left_at_date, sort_out
from stock.plan.decisions import (
    Decisions,
    ExpiringLot,
    ItemState,
    ReorderLine,
)
from stock.plan.due import Due, due_lines
from stock.plan.expiry import lots_at_risk
from stock.plan.explain import reasons
from stock.plan.findings import Checked, check_terms
from stock.plan.grid import Ints
from stock.plan.joint import line_costs, settle_orders
from stock.plan.level import Policy, best_policy
from stock.plan.needs import Course, DemandNeeds, Needs, course_of, horizon_for, usual_course_of
from stock.plan.outlook import LINGERS, Pair, Seen, look_ahead
from stock.plan.snapshot import Snapshot
from stock.plan.standing import (
    Best,
    Standing,
    first_day_short,
    latest_order_day,
    parts_of_need,
    weekly_bands,
)
from stock.plan.timing import Timing, time_suppliers

CHUNK = 32
"""Items whose paths are held at once: 32 × 2,000 paths × 84 days × 4 bytes = 21 MB."""


def plan(snapshot: Snapshot, needs: Needs | None = None) -> Decisions:
    """What to buy now, and where every item stands.

    Args:
        snapshot: All that is known.
        needs: Where the joint paths come from; default: the demand package, from the snapshot.
    """
    terms = check_terms(snapshot)
    said = list(terms.findings)
    paths = needs.n_paths if needs is not None else snapshot.settings.paths
    used = {offer.supplier for offers in terms.offers.values() for offer in offers}
    suppliers = [terms.suppliers[code] for code in sorted(used)]
    timings = time_suppliers(snapshot, suppliers, paths, said)
    if needs is None:
        longest = max((timing.longest_days for timing in timings.values()), default=0)
        needs = DemandNeeds(snapshot, horizon_for(snapshot, longest))
    said += needs.notes
    standings, expiring = _stand(snapshot, terms, timings, needs)
    standings, totals, notes = settle_orders(snapshot, standings)
    said += notes
    lines = [
        _line(snapshot, stand, stand.best, stand.best.choice)
        for stand in standings
        if stand.best is not None and stand.best.choice is not None and stand.best.packs
    ]
    return Decisions(
        day=snapshot.day,
        currency=snapshot.settings.currency,
        lines=tuple(sorted(lines, key=lambda line: (line.supplier, line.item))),
        totals=tuple(totals),
        expiring=tuple(expiring),
        states=tuple(_state(snapshot, stand) for stand in standings),
        findings=tuple(dict.fromkeys(said)),
    )


def _stand(
    snapshot: Snapshot, terms: Checked, timings: dict[str, Timing], needs: Needs
) -> tuple[list[Standing], list[ExpiringLot]]:
    """Every item's standing and choice, a few items' paths at a time."""
    shelves = sort_out(snapshot.stock, snapshot.day)
    due = due_lines(snapshot, timings, needs.n_paths)
    costs = line_costs(snapshot, terms)
    standings: list[Standing] = []
    expiring: list[ExpiringLot] = []
    items = terms.items
    for start in range(0, len(items), CHUNK):
        chunk = items[start : start + CHUNK]
        rows = [needs.row(item.sku) for item in chunk]
        course = course_of(needs, rows)
        own = [shelves.get(item.sku, Shelf()) for item in chunk]
        lingers = [LINGERS.get(needs.kind(row), 1.0) for row in rows]
        pairs = _pairs(chunk, terms, timings, costs, lingers)
        coming = [tuple(due.get(item.sku, ())) for item in chunk]
        usual = usual_course_of(needs, rows, course)
        judged = _judge(course, usual, pairs, own, coming, snapshot)
        for place, item in enumerate(chunk):
            left = left_at_date(course, place, own[place])
            expiring += lots_at_risk(snapshot, item, own[place], left)
            options = judged.get(place, [])
            known = needs.known_parts(rows[place])
            lines = coming[place]
            standings.append(
                _standing(snapshot, course, place, item, own[place], left, lines, options, known)
            )
    expiring.sort(key=lambda lot: (lot.effective_expiry, lot.item, lot.lot, lot.place))
    return standings, expiring


def _pairs(
    chunk: Sequence[ItemTerms],
    terms: Checked,
    timings: Mapping[str, Timing],
    costs: Mapping[tuple[str, str], float],
    lingers: Sequence[float],
) -> list[Pair]:
    return [
        Pair(
            row,
            item,
            offer,
            timings[offer.supplier],
            costs[item.sku, offer.supplier],
            lingers[row],
        )
        for row, item in enumerate(chunk)
        if item.reorder
        for offer in terms.offers.get(item.sku, ())
        if offer.supplier in timings
    ]


Option = tuple[Pair, Policy, int, Seen, float]
"""An offer of one item: the pair, its policy and row there, what was seen, cost per week."""


def _judge(
    course: Course,
    usual: Course,
    pairs: list[Pair],
    shelves: list[Shelf],
    due: list[tuple[Due, ...]],
    snapshot: Snapshot,
) -> dict[int, list[Option]]:
    """Each item's offers, cheapest per week in the long run first; preferred ones before all."""
    if not pairs:
        return {}
    seen, outlook, terms = look_ahead(course, usual, pairs, shelves, due, snapshot.settings)
    policy = best_policy(outlook, terms)
    per_week = 7 / max(1, snapshot.settings.review_days)
    found: dict[int, list[Option]] = {}
    for place, pair in enumerate(pairs):
        cost = float(policy.cost_rate[place])
        if terms.purchase is None:
            cost += float(seen.per_review[place] * terms.unit_value[place])
        found.setdefault(pair.row, []).append((pair, policy, place, seen, cost * per_week))
    for options in found.values():
        options.sort(key=lambda option: (not option[0].offer.preferred, option[4]))
    return found


def _standing(
    snapshot: Snapshot,
    course: Course,
    row: int,
    item: ItemTerms,
    shelf: Shelf,
    left: Floats,
    due: tuple[Due, ...],
    options: list[Option],
    known: tuple[Floats, Floats, Floats],
) -> Standing:
    runs_out, drained = first_day_short(course, row, shelf, left, due)
    review = max(1, snapshot.settings.review_days)
    timing = options[0][0].timing if options else None
    until = timing.next_arrive if timing else np.full(course.paths, review, np.int64)
    arrive = timing.arrive if timing else until
    total = float(course.through(until - 1, np.array([row]))[0].mean())
    need = parts_of_need(known, until, total)
    dated = [entry for entry in shelf.counted if entry.last_day is not None]
    lost = tuple(
        (entry, gone)
        for place, entry in enumerate(dated)
        if (gone := float((left[place] * ((entry.last_day or 0) < until)).mean())) > 1e-9
    )
    usable = max(shelf.amount - sum(gone for _, gone in lost), 0.0)
    on_order = sum(line.line.amount for line in due)
    best = None
    if options:
        position = usable + on_order
        best = _best(snapshot, course, item, position, need.firm, runs_out, options)
    return Standing(
        item=item,
        shelf=shelf,
        lost=lost,
        usable=usable,
        due=due,
        on_order=on_order,
        need=need,
        protection_days=float(until.mean()),
        stockout_chance=float((runs_out < until).mean()),
        runs_dry_before_delivery=float((runs_out < arrive).mean()),
        cover_days=float(np.median(runs_out)),
        bands=weekly_bands(course, row, shelf.amount, drained),
        best=best,
    )


def _best(
    snapshot: Snapshot,
    course: Course,
    item: ItemTerms,
    position: float,
    booked: float,
    runs_out: Ints,
    options: list[Option],
) -> Best:
    pair, policy, place, seen, _ = options[0]
    outlives = seen.outlives[place]
    judge = Judge(
        pair.offer,
        policy,
        place,
        position,
        pair.order_cost,
        np.sort(outlives) if np.isfinite(outlives[0]) else None,
        item.waste_risk,
        item.shortage_cost_minor > 0,
        booked,
    )
    service = _service(item, snapshot, pair)
    return Best(
        offer=pair.offer,
        timing=pair.timing,
        judge=judge,
        choice=choose(judge),
        order_by=latest_order_day(snapshot, pair.timing, runs_out, service, course.days),
        compared=tuple((option[0].offer, option[4]) for option in options),
        rest_of_pack=float(seen.rest_of_pack[place]),
        lingers=pair.lingers,
    )


def _service(item: ItemTerms, snapshot: Snapshot, pair: Pair) -> float:
    """Chance of not running out that the item's service amounts to."""
    if item.shortage_cost_minor <= 0:
        return item.service
    price = pair.offer.price_minor / pair.offer.amount
    week = snapshot.settings.holding_per_week * price * pair.lingers
    return item.shortage_cost_minor / (item.shortage_cost_minor + week)


def _line(snapshot: Snapshot, stand: Standing, best: Best, choice: Choice) -> ReorderLine:
    return ReorderLine(
        item=stand.item.sku,
        supplier=best.offer.supplier,
        pack=best.offer.pack,
        packs=choice.packs,
        amount=choice.amount,
        unit=stand.item.unit,
        cost=choice.cost,
        on_hand_usable=stand.usable,
        on_order=stand.on_order,
        need=stand.need,
        protection_days=stand.protection_days,
        order_up_to=best.judge.order_up_to,
        order_by=best.order_by,
        stockout_chance=stand.stockout_chance,
        expiry_chance=choice.expiry_chance,
        why=reasons(snapshot, stand, best, choice),
        level=best.judge.level,
        lead_days=best.timing.mean_lead_days,
        order_on=snapshot.day + timedelta(days=best.timing.order_offset),
        name=stand.item.name,
        runs_dry_before_delivery=stand.runs_dry_before_delivery,
    )


def _state(snapshot: Snapshot, stand: Standing) -> ItemState:
    day = snapshot.day
    best = stand.best
    low, middle, high, need_low, need_mid, need_high = stand.bands
    ordered = best.choice if best is not None and best.packs else None
    arrives = None
    if best is not None and ordered is not None:
        arrives = day + timedelta(days=round(best.timing.mean_lead_days))
    return ItemState(
        item=stand.item.sku,
        unit=stand.item.unit,
        on_hand_usable=stand.usable,
        on_order=stand.on_order,
        not_counted=sum(amount for _, amount, _ in stand.shelf.left_out)
        + sum(gone for _, gone in stand.lost),
        need=stand.need,
        protection_days=stand.protection_days,
        level=best.judge.level if best else 0.0,
        order_up_to=best.judge.order_up_to if best else 0.0,
        order_by=best.order_by if best else None,
        stockout_chance=stand.stockout_chance,
        cover_days=stand.cover_days,
        supplier=best.offer.supplier if best else "",
        stock_low=low,
        stock_mid=middle,
        stock_high=high,
        need_low=need_low,
        need_mid=need_mid,
        need_high=need_high,
        deliveries=tuple(
            (day + timedelta(days=round(line.mean_day)), line.line.amount) for line in stand.due
        ),
        order_amount=ordered.amount if ordered else 0.0,
        order_arrives=arrives,
        on_hand_sd=stand.shelf.sd,
        declined=best is not None and best.choice is not None and not best.packs,
    )

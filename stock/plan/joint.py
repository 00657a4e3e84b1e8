"""Lines of one supplier that share an order: its cost, its minimum, its freight.

An order below the smallest one taken is topped up, and one short of free freight where that costs
less than the freight: by the packs that cost least to have early (holding, expiry, another line)
for the money they bring, never past their waste risk. Money is in minor units. Nothing here knows
a forecast.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import timedelta

import numpy as np

from stock.plan.amount import topped_up
from stock.plan.decisions import SupplierTotal
from stock.plan.findings import Checked
from stock.plan.price import candidate_packs, feasible, purchase_cost
from stock.plan.snapshot import Snapshot, SupplierTerms
from stock.plan.standing import Best, Standing
from stock.units import format_money


def line_costs(snapshot: Snapshot, terms: Checked) -> Mapping[tuple[str, str], float]:
    """Cost of one more order line of an item from a supplier, its share of the order included."""
    lines: dict[str, int] = {}
    for offers in terms.offers.values():
        for supplier in {offer.supplier for offer in offers}:
            lines[supplier] = lines.get(supplier, 0) + 1
    costs = {}
    for item, offers in terms.offers.items():
        for offer in offers:
            supplier_terms = terms.suppliers[offer.supplier]
            share = supplier_terms.order_cost_minor / max(1.0, lines[offer.supplier] / 4)
            costs[item, offer.supplier] = supplier_terms.line_cost_minor + share
    return costs


def settle_orders(
    snapshot: Snapshot, standings: list[Standing]
) -> tuple[list[Standing], list[SupplierTotal], list[str]]:
    """Each supplier's order as a whole, topped up where that is asked for or pays."""
    places: dict[str, list[int]] = {}
    for place, stand in enumerate(standings):
        if stand.best is not None:
            places.setdefault(stand.best.offer.supplier, []).append(place)
    settled = list(standings)
    totals = []
    for code, own in sorted(places.items()):
        lines = [best for best in (settled[place].best for place in own) if best and best.packs]
        if not lines:
            continue
        timing = lines[0].timing
        terms = timing.supplier
        _join(settled, own, terms)
        notes = _top_up(snapshot, settled, own, terms)
        lines = [best for best in (settled[place].best for place in own) if best and best.packs]
        goods = _goods(lines)
        waived = terms.free_freight_minor > 0 and goods >= terms.free_freight_minor
        totals.append(
            SupplierTotal(
                code,
                len(lines),
                goods,
                0.0 if waived else terms.freight_minor,
                terms.order_cost_minor,
                terms.minimum_minor,
                max(terms.minimum_minor - goods, 0.0),
                snapshot.day + timedelta(days=timing.order_offset),
                notes,
            )
        )
    return settled, totals, []


def _join(settled: list[Standing], own: list[int], terms: SupplierTerms) -> None:
    """Take along, in place, the items whose own order would come soon enough to be dearer.

    An order goes out anyway: a line on it costs the line alone, not its share of the order. Items
    kept by service have no price of waiting to weigh that against; they wait for their level.
    """
    for place in own:
        best = settled[place].best
        assert best is not None
        judge = best.judge
        share = judge.order_cost - terms.line_cost_minor
        room = judge.order_up_to - judge.position
        if best.choice is not None or not judge.by_cost or share <= 0 or room < best.offer.amount:
            continue
        packs = candidate_packs(best.offer, best.offer.amount, room)
        packs = packs[judge.expiry_chance(packs) <= judge.waste_risk]
        wait = float(judge.cost_of(np.array([0]))[0])
        cost = judge.cost_of(packs) - share
        if packs.size and cost.min() < wait:
            choice = topped_up(judge, None, int(packs[np.argmin(cost)]))
            choice = replace(choice, topped_up=0, held_by="joins")
            settled[place] = replace(settled[place], best=replace(best, choice=choice))


def _goods(lines: Iterable[Best]) -> float:
    return sum(best.choice.cost for best in lines if best.choice)


def _top_up(
    snapshot: Snapshot, settled: list[Standing], own: list[int], terms: SupplierTerms
) -> tuple[str, ...]:
    """Add packs to ``settled`` in place where the supplier's terms ask for it; what was done."""
    say = _Money(snapshot.settings.currency)
    notes = []
    goods = _goods(best for best in (settled[place].best for place in own) if best and best.packs)
    if goods < terms.minimum_minor:
        packs, _, reached = _cheapest(settled, own, terms.minimum_minor - goods)
        _add(settled, packs)
        if reached < terms.minimum_minor - goods:
            missing = terms.minimum_minor - goods - reached
            notes.append(
                f"{say(missing)} short of the smallest order of {say(terms.minimum_minor)}: more "
                "would too likely expire unused."
            )
        else:
            notes.append(
                f"{say(reached)} of it only reach the smallest order of {say(terms.minimum_minor)}."
            )
        goods += reached
    short = terms.free_freight_minor - goods
    if terms.freight_minor > 0 and short > 0:
        packs, extra, reached = _cheapest(settled, own, short, terms.freight_minor)
        if reached >= short and extra < terms.freight_minor:
            _add(settled, packs)
            notes.append(
                f"{say(reached)} of it only reach free freight: having them early costs "
                f"{say(max(extra, 0.0))}, the freight {say(terms.freight_minor)}."
            )
    return tuple(notes)


class _Money:
    def __init__(self, currency: str) -> None:
        self.currency = currency

    def __call__(self, minor: float) -> str:
        return format_money(round(minor), self.currency)


def _cheapest(
    settled: list[Standing], own: list[int], short: float, at_most: float = float("inf")
) -> tuple[dict[int, int], float, float]:
    """Packs in all by place, what having them early costs, and the money they bring."""
    packs: dict[int, int] = {}
    heap = [step for place in own if (step := _next_step(settled[place], place, 0, short))]
    heapq.heapify(heap)
    extra = reached = 0.0
    while heap and reached < short and extra < at_most:
        _, place, count, cost, brings = heapq.heappop(heap)
        packs[place] = count
        extra += cost
        reached += brings
        following = _next_step(settled[place], place, count, short - reached)
        if following:
            heapq.heappush(heap, following)
    return packs, extra, reached


Step = tuple[float, int, int, float, float]
"""(cost for the money it brings, place, packs in all, cost, money)."""


def _next_step(stand: Standing, place: int, packs: int, short: float) -> Step | None:
    """The better of one more lot on sale and as many as are missing; None: too likely to expire."""
    best = stand.best
    if best is None or short <= 0:
        return None
    now = packs or best.packs
    each = max(best.offer.price_minor, 1e-9)
    wanted = {feasible(best.offer, now + 1), feasible(best.offer, now + math.ceil(short / each))}
    counts = np.array([now, *sorted(wanted)], np.int64)
    cost = best.judge.cost_of(counts)
    money = purchase_cost(best.offer, counts)
    risk = best.judge.expiry_chance(counts)
    steps = [
        (float(cost[k] - cost[0]) / brings, place, int(counts[k]), float(cost[k] - cost[0]), brings)
        for k in range(1, len(counts))
        if (brings := float(money[k] - money[0])) > 0 and risk[k] <= best.judge.waste_risk
    ]
    return min(steps, default=None)


def _add(settled: list[Standing], packs: Mapping[int, int]) -> None:
    for place, count in packs.items():
        stand = settled[place]
        assert stand.best is not None
        choice = topped_up(stand.best.judge, stand.best.choice, count)
        settled[place] = replace(stand, best=replace(stand.best, choice=choice))

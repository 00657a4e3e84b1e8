"""Properties of the whole plan over generated shops: one function, any stock, terms and orders."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from stock.demand.known import History, ItemTerms, OrderLine, PieceUse
from stock.plan.decide import plan
from stock.plan.decisions import Decisions
from stock.plan.price import feasible
from stock.plan.snapshot import (
    Offer,
    OnOrder,
    PlanSettings,
    PriceBreak,
    Snapshot,
    StockLot,
    SupplierTerms,
)
from tests.checks.textbook import decided, seen, spread_over

DAY = date(2026, 3, 2)
QUICK = settings(max_examples=25, deadline=None, derandomize=True)
SETTINGS = PlanSettings(paths=200)
MONDAYS = np.datetime64(DAY, "D") - 7 * np.arange(26, 0, -1)


@st.composite
def histories(draw: st.DrawFn) -> History:
    mean = draw(st.sampled_from([0.3, 4.0, 40.0, 900.0]))
    share = draw(st.sampled_from([0.1, 0.5, 1.0]))
    random = np.random.default_rng(draw(st.integers(0, 2**20)))
    weeks = np.where(random.random(26) < share, random.gamma(2.0, mean / 2, 26), 0.0)
    return History(("X",), MONDAYS, np.round(weeks)[None], np.zeros((1, 26), bool))


@st.composite
def offers(draw: st.DrawFn, supplier: str) -> Offer:
    price = draw(st.sampled_from([40.0, 310.0, 9900.0]))
    starts = sorted(draw(st.sets(st.integers(2, 60), max_size=2)))
    return Offer(
        "X",
        supplier,
        f"{supplier} pack",
        draw(st.sampled_from([1.0, 12.0, 500.0])),
        price,
        multiple=draw(st.sampled_from([1, 4])),
        min_packs=draw(st.sampled_from([1, 1, 10])),
        breaks=tuple(PriceBreak(n, price * (0.9 - 0.1 * k)) for k, n in enumerate(starts)),
        breaks_kind=draw(st.sampled_from(["all_units", "incremental"])),
        shelf_life_days=draw(st.sampled_from([None, None, 10, 120])),
    )


@st.composite
def shops(draw: st.DrawFn, only: str = "") -> Snapshot:
    kind = only or draw(st.sampled_from(["cycle", "fill", "cost"]))
    item = ItemTerms(
        "X",
        "supply",
        draw(st.sampled_from(["each", "mL"])),
        service=draw(st.sampled_from([0.8, 0.95, 0.99])),
        service_kind="fill" if kind == "fill" else "cycle",
        shortage_cost_minor=draw(st.sampled_from([5.0, 300.0])) if kind == "cost" else 0.0,
        waste_risk=draw(st.sampled_from([0.05, 0.3])),
    )
    codes = draw(st.sampled_from([["S"], ["S", "T"]]))
    lots = draw(
        st.lists(
            st.tuples(st.floats(0.0, 900.0), st.sampled_from([None, -3, 0, 9, 60])), max_size=3
        )
    )
    lines = draw(
        st.lists(
            st.tuples(
                st.integers(-3, 40), st.integers(1, 400), st.sampled_from(["quote", "confirmed"])
            ),
            max_size=3,
        )
    )
    return Snapshot(
        DAY,
        (item,),
        stock=tuple(
            StockLot(
                "X", f"L{n}", "SHELF", "shelf", amount,
                effective_expiry=None if ends is None else DAY + timedelta(days=ends),
            )
            for n, (amount, ends) in enumerate(lots)
        ),
        on_order=tuple(
            OnOrder(f"P{n}", "X", "S", amount, DAY - timedelta(days=3))
            for n, amount in enumerate(draw(st.lists(st.floats(1.0, 500.0), max_size=1)))
        ),
        offers=tuple(draw(offers(code)) for code in codes),
        suppliers=tuple(
            SupplierTerms(
                code,
                lead_days=draw(st.sampled_from([1.0, 5.0, 15.0])),
                order_days=draw(st.sampled_from([frozenset(range(5)), frozenset({3})])),
                line_cost_minor=draw(st.sampled_from([0.0, 300.0])),
                order_cost_minor=draw(st.sampled_from([0.0, 900.0])),
                minimum_minor=draw(st.sampled_from([0.0, 0.0, 5000.0])),
            )
            for code in codes
        ),
        order_lines=tuple(_order(f"O{n}", *line) for n, line in enumerate(lines)),
        history=draw(histories()),
        settings=SETTINGS,
    )  # fmt: skip


def _order(name: str, due: int, pieces: int, stage: str) -> OrderLine:
    return OrderLine(
        name, 1, stage, DAY - timedelta(days=5), DAY + timedelta(days=due), float(pieces),  # type: ignore[arg-type]
        win_probability=0.4, uses=(PieceUse("X", 1.0, 0.1),),
    )  # fmt: skip


def ordered(found: Decisions) -> float:
    line = found.line("X")
    return line.amount if line else 0.0


@QUICK
@given(shops(), st.floats(1.0, 3000.0))
def test_more_stock_never_raises_the_order(shop, more):
    """Where more than 64 numbers of packs are on sale, evenly spread ones are compared: the best
    of them may lie one place off."""
    lot = StockLot("X", "MORE", "SHELF", "shelf", more)
    place = 0.02 if max(offer.amount for offer in shop.offers) < 500 else 0.0
    before, after = plan(shop), plan(replace(shop, stock=(*shop.stock, lot)))
    assert ordered(after) <= ordered(before) * (1 + place)


def with_one_supplier(shop: Snapshot, lead_days: float | None = None) -> Snapshot:
    """Its first offer and supplier only, with a stated spread of a day."""
    supplier = replace(shop.suppliers[0], lead_sd_days=1.0)
    if lead_days is not None:
        supplier = replace(supplier, lead_days=lead_days)
    return replace(shop, offers=shop.offers[:1], suppliers=(supplier,))


def without_lots(shop: Snapshot) -> Snapshot:
    """Nothing makes it worth ordering more than is short."""
    offer = replace(
        shop.offers[0], breaks=(), amount=1.0, multiple=1, min_packs=1, shelf_life_days=None
    )
    supplier = replace(shop.suppliers[0], line_cost_minor=0.0, order_cost_minor=0.0)
    return replace(shop, offers=(offer,), suppliers=(supplier,))


@QUICK
@given(shops("cycle"), st.sampled_from([1.0, 5.0, 10.0]))
def test_a_longer_lead_time_never_lowers_the_level_for_cycle_service(shop, more):
    stated = shop.suppliers[0].lead_days
    sooner = plan(with_one_supplier(shop, stated)).state("X")
    later = plan(with_one_supplier(shop, stated + more)).state("X")
    assert later.level >= sooner.level * (1 - 1e-6)


@QUICK
@given(
    st.lists(st.integers(0, 30), min_size=60, max_size=60),
    st.sampled_from(["fill", "cost"]),
    st.integers(0, 4),
)
def test_a_longer_lead_time_never_lowers_any_level_of_steady_need(need, kind, weeks):
    """Every path starts at another week of one circle, so that all weeks are alike exactly."""
    circle = np.array(need, float)
    courses = np.array([np.roll(circle, -start)[:12] for start in range(60)])
    terms = {"service": 0.9, "service_kind": "fill", "pack": 0.001}
    if kind == "cost":
        terms = {"shortage_cost_minor": 5.0, "pack": 0.001}
    sooner, later = (
        decided(seen(lead_days=7 * lead, **terms), {"X": spread_over(courses, 7)}).state("X")
        for lead in (weeks, weeks + 1)
    )
    assert later.level >= sooner.level * (1 - 1e-6)
    assert later.order_up_to >= sooner.order_up_to * (1 - 1e-6) - 1  # a whole piece of the grid


@QUICK
@given(shops(), st.sampled_from([(0.7, 0.9), (0.9, 0.95), (0.95, 0.99)]))
def test_a_higher_service_never_lowers_the_level(shop, services):
    """For a fill rate where no lot is on top: a larger lot serves as much from a lower level."""
    one = with_one_supplier(shop)
    one = without_lots(one) if shop.items[0].service_kind == "fill" else one
    low, high = (
        plan(replace(one, items=(replace(one.items[0], service=service),))).state("X").level
        for service in services
    )
    assert high >= low * (1 - 1e-6)


@QUICK
@given(shops("cycle"), st.integers(0, 6), st.integers(1, 900))
def test_another_firm_order_never_lowers_the_level(shop, due, pieces):
    """Due before the next chance delivers."""
    one = with_one_supplier(shop)
    more = _order("NEW", due, pieces, "confirmed")
    before, after = plan(one), plan(replace(one, order_lines=(*one.order_lines, more)))
    assert after.state("X").level >= before.state("X").level * (1 - 1e-6)


@QUICK
@given(shops(), st.integers(0, 40), st.integers(1, 900))
def test_another_firm_order_never_lowers_what_is_ordered(shop, due, pieces):
    """But for stock that would have expired and is used by it, for a price break or an order's
    minimum given up for it; and but for the grid: levels are read off 256 cells."""
    one = with_one_supplier(shop)
    offer = replace(one.offers[0], breaks=(), shelf_life_days=None)
    supplier = replace(one.suppliers[0], minimum_minor=0.0)
    undated = tuple(replace(lot, effective_expiry=None) for lot in one.stock)
    one = replace(one, offers=(offer,), suppliers=(supplier,), stock=undated)
    more = _order("NEW", due, pieces, "confirmed")
    before, after = plan(one), plan(replace(one, order_lines=(*one.order_lines, more)))
    cell = before.state("X").order_up_to / 255
    assert ordered(after) >= ordered(before) - max(2 * cell, offer.amount)


@QUICK
@given(shops())
def test_every_line_is_on_sale_and_covered_or_says_why_not(shop):
    found = plan(shop)
    assert repr(found.to_json()) == repr(plan(shop).to_json())
    for line in found.lines:
        offer = next(o for o in shop.offers if o.supplier == line.supplier)
        assert line.packs >= 1
        assert feasible(offer, line.packs) == line.packs
        assert line.amount == line.packs * offer.amount
        there = line.amount + line.on_hand_usable + line.on_order
        said = any("to the order-up-to level" in why for why in line.why)
        assert there >= line.order_up_to * (1 - 1e-9) or said
        assert line.expiry_chance <= shop.items[0].waste_risk or any(
            "expire" in why for why in line.why
        )


@QUICK
@given(shops(), st.sampled_from([1, 3, 7]))
def test_nothing_is_ordered_that_must_expire_unused(shop, life):
    """Where stock without a date outlasts any lot that could come, no lot is worth its price."""
    brief = tuple(replace(offer, shelf_life_days=life) for offer in shop.offers)
    plenty = StockLot("X", "PLENTY", "SHELF", "shelf", 1e6)
    assert not plan(replace(shop, offers=brief, stock=(plenty,))).lines

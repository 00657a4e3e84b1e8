"""One supplier's lines as one order: smallest order taken, free freight, and what tops it up."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stock.plan.decisions import Decisions
from stock.plan.snapshot import Snapshot, StockLot
from tests.checks.textbook import certain, decided, seen

NEED = {"A": certain(2.0), "B": certain(2.0), "C": certain(2.0)}
HELD = {"A": 0.0, "B": 40.0, "C": 400.0}


def shop(**terms: float) -> Snapshot:
    """Only A is short; B lasts three weeks and C half a year. A piece costs 1.00."""
    start = seen(NEED, lead_days=7, shortage_cost_minor=100.0, hold_per_week=0.01)
    stock = tuple(StockLot(sku, "L", "SHELF", "shelf", held) for sku, held in HELD.items() if held)
    return replace(start, stock=stock, suppliers=(replace(start.suppliers[0], **terms),))


def bought(found: Decisions) -> dict[str, int]:
    return {line.item: line.packs for line in found.lines}


def test_without_terms_only_what_is_short_is_ordered():
    found = decided(shop(), NEED)
    assert set(bought(found)) == {"A"}
    assert found.totals[0].notes == ()


def test_an_order_below_the_smallest_taken_is_topped_up_by_what_is_needed_next():
    plain = decided(shop(), NEED)
    found = decided(shop(minimum_minor=8000.0), NEED)
    assert found.totals[0].goods == pytest.approx(8000.0, abs=200)
    assert found.totals[0].goods >= 8000.0
    assert found.totals[0].short_of_minimum == 0
    assert bought(found)["A"] + bought(found).get("B", 0) >= 80
    assert "C" not in bought(found)
    assert "only reach the smallest order of 80.00 EUR" in found.totals[0].notes[0]
    extra = sum(bought(found).values()) - sum(bought(plain).values())
    said = [why for line in found.lines for why in line.why if "asks of an order" in why]
    assert sum(int(why.split(" of the ")[0]) for why in said) == extra


def test_freight_is_saved_only_where_having_goods_early_costs_less():
    """80 pieces more for about six weeks at 1 % a week cost some 3 to 5; freight is 20 or .50."""
    plain = decided(shop(), NEED)
    dear = decided(shop(freight_minor=2000.0, free_freight_minor=10_000.0), NEED)
    assert dear.totals[0].freight == 0
    assert dear.totals[0].goods >= 10_000
    assert "free freight" in dear.totals[0].notes[0]
    cheap = decided(shop(freight_minor=50.0, free_freight_minor=10_000.0), NEED)
    assert cheap.totals[0].freight == 50.0
    assert bought(cheap) == bought(plain)


def test_a_top_up_never_buys_what_would_expire():
    start = shop(minimum_minor=50_000.0)
    brief = tuple(replace(offer, shelf_life_days=14) for offer in start.offers)
    items = tuple(replace(item, shortage_cost_minor=0.0) for item in start.items)
    found = decided(replace(start, offers=brief, items=items), NEED)
    for line in found.lines:
        assert line.expiry_chance <= 0.10
    assert found.totals[0].short_of_minimum > 0
    assert "short of the smallest order" in found.totals[0].notes[0]

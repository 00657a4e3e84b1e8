"""Booked orders are covered in full, whatever share of need a service target lets go short.

A rule of this program (judgement), held against its own level without the rule.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from stock.demand.known import History, ItemTerms, OrderLine, PieceUse
from stock.plan.decide import plan
from stock.plan.snapshot import Offer, PlanSettings, Snapshot, StockLot, SupplierTerms

DAY = date(2026, 3, 2)
SETTINGS = PlanSettings(misprint_prior=(0.0, 200.0), paths=500)
WEEKS = np.arange("2025-09-01", "2026-02-23", 7, dtype="datetime64[D]")
USE = History(
    ("TEE",),
    WEEKS,
    np.array([40.0 + np.arange(len(WEEKS)) % 5]),
    np.zeros((1, len(WEEKS)), bool),
)


def seen(*, held: float, **item) -> Snapshot:
    """100 booked pieces due in three days, of an item bought in large lots."""
    return Snapshot(
        DAY,
        (ItemTerms("TEE", "blank", "each", service_kind="fill", service=0.80, **item),),
        stock=(StockLot("TEE", "L", "SHELF", "shelf", held),),
        offers=(Offer("TEE", "SEWER", "piece", 1.0, 310.0),),
        suppliers=(SupplierTerms("SEWER", lead_days=3.0, line_cost_minor=4000.0),),
        order_lines=(
            OrderLine(
                "A", 1, "confirmed", DAY - timedelta(days=9), DAY + timedelta(days=3), 100.0,
                uses=(PieceUse("TEE", 1.0),),
            ),
        ),
        history=USE,
        settings=SETTINGS,
    )  # fmt: skip


def test_an_item_with_less_than_its_booked_orders_is_ordered():
    line = plan(seen(held=90.0)).lines[0]
    assert line.level >= line.need.firm == pytest.approx(100.0, abs=1.0)
    assert 90.0 + line.amount >= line.need.firm
    said = next(sentence for sentence in line.why if sentence.startswith("Level"))
    assert "booked orders need as much" in said
    usual = float(said.split("none waits; ")[1].split()[0])
    assert usual < line.need.firm


def test_where_a_shortage_has_its_price_the_price_decides():
    line = plan(seen(held=0.0, shortage_cost_minor=200.0)).lines[0]
    assert not any("booked orders need as much" in sentence for sentence in line.why)


def one_off(pieces: float, held: float) -> Snapshot:
    """An item nobody ever used before, and one job of it, with ordering dear."""
    return Snapshot(
        DAY,
        (ItemTerms("APRON", "blank", "each"),),
        stock=(StockLot("APRON", "L", "SHELF", "shelf", held),) if held else (),
        offers=(Offer("APRON", "SEWER", "piece", 1.0, 310.0),),
        suppliers=(SupplierTerms("SEWER", lead_days=3.0, line_cost_minor=4000.0),),
        order_lines=(
            OrderLine(
                "B", 1, "confirmed", DAY - timedelta(days=2), DAY + timedelta(days=10), pieces,
                uses=(PieceUse("APRON", 1.0),),
            ),
        ),
        settings=SETTINGS,
    )  # fmt: skip


def test_a_job_that_will_not_come_again_is_bought_for_once():
    """Today's orders are not what later weeks are like: no lot on top for a one-off job."""
    line = plan(one_off(50.0, 0.0)).lines[0]
    assert line.amount == 50.0


def test_a_one_off_job_with_its_blanks_here_asks_for_nothing():
    assert not plan(one_off(50.0, 50.0)).lines


def test_a_large_order_leaves_the_lot_on_top_about_what_it_was():
    """The lot is for weeks as they usually are, on top of what the order takes."""
    usual = plan(seen_weekly(())).state("TEE")
    for due in (3, 17, 45):
        state = plan(seen_weekly((due,))).state("TEE")
        lot, before = state.order_up_to - state.level, usual.order_up_to - usual.level
        assert 0.7 * before <= lot <= 1.3 * before


def seen_weekly(due_in: tuple[int, ...]) -> Snapshot:
    """The tee, kept by cycle service, with orders of 300 pieces due in so many days."""
    lines = tuple(
        OrderLine(
            f"C{days}", 1, "confirmed", DAY - timedelta(days=2), DAY + timedelta(days=days), 300.0,
            uses=(PieceUse("TEE", 1.0),),
        )
        for days in due_in
    )  # fmt: skip
    return Snapshot(
        DAY,
        (ItemTerms("TEE", "blank", "each", service=0.95),),
        offers=(Offer("TEE", "SEWER", "piece", 1.0, 310.0),),
        suppliers=(SupplierTerms("SEWER", lead_days=3.0, line_cost_minor=400.0),),
        order_lines=lines,
        history=USE,
        settings=SETTINGS,
    )

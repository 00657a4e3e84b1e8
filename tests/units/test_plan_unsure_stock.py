"""An uncertain slot level counts, but never for more than the slot can be wrong by."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stock.plan.snapshot import StockLot
from tests.checks.textbook import decided, seen

NEED = np.full((400, 84), 10.0)


def level(*lots: StockLot) -> float:
    snapshot = replace(seen(lead_days=7, service=0.95, unit="mL"), stock=lots)
    return decided(snapshot, {"X": NEED}).state("X").level


def slot(amount: float, sd: float) -> StockLot:
    return StockLot("X", "L", "SLOT", "slot", amount, sd)


SHELF = StockLot("X", "M", "SHELF", "shelf", 5000.0)
SURE = 140.0  # two weeks at 10 a day


def test_a_sure_stock_needs_no_more_than_the_need():
    assert level(slot(1000.0, 0.0), SHELF) == pytest.approx(SURE)


def test_what_may_be_missing_from_a_slot_is_covered():
    # 1.645 standard deviations keep it in 95 of 100 courses (normal quantile).
    assert level(slot(1000.0, 100.0), SHELF) == pytest.approx(SURE + 164.5, abs=20)


def test_no_more_can_be_missing_than_the_slot_holds():
    """A tank unsure by litres, nearly empty by the book, beside full packs on the shelf."""
    assert level(slot(27.0, 9566.0), SHELF) == pytest.approx(SURE + 27.0)


def test_the_reasons_ask_for_a_measurement():
    snapshot = replace(seen(lead_days=7, unit="mL"), stock=(slot(60.0, 20.0),))
    line = decided(snapshot, {"X": NEED}).lines[0]
    assert "unsure by ± 20.0 mL" in line.why[1]

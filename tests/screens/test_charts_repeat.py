"""A chart is the same in every run: nothing in it hangs on the order of a hash table."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

DRAWN = """
import sys
from datetime import date, timedelta
from types import SimpleNamespace
import numpy as np
from stock.screens.widgets.charts import lots_drawn, pipeline_drawn
from stock.shop.stock_chart import stock_chart

day, width = date(2026, 3, 9), int(sys.argv[1])
weeks = range(13)
jobs = [
    SimpleNamespace(due_on=day + timedelta(days=7 * n), stage="released", left=5 + n)
    for n in weeks
]
lots = [
    SimpleNamespace(effective_expiry=day + timedelta(days=7 * n), value_at_risk=100.0 + 9 * n)
    for n in weeks
]
line = np.linspace(90.0, 10.0, 12)
state = SimpleNamespace(
    item="INK", unit="mL", on_hand_usable=100.0, level=40.0, deliveries=((day, 20.0),),
    stock_low=line * 0.8, stock_mid=line, stock_high=line * 1.2, need_low=line * 0 + 5,
    need_high=line * 0 + 9, order_amount=0.0, order_arrives=None,
)
print(pipeline_drawn(jobs, day, width, 14))
print(lots_drawn(lots, day, width, 14))
print(stock_chart(state, SimpleNamespace(day=day), width=width, height=16))
"""


@pytest.mark.parametrize("width", [38, 56, 80])
def test_a_chart_is_drawn_alike_in_every_run(width: int) -> None:
    seen = set()
    for seed in ("0", "1", "2", "3"):
        ran = subprocess.run(
            [sys.executable, "-c", DRAWN, str(width)],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        )
        seen.add(ran.stdout)
    assert len(seen) == 1
    assert seen.pop().count("┬") > 6, "labelled weeks"

"""The reasons of a line add up with a pocket calculator, in the shop's own units."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from stock.plan.decisions import ReorderLine
from tests.checks.textbook import decided, seen

NEED = np.random.default_rng(3).gamma(4.0, 25.0, (500, 84))


def a_line(units: str) -> ReorderLine:
    """A line in packs of 250 mL with 400 mL on the shelf."""
    start = seen(lead_days=7, pack=250.0, price=2.0, line_cost=300.0, unit="mL", stock={"X": 400.0})
    settings = replace(start.settings, units=units)
    return decided(replace(start, settings=settings), {"X": NEED}).lines[0]


def figures(line: ReorderLine, begins: str) -> list[float]:
    """The numbers of the sentence that begins so."""
    said = next(why for why in line.why if why.startswith(begins))
    return [float(text.replace(",", "")) for text in re.findall(r"\d[\d,]*(?:\.\d+)?", said)]


@pytest.mark.parametrize(("units", "unit", "size"), [("metric", "mL", 1.0), ("us", "fl oz", 29.57)])
def test_the_arithmetic_of_a_line_can_be_followed(units, unit, size):
    line = a_line(units)
    assert any(f" {unit}" in why for why in line.why)
    last_place = 1.0 if units == "metric" else 0.1
    usable, coming, position = figures(line, "Position")
    assert usable + coming == pytest.approx(position, abs=last_place)
    firm, quotes, unbooked, upkeep, total = figures(line, "Need in that time")
    assert firm + quotes + unbooked + upkeep == pytest.approx(total, abs=2 * last_place)
    level, expected, safety = (figures(line, "Level")[k] for k in (0, -2, -1))
    assert expected + safety == pytest.approx(level, abs=last_place)
    _, low, lot, up_to = figures(line, "Lot on top")
    assert low == level
    assert low + lot == pytest.approx(up_to, abs=last_place)
    top, held, short, packs, pack, bought, amount = figures(line, "Short")
    assert top - held == pytest.approx(short, abs=last_place)
    assert short / pack == pytest.approx(packs, abs=0.02)
    assert bought == line.packs
    assert amount == pytest.approx(line.packs * 250 / size, rel=1e-3)
    count, each, cost = figures(line, "Cost")
    assert count * each == pytest.approx(cost) == line.cost / 100


def test_figures_stay_in_base_units_whatever_the_sentences_say():
    metric, us = a_line("metric").to_json(), a_line("us").to_json()
    assert metric.pop("why") != us.pop("why")
    assert metric == us

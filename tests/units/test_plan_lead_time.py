"""Lead times by hand: the day an order is taken, working days, the past against what is stated."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from stock.plan.lead_time import Arrivals, due_offsets, lead_time_of, order_day
from stock.plan.snapshot import OnOrder, PlanSettings, SupplierTerms

MONDAY, WEDNESDAY = date(2026, 1, 5), date(2026, 1, 14)
PLAIN = SupplierTerms("S", lead_days=5.0)
SHUT = frozenset({date(2026, 12, 24), date(2026, 12, 25)})


def test_an_order_past_the_cut_off_is_taken_on_the_next_order_day():
    thursdays = replace(PLAIN, order_days=frozenset({3}), cut_off_hour=11)
    assert order_day(thursdays, date(2026, 1, 8), 10) == date(2026, 1, 8)
    assert order_day(thursdays, date(2026, 1, 8), 11) == date(2026, 1, 15)
    closed = replace(thursdays, closed=frozenset({date(2026, 1, 15)}))
    assert order_day(closed, date(2026, 1, 8), 11) == date(2026, 1, 22)


def test_a_supplier_that_takes_no_order_within_a_year_is_refused():
    with pytest.raises(ValueError, match="takes no order within a year"):
        order_day(replace(PLAIN, order_days=frozenset()), MONDAY)


def test_without_a_past_the_lead_time_is_the_stated_one():
    lead = lead_time_of(PLAIN, WEDNESDAY)
    assert (lead.mean, lead.seen) == (pytest.approx(5.0), 0)


@pytest.mark.parametrize(
    ("came", "mean", "in_full"),
    [
        # Mon 5th to Wed 14th are 7 working days; one delivery weighs 1 against the stated 4
        (10.0, 5 * 4 / 5 + 7 * 1 / 5, 1.0),
        # half a delivery weighs half: 5 × 4 / 4.5 + 7 × .5 / 4.5
        (5.0, 5 * 4 / 4.5 + 7 * 0.5 / 4.5, 0.5),
    ],
)
def test_the_past_is_shrunk_to_what_is_stated_and_a_part_counts_as_that_part(came, mean, in_full):
    lead = lead_time_of(replace(PLAIN, lead_history=((MONDAY, WEDNESDAY, 10.0, came),)), WEDNESDAY)
    assert lead.mean == pytest.approx(mean)
    assert lead.share_in_full == in_full
    assert lead.seen == 1


def test_a_delivery_a_year_ago_says_half_as_much():
    year = date(2027, 1, 14)
    lead = lead_time_of(replace(PLAIN, lead_history=((MONDAY, WEDNESDAY, 1.0, 1.0),)), year)
    assert lead.mean == pytest.approx(5 * 4 / 4.5 + 7 * 0.5 / 4.5)


def test_lines_of_one_delivery_are_one_observation_and_dirt_is_none():
    one = (MONDAY, WEDNESDAY, 1.0, 1.0)
    before_its_order = (WEDNESDAY, MONDAY, 1.0, 1.0)
    lead = lead_time_of(replace(PLAIN, lead_history=(one, one, before_its_order)), WEDNESDAY)
    assert lead.seen == 1
    assert lead.mean == pytest.approx(5.4)


def test_closures_and_weekends_of_supplier_and_shop_do_not_count():
    friday = date(2026, 12, 18)
    arrivals = Arrivals(replace(PLAIN, closed=SHUT), PlanSettings(), friday).after(0)
    # Mon 21, Tue 22, Wed 23, then Mon 28, Tue 29: five working days are eleven days
    assert arrivals(np.array([5.0])).tolist() == [11]
    shop = PlanSettings(closed=frozenset({date(2026, 12, 29)}))
    arrivals = Arrivals(replace(PLAIN, closed=SHUT), shop, friday).after(0)
    assert arrivals(np.array([5.0])).tolist() == [12]


def test_a_line_past_its_promise_is_timed_anew_and_never_due_before_tomorrow():
    day = date(2026, 1, 23)
    line = OnOrder("P", "X", "S", 1.0, MONDAY, promised_on=date(2026, 1, 12))
    levels = (np.arange(100) + 0.5) / 100
    came = due_offsets(
        line, lead_time_of(PLAIN, day), Arrivals(PLAIN, PlanSettings(), day), day, levels
    )
    assert came.min() >= 1
    assert (np.diff(came) >= 0).all()
    ahead = replace(line, promised_on=date(2026, 1, 30))
    came = due_offsets(
        ahead, lead_time_of(PLAIN, day), Arrivals(PLAIN, PlanSettings(), day), day, levels
    )
    assert np.median(came) == 7  # as promised, early or late as this supplier strays

"""Order lines into need, and the chances learnt from the shop's record."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from stock.demand.chances import (
    CancelHazard,
    MisprintRates,
    WinRates,
    cancel_hazard,
    chance_of_misprint,
    misprint_rates,
    win_rates,
)
from stock.demand.explode import by_item, explode
from stock.demand.known import ItemTerms, MisprintRecord, OrderLine, PastOrderLine, PieceUse
from stock.demand.on_book import OnBook

DAY = date(2026, 3, 4)
INK = ItemTerms("ink-W", "ink", "mL", channel="W")
TEE = ItemTerms("tee-L", "blank", "each", family="tee", size="L")
NO_HAZARD = CancelHazard((0.0,) * 5)


def line(order="o1", *, stage="confirmed", pieces=24.0, due=7, **more):
    uses = more.pop("uses", (PieceUse("ink-W", 8.0, 2.0), PieceUse("tee-L", 1.0)))
    return OrderLine(
        order,
        1,
        stage,
        DAY - timedelta(days=2),
        DAY + timedelta(days=due),
        pieces,
        uses=uses,
        **more,
    )


def need_of(*lines, misprint=0.0, wins=None, hazard=NO_HAZARD, days=28):
    return explode(
        lines,
        [INK, TEE],
        day=DAY,
        horizon_days=days,
        misprints=MisprintRates(misprint),
        wins=wins or WinRates(),
        hazard=hazard,
    )


def past(outcome, *, placed, due, left=None, quote=False, kind=""):
    return PastOrderLine(
        "p", placed, due, 10, outcome, left or due, was_quote=quote, customer_kind=kind
    )


def test_a_line_is_needed_on_the_day_it_is_printed():
    need = need_of(line(due=9, scheduled_on=DAY + timedelta(days=4)))
    assert need.firm_mean[0].nonzero()[0].tolist() == [4]
    assert need.firm_mean[0, 4] == 24 * 8
    assert need.firm_mean[1, 4] == 24


def test_an_overdue_line_is_needed_today():
    assert need_of(line(due=-5)).firm_mean[1, 0] == 24


def test_lines_past_the_horizon_are_left_out():
    assert need_of(line(due=28), days=28).lines == ()


def test_a_misprint_spends_blank_and_ink_again():
    need = need_of(line(), misprint=0.05)
    assert need.firm_mean[0, 7] == pytest.approx(24 * 1.05 * 8)
    assert need.firm_mean[1, 7] == pytest.approx(24 * 1.05)
    # binomial: 24 × .05 × .95 spoiled pieces
    assert need.variance[1, 7] == pytest.approx(24 * 0.05 * 0.95)


def test_an_uncertain_rate_is_wrong_for_the_whole_day_at_once():
    two = need_of(line("a"), line("b"))
    assert two.variance[0, 7] == pytest.approx((48 * 2.0) ** 2)


def test_garments_a_customer_brings_are_not_needed_but_their_ink_is():
    need = need_of(line(owner="club"))
    assert need.firm_mean[1].sum() == 0
    assert need.firm_mean[0].sum() == 24 * 8


def test_a_quote_counts_by_its_given_chance_and_apart_from_orders():
    need = need_of(line(stage="quote", win_probability=0.25))
    assert need.firm_mean.sum() == 0
    assert need.quote_mean[1, 7] == pytest.approx(6)
    assert need.variance[1, 7] == pytest.approx(24**2 * 0.25 * 0.75)


def test_an_order_is_won_or_lost_with_all_its_lines():
    # Two lines of 24 at even odds: all 48 or none, so the variance is 48² / 4, not twice 24² / 4.
    two = replace(line(stage="quote", win_probability=0.5), line=2)
    need = need_of(line(stage="quote", win_probability=0.5), two)
    assert need.variance[1, 7] == pytest.approx(48**2 / 4)
    drawn = OnBook(need, 4000, 2, seed=5).by_day(1, lambda: np.zeros(4000))[7]
    assert set(drawn.tolist()) == {0.0, 48.0}
    assert drawn.mean() == pytest.approx(24, abs=3 * 24 / 4000**0.5)


def test_lines_of_two_orders_are_won_apart():
    other = line("o2", stage="quote", win_probability=0.5)
    need = need_of(line(stage="quote", win_probability=0.5), other)
    assert need.variance[1, 7] == pytest.approx(2 * 24**2 / 4)
    drawn = OnBook(need, 4000, 2, seed=5).by_day(1, lambda: np.zeros(4000))[7]
    assert set(drawn.tolist()) == {0.0, 24.0, 48.0}


def test_a_quote_long_past_its_day_counts_as_lost():
    def quoted(due):
        return need_of(line(stage="quote", win_probability=0.8, due=due)).quote_mean[1].sum()

    assert quoted(-30) == pytest.approx(0.8 * 24)
    assert quoted(-31) == 0
    assert need_of(line(due=-31)).firm_mean[1, 0] == 24


def test_uses_of_unknown_items_are_told():
    need = need_of(line(uses=(PieceUse("ghost", 1.0),)))
    assert need.unknown == (("o1", 1, "ghost"),)
    assert by_item(need) == {}


def test_cancelled_orders_thin_the_firm_part():
    hazard = CancelHazard((0.1, 0.2, 0.0, 0.0, 0.0))
    need = need_of(line(due=14), hazard=hazard)
    assert need.firm_mean[1, 14] == pytest.approx(24 * 0.9 * 0.8)


def test_a_24_piece_job_at_2_percent_has_38_percent_chance_of_a_misprint():
    # 1 − .98²⁴ = .3842, computed.
    assert chance_of_misprint(24, 0.02) == pytest.approx(0.3842, abs=1e-4)


def test_misprint_rates_start_at_the_prior_and_move_with_the_record():
    assert misprint_rates([], (0.025, 200)).rate("front") == 0.025
    record = [MisprintRecord("front", 20_000, 200), MisprintRecord("sleeve", 10, 5)]
    rates = misprint_rates(record, (0.025, 200))
    assert rates.rate("front") == pytest.approx(0.01, abs=0.001)
    assert 0.01 < rates.rate("sleeve") < 0.05
    assert rates.rate("back") == pytest.approx(rates.shop)


def test_more_misprints_than_prints_are_held_to_the_prints():
    assert misprint_rates([MisprintRecord("front", 10, 500)], (0.02, 0.0)).shop == 1.0


def test_the_older_a_quote_the_less_it_is_won_where_the_record_says_so():
    decided = [past("printed", placed=DAY, due=DAY + timedelta(days=4), quote=True)] * 60
    decided += [past("lost", placed=DAY, due=DAY, left=DAY + timedelta(days=30), quote=True)] * 60
    wins = win_rates(decided)
    assert wins.probability(0) == pytest.approx(0.5, abs=0.02)
    assert wins.probability(10) < 0.1


def test_a_kind_of_customer_has_its_own_win_rate():
    good = [past("printed", placed=DAY, due=DAY + timedelta(days=9), quote=True, kind="team")] * 50
    bad = [past("lost", placed=DAY, due=DAY + timedelta(days=9), quote=True, kind="walk-in")] * 50
    wins = win_rates(good + bad)
    assert wins.probability(1, "team") > 0.9
    assert wins.probability(1, "walk-in") < 0.1
    assert wins.probability(1, "new kind") == pytest.approx(0.5, abs=0.05)


def test_without_a_record_a_quote_is_even_odds():
    assert win_rates([]).probability(3) == 0.5


def test_the_hazard_of_cancellation_is_that_of_the_record():
    # 400 orders placed a week ahead, a quarter cancelled: survival over a week is .75.
    due = DAY + timedelta(days=7)
    orders = [past("printed", placed=DAY, due=due)] * 300
    orders += [past("cancelled", placed=DAY, due=due, left=DAY + timedelta(days=2))] * 100
    hazard = cancel_hazard(orders)
    assert hazard.survival(7) == pytest.approx(0.75, abs=0.04)
    assert hazard.survival(0) == 1.0
    assert hazard.survival(21) <= hazard.survival(7)


def test_survival_falls_with_lead_and_never_leaves_0_to_1():
    hazard = CancelHazard((0.3, 0.1, 1.0, 0.0, 0.2))
    survivals = [hazard.survival(lead) for lead in range(0, 300, 5)]
    assert all(0 <= chance <= 1 for chance in survivals)
    assert (np.diff(survivals) <= 1e-12).all()

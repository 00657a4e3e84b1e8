"""Pick-up: what still comes in after each lead."""

from datetime import date, timedelta

import numpy as np
import pytest

from stock.demand.known import PastOrderLine
from stock.demand.pickup import (
    MIN_WEEKS,
    blend_weights,
    learn_pickup,
    order_book,
    past_forecasts,
    seen_leads,
)

FIRST = date(2025, 1, 6)


def lines(weeks, *, seed=0, per_week=20, early=0.5):
    """Orders for each week, a share of them placed the week before, the rest in the week."""
    draws = np.random.default_rng(seed)
    found = []
    for week in range(weeks):
        due = FIRST + timedelta(weeks=week, days=4)
        for place in range(draws.poisson(per_week)):
            lead = 9 if draws.random() < early else 1
            found.append(
                PastOrderLine(
                    f"w{week}n{place}", due - timedelta(days=lead), due, 5.0, "printed", due
                )
            )
    return found


def replay(weeks=30, **more):
    past = lines(weeks, **more)
    return order_book(
        [line.placed_on for line in past],
        [line.due_on for line in past],
        [line.pieces for line in past],
        [True] * len(past),
        [None] * len(past),
        first_day=FIRST,
        weeks=weeks,
        max_lead=3,
    )


def test_what_survived_and_what_came_make_up_the_final():
    book = replay()
    assert book.survived + book.to_come == pytest.approx(np.repeat(book.final[:, None], 4, axis=1))


def test_the_book_is_read_on_the_morning_of_the_weeks_first_day():
    book = order_book(
        [FIRST + timedelta(days=6), FIRST + timedelta(days=7)],
        [FIRST + timedelta(days=8)] * 2,
        [3.0, 4.0],
        [True, True],
        [None, None],
        first_day=FIRST,
        weeks=2,
        max_lead=1,
    )
    assert book.on_book[1].tolist() == [3.0, 0.0]
    assert book.to_come[1].tolist() == [4.0, 7.0]


def test_a_cancelled_line_stands_until_the_day_it_leaves():
    book = order_book(
        [FIRST - timedelta(days=30)],
        [FIRST + timedelta(days=20)],
        [3.0],
        [False],
        [FIRST + timedelta(days=10)],
        first_day=FIRST,
        weeks=3,
        max_lead=2,
    )
    assert book.on_book[2].tolist() == [0.0, 3.0, 3.0]
    assert book.final.tolist() == [0, 0, 0]


def test_the_share_still_to_come_is_that_of_the_past():
    past = lines(40)
    pickup = learn_pickup(past, day=FIRST + timedelta(weeks=40), max_lead=3)
    assert pickup.usable
    assert pickup.share_to_come == pytest.approx([0.5, 1.0, 1.0, 1.0], abs=0.06)
    assert pickup.remainder[0] == pytest.approx(50, rel=0.15)
    assert pickup.typical_order == 5.0


def test_eight_weeks_are_enough_and_seven_are_told():
    day = FIRST + timedelta(weeks=MIN_WEEKS)
    assert learn_pickup(lines(MIN_WEEKS), day=day, max_lead=2).usable
    short = learn_pickup(lines(3), day=FIRST + timedelta(weeks=3), max_lead=2)
    assert not short.usable
    assert "8 are needed" in short.note
    assert (short.weight == 0).all()


def test_one_off_jobs_do_not_teach_what_comes_in():
    day = FIRST + timedelta(weeks=20)
    past = lines(20)
    due = day - timedelta(days=10)
    job = PastOrderLine("big", due, due, 5000.0, "printed", due, one_off=True)
    plain = learn_pickup(past, day=day, max_lead=2)
    with_job = learn_pickup([*past, job], day=day, max_lead=2)
    assert with_job.remainder.tolist() == plain.remainder.tolist()
    assert learn_pickup([*past, job], day=day, max_lead=2, one_off=True).remainder[0] > 100


def test_pick_up_is_trusted_near_and_where_it_knew_better():
    book = replay(60, seed=3)
    weights = blend_weights(book)
    assert ((weights >= 0) & (weights <= 1)).all()
    assert weights[0] > 0.5
    by_pickup, plain, truth = past_forecasts(book, 0)
    assert np.abs(by_pickup - truth).mean() < np.abs(plain - truth).mean()


def test_leads_before_the_record_began_are_not_looked_at():
    assert seen_leads(3, 3).tolist() == [
        [True, False, False],
        [True, True, False],
        [True, True, True],
    ]


def test_future_orders_teach_nothing():
    day = FIRST + timedelta(weeks=20)
    coming = PastOrderLine("next", day, day + timedelta(days=3), 900.0, "printed", None)
    assert (
        learn_pickup([*lines(20), coming], day=day, max_lead=2).remainder.tolist()
        == learn_pickup(lines(20), day=day, max_lead=2).remainder.tolist()
    )

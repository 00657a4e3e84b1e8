"""Joint paths of need: what they add up, and what another order may not do to them."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from stock.clock import WorkCalendar
from stock.demand.known import (
    History,
    ItemTerms,
    Link,
    OrderLine,
    PastOrderLine,
    PieceUse,
    Upkeep,
)
from stock.demand.paths import daily_profile, need_paths

DAY = date(2026, 3, 4)  # a Wednesday
ITEMS = (
    ItemTerms("ink-W", "ink", "mL", channel="W"),
    ItemTerms("tee-M", "blank", "each", family="tee", size="M"),
    ItemTerms("tee-L", "blank", "each", family="tee", size="L"),
    ItemTerms("tape", "supply", "each"),
    ItemTerms("wiper", "supply", "each", every_prints=150, every_days=30, last_used_on=DAY),
    ItemTerms("never", "supply", "each"),
)


def history(weeks=60, seed=1, scale=1.0):
    draws = np.random.default_rng(seed)
    series = {
        "cm2:W:p1": draws.gamma(20, 1000, weeks) * scale,
        "prints:p1": draws.poisson(90, weeks) * scale,
        "tee-M": draws.poisson(12, weeks),
        "tee-L": draws.poisson(18, weeks),
        "tape": draws.binomial(1, 0.2, weeks),
    }
    mondays = np.datetime64("2026-02-23") - 7 * np.arange(weeks)[::-1]
    values = np.array(list(series.values()), float)
    return History(tuple(series), mondays, values, np.zeros(values.shape, bool))


def past_orders(count=400, seed=2):
    draws = np.random.default_rng(seed)
    found = []
    for place in range(count):
        due = DAY - timedelta(days=int(draws.integers(1, 200)))
        placed = due - timedelta(days=int(draws.exponential(8)))
        uses = (PieceUse("ink-W", 8.0), PieceUse("tee-L", 1.0))
        found.append(PastOrderLine(f"p{place}", placed, due, 6.0, "printed", due, uses=uses))
    return found


def order(name="o1", *, due=9, pieces=24.0, stage="confirmed", **more):
    uses = more.pop("uses", (PieceUse("ink-W", 8.0, 2.0), PieceUse("tee-L", 1.0)))
    return OrderLine(
        name,
        1,
        stage,
        DAY - timedelta(days=2),
        DAY + timedelta(days=due),
        pieces,
        uses=uses,
        **more,
    )


def draw(lines=(), *, past=None, items=ITEMS, paths=400, weeks=6, **more):
    known = {
        "history": history(),
        "links": [Link("ink-W", "cm2:W:p1", 0.005, 0.0005)],
        "upkeep": [Upkeep("ink-W", 10.0, 2.0, "p1")],
    }
    known.update(more)
    return need_paths(
        items,
        lines,
        past_orders() if past is None else past,
        day=DAY,
        horizon_weeks=weeks,
        n_paths=paths,
        **known,
    )


ALL = range(len(ITEMS))


def test_the_same_seed_gives_the_same_bytes_in_any_chunks():
    whole = draw([order()]).chunk(ALL)
    parts = draw([order()])
    turned = np.concatenate([parts.chunk([row]) for row in reversed(ALL)])[::-1]
    assert np.ascontiguousarray(turned).tobytes() == whole.tobytes()


def test_another_seed_gives_other_paths():
    assert draw(seed=1).chunk([3]).tobytes() != draw(seed=2).chunk([3]).tobytes()


def test_days_add_up_to_weeks():
    need = draw([order(), order("o2", due=20)])
    weekly, daily = need.chunk(ALL), need.daily(ALL)
    summed = daily.reshape(len(ITEMS), 400, 6, 7).sum(axis=3)
    assert summed == pytest.approx(weekly, rel=1e-4, abs=1e-3)


def test_the_added_up_days_are_the_days_added_up():
    need = draw([order(), order("o2", due=20)])
    added = np.cumsum(need.daily(ALL), axis=2)
    assert need.cumulative(ALL) == pytest.approx(added, rel=1e-4, abs=1e-3)


def test_memory_handed_in_is_drawn_into():
    need = draw()
    room = np.full((10, 400, 42), 7.0, np.float32)
    found = need.daily([1, 3], room)
    assert np.shares_memory(found, room)
    assert found.tobytes() == need.daily([1, 3]).tobytes()
    assert (room[2:] == 7).all()


@pytest.mark.parametrize("past", [None, []])
@pytest.mark.parametrize("due", [0, 3, 9, 30])
def test_one_more_firm_order_never_lowers_a_path(past, due):
    lines = [order("a", due=4), order("b", due=12)]
    before = draw(lines, past=past)
    after = draw([*lines, order("c", due=due)], past=past)
    rows = [0, 1, 2, 3, 5]
    slack = 1e-4 * (1 + before.chunk(rows))
    assert (after.chunk(rows) >= before.chunk(rows) - slack).all()
    # a service by schedule may move by some days, never fall behind by more than one
    assert after.mean[4].sum() >= before.mean[4].sum() - 0.05
    assert (after.cumulative([4]) >= before.cumulative([4]) - 1).all()


def test_an_order_on_the_book_is_not_counted_twice():
    # In a far week nearly all is still to come: an order of half a usual week hardly adds to it.
    usual = draw(past=[]).mean[2, 4]
    with_order = draw([order(due=30, pieces=9.0)], past=[]).mean[2, 4]
    assert with_order < usual + 3


def test_the_parts_make_up_the_mean_of_the_paths():
    need = draw([order(), order("q", due=16, stage="quote", win_probability=0.4)], paths=4000)
    assert need.mean == pytest.approx(need.chunk(ALL).mean(axis=1), rel=0.05, abs=2.0)
    assert need.quotes[2, 2] == pytest.approx(24 * 0.4 * 1.025, rel=0.02)
    assert need.firm[2, 1] > 0
    assert need.upkeep[0].tolist() == [70.0] * 6


def test_a_shop_whose_orders_come_in_early_expects_less_in_the_first_week():
    need = draw()
    assert need.pickup.usable
    assert need.unbooked[2, 0] < need.unbooked[2, 4]


def test_with_too_few_past_orders_the_plain_forecast_is_used_and_said():
    need = draw(past=past_orders(3)[:1])
    assert not need.pickup.usable
    assert any("8 are needed" in note for note in need.notes)
    assert need.unbooked[2, 0] == pytest.approx(need.unbooked[2, 4], rel=0.2)


def test_ink_carries_the_uncertainty_of_its_rate_through_the_path():
    sure = draw(links=[Link("ink-W", "cm2:W:p1", 0.005)], upkeep=[]).chunk([0])[0].sum(axis=1)
    unsure = draw(links=[Link("ink-W", "cm2:W:p1", 0.005, 0.002)], upkeep=[])
    spread = unsure.chunk([0])[0].sum(axis=1)
    assert spread.std() > 1.5 * sure.std()
    assert spread.mean() == pytest.approx(sure.mean(), rel=0.1)


def test_upkeep_runs_on_calendar_days_whether_the_shop_works_or_not():
    closed = frozenset(DAY + timedelta(days=day) for day in range(42))
    need = draw(history=None, past=[], closed=closed, upkeep=[Upkeep("ink-W", 10.0)])
    assert need.daily([0])[0] == pytest.approx(np.full((400, 42), 10.0))


def test_what_is_not_booked_falls_on_working_days():
    need = draw(past=[])
    daily = need.daily([3])[0].sum(axis=0)
    weekend = [k for k in range(42) if (DAY + timedelta(days=k)).weekday() >= 5]
    assert daily[weekend].sum() == 0
    assert daily.sum() > 0


def test_a_closed_week_waits_for_the_next_working_day():
    closed = frozenset(DAY + timedelta(days=day) for day in range(7))
    profile = daily_profile(DAY, 2, WorkCalendar(closed=closed))
    assert profile[0].nonzero()[0].tolist() == [7]
    assert profile.sum(axis=1).tolist() == pytest.approx([1, 1])


def test_a_shop_closed_throughout_keeps_its_need_at_the_horizons_end():
    closed = frozenset(DAY + timedelta(days=day) for day in range(60))
    profile = daily_profile(DAY, 2, WorkCalendar(closed=closed))
    assert profile[:, -1].tolist() == [1, 1]


def test_whole_garments_are_needed_whole():
    paths = draw(past=[]).chunk([1, 2])
    assert (paths % 1 == 0).all()


def test_the_sizes_together_need_what_the_family_needs():
    need = draw(past=[], paths=2000)
    family = need.forecast.weekly_mean[need.forecast.row("family:tee")]
    assert need.unbooked[1] + need.unbooked[2] == pytest.approx(family, rel=0.06)


def test_maintenance_goes_by_prints_and_by_days():
    busy, idle = draw(), draw(history=history(scale=0.001))
    # 90 prints a week, every 150: about 0.6 a week; idle: every 30 days
    assert busy.mean[4].sum() == pytest.approx(3.5, abs=0.6)
    assert idle.mean[4].sum() == pytest.approx(1.0, abs=0.05)


def test_an_item_without_any_history_needs_what_is_on_the_book_only():
    need = draw([order("n", uses=(PieceUse("never", 1.0),))])
    assert need.models[5] == "no history"
    assert need.unbooked[5].sum() == 0
    assert need.chunk([5])[0].sum(axis=1).mean() == pytest.approx(24.6, rel=0.05)


def test_customers_garments_are_left_out_of_the_paths():
    need = draw([order(owner="club")], past=[])
    assert need.firm[2].sum() == 0
    assert need.firm[0].sum() > 0


def test_uses_of_unknown_items_are_noted():
    need = draw([order(uses=(PieceUse("ghost", 1.0),))])
    assert any("ghost" in note for note in need.notes)


def test_a_stated_peak_reaches_the_paths():
    calm = draw(past=[]).mean[3].sum()
    peak = draw(past=[], peak_factor=((3, 2.0),)).mean[3].sum()
    assert peak > 1.3 * calm


def test_no_items_and_no_history_are_no_trouble():
    need = need_paths((), day=DAY, horizon_weeks=2, n_paths=10)
    assert need.chunk([]).shape == (0, 10, 2)
    assert need.mean.shape == (0, 2)


def test_rows_are_found_by_sku():
    need = draw()
    assert need.row("tape") == 3
    with pytest.raises(KeyError):
        need.row("none such")


def test_a_discontinued_item_keeps_its_place_and_a_name_changes_its_draws():
    other = (*ITEMS[:3], replace(ITEMS[3], sku="tape-2"), *ITEMS[4:])
    need = draw(items=other)
    assert need.items[3].sku == "tape-2"
    assert need.models[3] == "no history"


def test_memory_stays_bounded_for_many_items():
    import tracemalloc

    weeks, count = 30, 600
    values = np.random.default_rng(3).poisson(2.0, (count, weeks)).astype(float)
    items = tuple(ItemTerms(f"i{row}", "supply", "each") for row in range(count))
    mondays = np.datetime64("2026-02-23") - 7 * np.arange(weeks)[::-1]
    many = History(tuple(i.sku for i in items), mondays, values, np.zeros(values.shape, bool))
    need = draw(items=items, history=many, past=[], links=[], upkeep=[], paths=2000, weeks=12)
    tracemalloc.start()
    total = sum(float(paths.sum()) for _, paths in need.chunks(32))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    everything = count * 2000 * 12 * 4
    assert peak < 0.6 * everything
    assert total > 0

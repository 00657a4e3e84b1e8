"""Size curves, drivers, stock-outs and schedules."""

from datetime import date, timedelta

import numpy as np
import pytest

from stock.demand.drivers import drivers
from stock.demand.known import History, ItemTerms, Link
from stock.demand.schedule import services_per_day
from stock.demand.sizes import PRIOR_CURVE, shop_curve, size_curve, split_whole
from stock.demand.stocked_out import lift_floors
from stock.demand.unbooked import share_chances

DAY = date(2026, 3, 2)


def history(series):
    keys = tuple(series)
    values = np.array([series[key] for key in keys], float)
    mondays = np.datetime64("2025-01-06") + 7 * np.arange(values.shape[1])
    return History(keys, mondays, values, np.zeros(values.shape, bool))


def tee(size, **more):
    return ItemTerms(f"tee-{size}", "blank", "each", family="tee", size=size, **more)


def test_the_published_curve_is_the_start():
    # A decorator's blog, October 2023: XS–3XL 1/10/23/31/23/9/3 %.
    assert sum(PRIOR_CURVE.values()) == pytest.approx(1)
    assert shop_curve({})["L"] == pytest.approx(0.31)


def test_a_familys_shares_move_from_the_shops_curve_to_its_own():
    shop = shop_curve({})
    few = size_curve(["M", "L"], [2, 0], shop).shares
    many = size_curve(["M", "L"], [2000, 0], shop).shares
    assert 0.42 < few[0] < 0.55
    assert many[0] > 0.98
    assert many.sum() == pytest.approx(1)


def test_a_size_new_this_week_is_judged_by_what_sold_since():
    shop = shop_curve({"M": 500, "L": 500}, {"M": 1000, "L": 1000})
    old = size_curve(["M", "L", "3XL"], [500, 500, 0], shop).shares
    new = size_curve(["M", "L", "3XL"], [500, 500, 0], shop, [1000, 1000, 0]).shares
    assert new[2] > 5 * old[2]
    assert new[2] > 0.005


def test_whole_parts_add_up():
    assert split_whole(7, [1, 1, 1]) == [3, 2, 2]
    assert sum(split_whole(24, list(PRIOR_CURVE.values()))) == 24


def test_the_groups_of_an_uncertain_share_keep_its_mean():
    for own, others in ((2.0, 60.0), (30.0, 30.0), (400.0, 20.0)):
        chances = share_chances(own, others)
        assert np.mean(chances) == pytest.approx(own / (own + others), rel=0.02)
        assert all(0 < chance <= 1 for chance in chances)
        assert np.std(chances) > 0


def test_sizes_of_a_family_share_one_series():
    items = [tee("M"), tee("L"), tee("3XL")]
    series, drives = drivers(items, history({"tee-M": [6, 6, 6], "tee-L": [4, 4, 4]}), [])
    assert series.keys == ("family:tee",)
    assert series.values.tolist() == [[10, 10, 10]]
    shares = [
        own / (own + rest) for ((d,),) in [(d,) for d in drives] for own, rest in [d.share_weights]
    ]
    # what M and L used they go on using; a size without a past comes on top
    assert shares[0] + shares[1] == pytest.approx(1)
    assert 0 < shares[2] < 0.1


def test_a_size_that_was_offered_and_not_sold_is_one_of_those_that_share():
    items = [tee("M"), tee("L"), tee("3XL")]
    past = {"tee-M": [6.0] * 30, "tee-L": [4.0] * 30, "tee-3XL": [np.nan] * 10 + [0.0] * 20}
    _, drives = drivers(items, history(past), [])
    shares = [w[0] / sum(w) for (drive,) in drives if (w := drive.share_weights)]
    assert sum(shares) == pytest.approx(1)
    assert shares[2] < 0.005


def test_two_items_of_one_size_do_not_count_it_twice():
    twins = [tee("M"), ItemTerms("tee-M-slim", "blank", "each", family="tee", size="M")]
    _, drives = drivers(twins, history({"tee-M": [6] * 20, "tee-M-slim": [2] * 20}), [])
    shares = [w[0] / sum(w) for (drive,) in drives if (w := drive.share_weights)]
    assert sum(shares) == pytest.approx(1)
    assert shares[0] == pytest.approx(0.7, abs=0.1)


def test_a_style_replaced_by_another_hands_its_history_on():
    old, new = (
        ItemTerms("old", "supply", "each"),
        ItemTerms("new", "supply", "each", replaces="old"),
    )
    series, drives = drivers(
        [old, new], history({"old": [5, 5, np.nan], "new": [np.nan, 1, 6]}), []
    )
    assert drives[0] == ()
    assert series.values[drives[1][0].series].tolist() == [5, 6, 6]


def test_items_that_replace_each_other_keep_their_own_history():
    a = ItemTerms("a", "supply", "each", replaces="b")
    b = ItemTerms("b", "supply", "each", replaces="a")
    series, drives = drivers([a, b], history({"a": [1, 2]}), [])
    assert [series.keys[drive[0].series] for drive in drives[:1]] == ["a"]
    assert drives[1] == ()


def test_ink_follows_the_series_it_is_linked_to_and_else_its_own():
    ink = ItemTerms("ink", "ink", "mL")
    given = history({"cm2:W:p1": [100, 100], "cm2:W:p2": [50, 50], "ink": [1, 1]})
    links = [Link("ink", "cm2:W:p1", 0.01), Link("ink", "cm2:W:p2", 0.02, 0.001)]
    series, drives = drivers([ink], given, links)
    assert [(series.keys[d.series], d.factor) for d in drives[0]] == [
        ("cm2:W:p1", 0.01),
        ("cm2:W:p2", 0.02),
    ]
    series, drives = drivers([ink], given, [Link("ink", "cm2:W:p9", 0.01)])
    assert series.keys[drives[0][0].series] == "ink"


def test_a_stocked_out_week_is_lifted_to_the_mean_of_weeks_above_it():
    out = np.zeros((1, 5), bool)
    out[0, 3] = True
    lifted = lift_floors(np.array([[4.0, 6, 8, 5, 10]]), out)
    assert lifted[0, 3] == 8.0  # mean of 6, 8 and 10


def test_a_floor_above_every_other_week_stands():
    lifted = lift_floors(np.array([[4.0, 9]]), np.array([[False, True]]))
    assert lifted.tolist() == [[4, 9]]


def schedule(prints, **terms):
    item = ItemTerms("wiper", "supply", "each", **terms)
    return services_per_day(item, np.array(prints, np.float32), DAY)[0].tolist()


def test_a_wiper_is_due_after_so_many_prints():
    assert schedule([[60, 60, 60, 60]], every_prints=100) == [0, 1, 0, 1]


def test_a_wiper_is_due_after_so_many_days_even_without_prints():
    terms = {"every_days": 2, "last_used_on": DAY - timedelta(days=1)}
    assert schedule([[0, 0, 0, 0, 0]], **terms) == [0, 1, 0, 1, 0]


def test_whichever_comes_first_begins_both_counts_again():
    terms = {"every_days": 3, "every_prints": 100, "prints_since_used": 90}
    assert schedule([[20, 0, 0, 0, 0]], **terms) == [1, 0, 0, 1, 0]


def test_an_overdue_service_falls_on_the_first_day():
    terms = {"every_days": 7, "last_used_on": DAY - timedelta(days=30)}
    assert schedule([[0, 0, 0]], **terms) == [1, 0, 0]

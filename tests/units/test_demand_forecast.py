"""Forecast quantiles: what they promise whatever the series."""

from datetime import date, timedelta

import numpy as np
import pytest

from stock.demand.forecast import forecast, learn
from stock.demand.known import History
from stock.demand.quantile_tables import LEVELS

MONDAY = np.datetime64("2024-01-01")


def history(rows, stocked_out=None, keys=None):
    values = np.array(rows, float)
    floors = np.zeros(values.shape, bool) if stocked_out is None else np.array(stocked_out)
    names = keys or tuple(f"s{row}" for row in range(len(values)))
    return History(tuple(names), MONDAY + 7 * np.arange(values.shape[1]), values, floors)


def poisson(mean, weeks, seed=0, series=1):
    return np.random.default_rng(seed).poisson(mean, (series, weeks)).astype(float)


def test_quantiles_never_fall_with_level_or_with_weeks():
    seen = forecast(history(poisson(3.0, 80, series=20)), 12)
    assert (np.diff(seen.total_quantiles, axis=2) >= 0).all()
    assert (np.diff(seen.total_quantiles, axis=1) >= 0).all()
    assert (seen.total_quantiles >= 0).all()


def test_a_steady_series_is_forecast_at_its_level():
    seen = forecast(history([[7.0] * 60]), 4)
    assert seen.classes == ("smooth",)
    assert seen.weekly_mean[0] == pytest.approx([7.0] * 4, abs=0.1)
    assert seen.quantile([0.05, 0.95], 4)[0].tolist() == pytest.approx([28.0, 28.0], abs=2)


def test_poisson_weeks_are_covered_as_promised():
    weeks, ahead = 104, 4
    values = poisson(6.0, weeks + ahead, seed=5, series=400)
    seen = forecast(history(values[:, :weeks]), ahead)
    truth = values[:, weeks:].sum(axis=1)
    for level, least, most in ((0.5, 0.40, 0.66), (0.9, 0.86, 0.97), (0.99, 0.97, 1.0)):
        assert least <= (truth <= seen.quantile(level, ahead)).mean() <= most


def test_use_scaled_a_millionfold_is_forecast_a_million_times_larger():
    values = poisson(9.0, 70, seed=2, series=5) + 0.123456789
    one = forecast(history(values), 6)
    million = forecast(history(values * 1e6), 6)
    assert million.total_quantiles / 1e6 == pytest.approx(one.total_quantiles, rel=1e-6, abs=1e-6)


def test_a_series_without_use_says_so_and_is_zero():
    seen = forecast(history([[0.0] * 30, [0, 1] * 15]), 3)
    assert seen.classes[0] == "none"
    assert seen.models[0] == "no use in 30 weeks"
    assert not seen.total_quantiles[0].any()
    assert seen.total_quantiles[1].any()


def test_a_series_without_any_known_week_says_no_history():
    seen = forecast(history([[np.nan] * 20, [3.0] * 20]), 3)
    assert seen.models[0] == "no history"


def test_one_known_week_is_a_mean_with_a_wide_band():
    rows = [[np.nan] * 29 + [12.0], *poisson(5, 30, series=6)]
    seen = forecast(history(rows), 2)
    assert seen.models[0] == "mean of 1 week, spread of the others"
    assert seen.weekly_mean[0].sum() == pytest.approx(24, rel=0.1)
    low, high = seen.quantile([0.05, 0.95], 2)[0]
    assert low < 12 < 40 < high


def test_one_spike_long_ago_fades_but_is_not_forgotten():
    spike = [0.0] * 60
    spike[5] = 100.0
    seen = forecast(history([spike]), 4)
    assert 0 < seen.weekly_mean[0].sum() < 20
    assert seen.quantile(0.5, 4)[0] < 10


def test_a_billion_a_week_is_as_well_forecast_as_one():
    seen = forecast(history([[1e9 + 1e7 * (week % 3) for week in range(40)]]), 3)
    assert seen.weekly_mean[0].sum() == pytest.approx(3.03e9, rel=0.02)
    assert np.isfinite(seen.total_quantiles).all()


def test_a_gap_in_a_series_is_filled_from_its_neighbours():
    values = poisson(8.0, 50, seed=3)
    holed = values.copy()
    holed[0, 20] = np.nan
    whole = forecast(history(values), 4).weekly_mean.sum()
    assert forecast(history(holed), 4).weekly_mean.sum() == pytest.approx(whole, rel=0.1)


@pytest.mark.parametrize("wrong", [-1.0, np.inf])
def test_negative_or_infinite_use_is_refused(wrong):
    with pytest.raises(ValueError, match="negative or infinite"):
        forecast(history([[1.0, wrong, 2.0]]), 2)


def test_a_horizon_of_no_weeks_is_refused():
    with pytest.raises(ValueError, match="0 weeks"):
        forecast(history([[1.0, 2.0]]), 0)


def test_a_stocked_out_week_is_a_floor_and_not_a_measure():
    rows = [[10.0] * 40]
    rows[0][30:36] = [0.0] * 6
    out = [[False] * 30 + [True] * 6 + [False] * 4]
    blind = forecast(history(rows), 4).weekly_mean.sum()
    aware = forecast(history(rows, out), 4).weekly_mean.sum()
    assert aware == pytest.approx(40, rel=0.05)
    assert blind < 0.95 * aware


def test_a_stated_peak_month_raises_its_weeks_only():
    rows = [[10.0] * 100]
    first = date(2024, 1, 1) + timedelta(weeks=100)  # 1 December 2025
    calm = forecast(history(rows), 6)
    peak = forecast(history(rows), 6, season={12: 2.0})
    assert calm.start == first
    assert peak.weekly_mean[0, 0] > 1.6 * calm.weekly_mean[0, 0]
    assert peak.weekly_mean[0, 5] < 1.2 * calm.weekly_mean[0, 5]


def test_a_peak_in_the_past_is_taken_out_when_it_is_stated():
    weeks = [date(2024, 1, 1) + timedelta(weeks=week) for week in range(52)]
    rows = [[20.0 if day.month == 12 else 10.0 for day in weeks]]
    told = forecast(history(rows), 4, season={12: 2.0})
    assert told.weekly_mean[0].sum() == pytest.approx(40, rel=0.15)


def test_two_years_of_many_series_teach_the_weeks_of_the_year():
    weeks = [date(2024, 1, 1) + timedelta(weeks=week) for week in range(150)]
    peak = np.array([1.8 if day.month in (11, 12) else 1.0 for day in weeks])
    values = np.random.default_rng(1).poisson(20 * peak, (30, 150)).astype(float)
    until = 148
    seen = forecast(history(values[:, :95]), 4)  # under two years: not learnt
    learnt = learn(history(values[:, :until]), 4)
    assert (learn(history(values[:, :95]), 4).past == 1.0).all()
    assert learnt.past[46:50].mean() > 1.25 * learnt.past[20:40].mean()
    assert seen.weekly_mean.shape == (30, 4)


def test_a_series_forecast_does_not_depend_on_its_neighbours_once_learnt():
    values = np.vstack([poisson(4.0, 60, seed=4, series=8), poisson(0.2, 60, seed=5, series=8)])
    together = history(values)
    learnt = learn(together, 5)
    whole = forecast(together, 5, learned=learnt)
    alone = History((together.keys[9],), together.mondays, values[9:10], np.zeros((1, 60), bool))
    one = forecast(alone, 5, learned=learnt)
    assert one.total_quantiles[0] == pytest.approx(whole.total_quantiles[9], rel=1e-9)


def test_autoets_takes_its_share_only_when_asked_in_sparse_series_and_when_few():
    sparse = poisson(0.3, 40, seed=6, series=3)
    smooth = poisson(30.0, 40, seed=7, series=3)
    both = history(np.vstack([sparse, smooth]))
    seen = forecast(both, 3, autoets=True)
    assert ["AutoETS" in label for label in seen.models] == [True] * 3 + [False] * 3
    assert not any("AutoETS" in label for label in forecast(both, 3).models)
    many = forecast(history(poisson(0.3, 40, seed=8, series=61)), 3, autoets=True)
    assert not any("AutoETS" in label for label in many.models)


def test_series_shorter_than_autoets_can_bear_are_still_forecast():
    # AutoETS of statsforecast fails under seven points.
    seen = forecast(history([[0.0, 2, 0, 1, 0]]), 3, autoets=True)
    assert seen.weekly_mean[0].sum() > 0


def test_whole_things_have_whole_quantiles():
    seen = forecast(history(poisson(2.0, 60, series=4)), 5)
    assert seen.whole.all()
    assert (seen.quantile([0.33, 0.77], 5) % 1 == 0).all()
    assert (seen.sample(range(4), 200, 1) % 1 == 0).all()


def test_use_once_in_a_hundred_weeks_is_not_rounded_away():
    rare = [0.0] * 100
    rare[40] = 1.0
    seen = forecast(history([rare]), 4)
    assert 0 < seen.weekly_mean[0].sum() < 0.5
    assert seen.sample([0], 4000, 1).sum(axis=2).mean() == pytest.approx(
        seen.weekly_mean[0].sum(), rel=0.25
    )


def test_amounts_are_not_rounded_to_whole_things():
    seen = forecast(history(poisson(2.0, 60) / 7), 5)
    assert not seen.whole.any()


def test_the_same_history_and_seed_give_the_same_bytes():
    values = poisson(1.0, 70, seed=9, series=90)
    one, two = (forecast(history(values), 6, seed=5) for _ in range(2))
    assert one.total_quantiles.tobytes() == two.total_quantiles.tobytes()


def test_paths_have_the_quantiles_of_the_totals():
    seen = forecast(history(poisson(5.0, 80, seed=10) * 1.37), 8)
    paths = np.cumsum(seen.sample([0], 4000, 1)[0], axis=1)
    for weeks in (1, 3, 8):
        for level in (0.1, 0.5, 0.9, 0.95, 0.99):
            found = np.quantile(paths[:, weeks - 1], level)
            assert found == pytest.approx(seen.quantile(level, weeks)[0], rel=0.03)


def test_paths_are_never_negative_and_belong_to_their_series():
    seen = forecast(history(poisson(0.7, 60, seed=11, series=5)), 6)
    all_rows = seen.sample(range(5), 500, 3)
    assert (all_rows >= 0).all()
    assert seen.sample([3], 500, 3)[0].tobytes() == np.ascontiguousarray(all_rows[3]).tobytes()
    assert (all_rows % 1 == 0).all()


def test_the_mean_of_the_paths_is_the_mean_shown():
    seen = forecast(history(poisson(5.0, 80, seed=12, series=3)), 6)
    means = seen.sample(range(3), 4000, 2).mean(axis=1)
    assert means.sum(axis=1) == pytest.approx(seen.weekly_mean.sum(axis=1), rel=0.03)


def test_levels_between_the_kept_ones_lie_between_them():
    seen = forecast(history(poisson(50.0, 60) * 1.1), 2)
    low, between, high = seen.quantile([0.9, 0.91, 0.925], 2)[0]
    assert low < between < high
    assert seen.levels is LEVELS


def test_an_empty_history_forecasts_nothing():
    empty = History((), np.array([], "datetime64[D]"), np.zeros((0, 0)), np.zeros((0, 0), bool))
    seen = forecast(empty, 4)
    assert seen.total_quantiles.shape == (0, 4, len(LEVELS))

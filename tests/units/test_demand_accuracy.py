"""The accuracy log: kept as given, scored when the truth is in, drift told."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from stock.demand.accuracy import KEPT_LEVELS, GivenForecast, Outcome, drift, keep, outcomes, score
from stock.demand.forecast import forecast
from stock.demand.known import History

MONDAY = date(2025, 1, 6)


def history(values, first=MONDAY, stocked_out=None):
    rows = np.array(values, float)
    mondays = np.datetime64(first) + 7 * np.arange(rows.shape[1])
    floors = np.zeros(rows.shape, bool) if stocked_out is None else np.array(stocked_out)
    return History(tuple(f"s{row}" for row in range(len(rows))), mondays, rows, floors)


def rounds(*, count=12, series=40, used=1.0, noise=1.0, seed=0):
    """Forecasts of Poisson(20) totals as they should be, and truths that may differ."""
    from scipy.stats import poisson

    draws = np.random.default_rng(seed)
    marks = tuple(poisson(20).ppf(KEPT_LEVELS).tolist())
    found = []
    for week in range(count):
        given = MONDAY + timedelta(weeks=2 * week)
        for place in range(series):
            said = GivenForecast(
                f"s{place}",
                given,
                given,
                2,
                "smooth" if place % 4 else "lumpy",
                20.0,
                KEPT_LEVELS,
                marks,
            )
            truth = (
                draws.poisson(20 * used)
                if noise == 1.0
                else max(0.0, round(20 * used + noise * (draws.poisson(20) - 20)))
            )
            found.append(Outcome(said, float(truth)))
    return found


def in_thousandths(case):
    marks = tuple(1000 * mark for mark in case.given.quantiles)
    said = replace(case.given, mean=1000 * case.given.mean, quantiles=marks)
    return Outcome(said, 1000 * case.truth)


def test_what_was_said_is_kept_as_it_was_said():
    past = history(np.random.default_rng(1).poisson(5.0, (3, 30)))
    seen = forecast(past, 4)
    kept = keep(seen, date(2025, 8, 4), 4)
    assert [said.key for said in kept] == ["s0", "s1", "s2"]
    assert kept[0].quantiles == tuple(seen.quantile(list(KEPT_LEVELS), 4)[0].tolist())
    assert kept[0].mean == pytest.approx(seen.weekly_mean[0].sum())
    assert kept[0].end == kept[0].start + timedelta(days=27)


def test_a_forecast_is_scored_once_all_its_weeks_are_in():
    past = history(np.random.default_rng(1).poisson(5.0, (2, 30)))
    kept = keep(forecast(past, 3), date(2025, 8, 4), 3)
    two_more = history(np.hstack([past.values, [[4, 5], [1, 1]]]))
    assert outcomes(kept, two_more) == []
    three_more = history(np.hstack([past.values, [[4, 5, 6], [1, 1, 1]]]))
    assert [case.truth for case in outcomes(kept, three_more)] == [15.0, 3.0]


def test_weeks_of_a_stock_out_are_not_held_against_the_forecast():
    past = history(np.full((1, 30), 5.0))
    kept = keep(forecast(past, 2), date(2025, 8, 4), 2)
    later = np.hstack([past.values, [[5, 0]]])
    floors = [[False] * 31 + [True]]
    assert outcomes(kept, history(later, stocked_out=floors)) == []


def test_series_that_are_gone_are_left_out():
    past = history(np.full((2, 30), 5.0))
    kept = keep(forecast(past, 2), date(2025, 8, 4), 2)
    later = history(np.full((1, 40), 5.0))
    assert [case.given.key for case in outcomes(kept, later)] == ["s0"]


def test_good_forecasts_score_as_promised_by_class_and_together():
    rows = score(rounds())
    assert [row.kind for row in rows] == ["smooth", "lumpy", "all"]
    every = rows[-1]
    assert every.cases == 480
    assert every.rounds == 12
    at = every.levels.index(0.9)
    assert every.below[at] <= 0.9 + 0.03
    assert every.at_most[at] >= 0.9 - 0.03
    assert every.bias == pytest.approx(0, abs=0.03)
    assert (every.pinball > 0).all()


def test_an_item_in_small_units_does_not_drown_the_others():
    """The same forecasts, half of the items in thousandths of their unit: the same scores."""
    plain = rounds()
    mixed = [in_thousandths(case) if int(case.given.key[1:]) % 2 else case for case in plain]
    for ours, theirs in zip(score(mixed), score(plain), strict=True):
        assert ours.pinball == pytest.approx(theirs.pinball)
        assert (ours.bias, ours.crps) == pytest.approx((theirs.bias, theirs.crps))


def test_a_forecast_that_hits_loses_less_than_one_that_misses():
    hit, miss = score(rounds())[-1], score(rounds(used=1.5))[-1]
    assert hit.crps < miss.crps
    assert (hit.pinball[1:] < miss.pinball[1:]).all()
    assert miss.bias == pytest.approx(1 / 1.5 - 1, abs=0.03)


def test_nothing_to_score_is_no_score():
    assert score([]) == []
    assert not drift([]).flagged


def test_when_nothing_happened_the_bias_is_unknown_and_not_infinite():
    given = rounds(count=1, series=2)
    cases = [Outcome(case.given, 0.0) for case in given]
    assert np.isnan(score(cases)[-1].bias)
    assert np.isfinite(score(cases)[-1].pinball).all()


def test_forecasts_that_hold_raise_no_flag():
    for seed in range(5):
        assert drift(rounds(seed=seed)) == drift([])


def test_half_as_much_again_is_told_as_drift():
    found = drift(rounds(used=1.5))
    assert found.flagged
    assert any("more was used than forecast" in reason for reason in found.reasons)


def test_wilder_need_than_promised_is_told_as_drift():
    found = drift(rounds(noise=2.5))
    assert any("less sure than forecast" in reason for reason in found.reasons)


def test_a_few_rounds_are_not_enough_to_say():
    assert not drift(rounds(count=3, used=3.0)).flagged
    assert not drift(rounds(series=2, count=8, used=3.0)).flagged

"""Properties of the demand package over generated input."""

from datetime import date, timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from stock.demand.chances import misprint_rates
from stock.demand.classes import CLASSES, classify
from stock.demand.forecast import forecast
from stock.demand.known import History, ItemTerms, MisprintRecord, OrderLine, PieceUse
from stock.demand.paths import need_paths
from stock.demand.quantile_tables import gamma_at_levels
from stock.demand.scores import crps_of_sample, pinball
from stock.demand.sizes import size_curve, split_whole
from stock.demand.thinning import Keeping, on_grid

AMOUNTS = st.one_of(st.just(0.0), st.integers(0, 40).map(float), st.floats(0.001, 1e9))
QUICK = settings(max_examples=40, deadline=None)


def history_of(values, begins):
    rows = values.copy()
    for row, first in zip(rows, begins, strict=False):
        row[:first] = np.nan
    mondays = np.datetime64("2024-01-01") + 7 * np.arange(rows.shape[1])
    keys = tuple(f"s{row}" for row in range(len(rows)))
    return History(keys, mondays, rows, np.zeros(rows.shape, bool))


SERIES = st.integers(1, 60).flatmap(
    lambda weeks: st.tuples(
        arrays(float, (3, weeks), elements=AMOUNTS),
        st.lists(st.integers(0, weeks), min_size=3, max_size=3),
    )
)


@QUICK
@given(SERIES, st.integers(1, 14))
def test_any_history_gives_rising_finite_quantiles(series, horizon):
    values, begins = series
    seen = forecast(history_of(values, begins), horizon)
    assert np.isfinite(seen.total_quantiles).all()
    assert (seen.total_quantiles >= 0).all()
    assert (np.diff(seen.total_quantiles, axis=1) >= 0).all()
    assert (np.diff(seen.total_quantiles, axis=2) >= 0).all()
    assert set(seen.classes) <= set(CLASSES)
    for row, label in enumerate(seen.models):
        assert seen.weekly_mean[row].sum() > 0 or label.startswith("no ")


@QUICK
@given(SERIES)
def test_paths_of_any_history_are_finite_and_not_negative(series):
    values, begins = series
    seen = forecast(history_of(values, begins), 5)
    paths = seen.sample(range(3), 50, 1)
    assert np.isfinite(paths).all()
    assert (paths >= 0).all()


@QUICK
@given(arrays(float, (2, 30), elements=AMOUNTS), st.floats(0.001, 1e6))
def test_a_class_does_not_depend_on_the_unit(values, factor):
    assert classify(values).tolist() == classify(values * factor).tolist()


LINES = st.lists(
    st.tuples(st.integers(-3, 40), st.integers(1, 60), st.sampled_from(["quote", "confirmed"])),
    max_size=6,
)


@QUICK
@given(LINES, st.integers(0, 34), st.integers(1, 200), st.integers(0, 2**31))
def test_another_order_never_lowers_a_week(lines, due, pieces, seed):
    day = date(2026, 3, 4)

    def order(place, when, count, stage):
        return OrderLine(
            f"o{place}",
            1,
            stage,
            day,
            day + timedelta(days=when),
            count,
            win_probability=0.4,
            uses=(PieceUse("tee", 1.0, 0.2),),
        )

    booked = [order(place, *line) for place, line in enumerate(lines)]
    more = [*booked, order("new", due, pieces, "confirmed")]
    values = np.random.default_rng(0).poisson(9.0, (1, 30)).astype(float)
    past = History(
        ("tee",), np.datetime64("2025-08-04") + 7 * np.arange(30), values, np.zeros((1, 30), bool)
    )
    items = [ItemTerms("tee", "supply", "each")]
    before, after = (
        need_paths(
            items,
            known,
            history=past,
            day=day,
            horizon_weeks=5,
            n_paths=60,
            seed=seed,
        ).chunk([0])
        for known in (booked, more)
    )
    assert (after >= before - 1e-3 - 1e-5 * before).all()


@given(st.integers(0, 500), st.lists(st.floats(0.01, 10), min_size=1, max_size=9))
def test_whole_parts_always_add_up_and_stay_near(total, shares):
    parts = split_whole(total, shares)
    exact = np.array(shares) / sum(shares) * total
    assert sum(parts) == total
    assert (np.abs(np.array(parts) - exact) <= 1 + 1e-6).all()


@given(st.lists(st.floats(0, 1e5), min_size=1, max_size=7), st.floats(0, 1))
def test_shares_of_a_family_are_positive_and_add_up(counts, prior):
    sizes = [f"size{place}" for place in range(len(counts))]
    curve = size_curve(sizes, counts, {"size0": prior})
    assert (curve.shares > 0).all()
    assert abs(curve.shares.sum() - 1) < 1e-9


@given(st.floats(0, 1e6), st.floats(0, 1e6), st.floats(0, 1), st.floats(0.1, 1e4))
def test_a_misprint_rate_lies_between_prior_and_record(printed, spoiled, rate, weight):
    spoiled = min(spoiled, printed)
    found = misprint_rates([MisprintRecord("x", printed, spoiled)], (rate, weight)).shop
    record = spoiled / printed if printed else rate
    assert min(rate, record) - 1e-9 <= found <= max(rate, record) + 1e-9


@QUICK
@given(st.integers(1, 200), st.floats(0.01, 0.99))
def test_what_is_kept_of_k_has_the_binomial_mean_and_bounds(k, chance):
    draws = np.tile(np.arange(256, dtype=np.uint8), 40)
    counts = np.full(draws.shape, float(k), np.float32)
    kept = Keeping([chance]).kept(counts, np.zeros(draws.shape, np.intp), draws)
    assert ((kept >= 0) & (kept <= k)).all()
    assert abs(kept.mean() - k * chance) <= 0.06 + 0.02 * k * chance


@given(st.lists(st.floats(0.002, 0.998), min_size=8, max_size=8))
def test_chances_moved_to_the_grid_keep_their_mean(chances):
    moved = on_grid(chances)
    assert abs(np.mean(moved) - np.mean(chances)) <= 0.1 * max(np.mean(chances), 0.01)


@given(st.floats(1e-6, 1e9), st.floats(1e-4, 20))
def test_gamma_quantiles_rise_and_scale(mean, cv):
    one = gamma_at_levels(np.array([1.0]), np.array([cv**2]))[0]
    scaled = gamma_at_levels(np.array([mean]), np.array([(cv * mean) ** 2]))[0]
    assert (np.diff(one) >= 0).all()
    assert np.allclose(scaled, one * mean, rtol=1e-6)


@given(st.floats(-1e6, 1e6), st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=20))
def test_crps_is_never_negative_and_pinball_is_zero_only_on_the_mark(truth, sample):
    assert crps_of_sample(truth, np.array(sample)) >= -1e-6
    loss = pinball(np.array([truth]), np.array([sample]), np.full(len(sample), 0.9))
    assert (loss >= 0).all()

"""Fitting a channel's rates: what goes in, what is set aside, what is believed after."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from stock.errors import Refused
from stock.ink.calibrate import Interval, Use, calibrate, fit_channel, rate_versions
from stock.ink.mode import PrintMode, Rate, prior_rates
from tests.benchmarks.ink_recovery import coverage, from_prior, weekly_use_errors

PRIOR = Rate(
    per_cm2_ul=2.0, per_cm2_ul_sd=0.7, per_print_ml=0.05, per_print_ml_sd=0.03,
    per_day_ml=2.0, per_day_ml_sd=1.0,
)  # fmt: skip
TRUE = {"cm2": 3.0, "print": 0.08, "day": 1.2}


def week(number: int, *, noise: float = 0.0, **changes: object) -> Interval:
    """An interval whose use follows TRUE but for a relative noise."""
    area, prints = 3000.0 + 700 * (number % 5), 20.0 + 13 * (number % 3)
    use = area * TRUE["cm2"] / 1000 + prints * TRUE["print"] + 7 * TRUE["day"]
    start = date(2025, 1, 6) + timedelta(weeks=number)
    made = Interval(
        printer="P1", channel="K", source="weigh", start=start, end=start + timedelta(days=7),
        used_ml=use * (1 + noise), used_sd_ml=0.03 * use, covered_cm2={"standard": area},
        prints=prints, days=7.0,
    )  # fmt: skip
    return replace(made, **changes)


def test_without_intervals_the_prior_rules() -> None:
    fit = fit_channel([], {"standard": PRIOR}, printer="P1", channel="K")
    rate = fit.rate("standard")
    assert rate.per_cm2_ul == pytest.approx(2.0)
    assert rate.per_cm2_ul_sd == pytest.approx(0.7)
    assert rate.prior_share == 1
    assert not rate.calibrated


def test_one_interval_moves_the_belief_and_narrows_it() -> None:
    fit = fit_channel([week(0)], {"standard": PRIOR})
    rate = fit.rate("standard")
    assert rate.per_day_ml_sd < 1.0
    assert 0 < rate.prior_share < 1
    assert rate.calibrated
    before, after = fit.prior.variance_ml2(week(0).use), fit.belief.variance_ml2(week(0).use)
    assert after < 0.1 * before
    assert fit.belief.expected_ml(week(0).use) == pytest.approx(week(0).used_ml, rel=0.03)


def test_many_intervals_leave_little_of_the_prior() -> None:
    rng = np.random.default_rng(3)
    weeks = [week(i, noise=0.03 * rng.standard_normal()) for i in range(40)]
    rate = fit_channel(weeks, {"standard": PRIOR}).rate("standard")
    assert rate.per_cm2_ul == pytest.approx(3.0, abs=3 * rate.per_cm2_ul_sd)
    assert rate.per_cm2_ul_sd < 0.2
    assert rate.prior_share < 0.05


def test_a_swap_that_was_not_logged_is_set_aside_and_named() -> None:
    weeks = [week(i) for i in range(10)]
    wrong = replace(weeks[4], used_ml=weeks[4].used_ml + 350)
    fit = fit_channel([*weeks[:4], wrong, *weeks[5:]], {"standard": PRIOR})
    assert [aside.interval for aside in fit.set_aside] == [wrong]
    assert "standard deviations" in fit.set_aside[0].why
    clean = fit_channel([*weeks[:4], *weeks[5:]], {"standard": PRIOR})
    assert fit.rate("standard") == clean.rate("standard")


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"used_ml": -3.0}, "negative use"),
        ({"used_ml": float("nan")}, "no number"),
        ({"end": date(2024, 1, 1)}, "ends before"),
        ({"prints": -1.0}, "negative area, count"),
        ({"covered_cm2": {}, "prints": 0.0, "days": 0.0}, "nothing was printed"),
    ],
)
def test_an_interval_that_cannot_be_is_set_aside(changes: dict[str, object], why: str) -> None:
    fit = fit_channel([week(0), week(1, **changes), week(2)], {"standard": PRIOR})
    assert len(fit.set_aside) == 1
    assert why in fit.set_aside[0].why
    assert len(fit.residuals) == 2


def test_intervals_nobody_could_print_are_set_aside_even_if_all_are_so() -> None:
    fit = fit_channel([week(i, used_ml=1e9) for i in range(3)], {"standard": PRIOR})
    assert len(fit.set_aside) == 3
    assert fit.rate("standard").per_cm2_ul == pytest.approx(PRIOR.per_cm2_ul)
    assert not fit.rate("standard").calibrated


def test_a_log_of_thousands_of_jobs_with_mistakes_is_fitted_in_seconds() -> None:
    rng = np.random.default_rng(1)
    jobs = [week(i % 300, noise=0.03 * rng.standard_normal()) for i in range(5000)]
    for place in range(0, 5000, 100):
        jobs[place] = replace(jobs[place], used_ml=jobs[place].used_ml * 3)
    began = time.process_time()
    fit = fit_channel(jobs, {"standard": PRIOR})
    assert time.process_time() - began < 10
    assert 50 <= len(fit.set_aside) <= 55
    assert fit.rate("standard").per_cm2_ul == pytest.approx(3.0, abs=0.05)


def test_a_prior_far_off_does_not_set_the_first_honest_interval_aside() -> None:
    fit = fit_channel([week(0)], {"standard": replace(PRIOR, per_cm2_ul=1.8)})
    assert not fit.set_aside


def test_noise_beyond_what_was_stated_widens_the_standard_errors() -> None:
    rng = np.random.default_rng(4)
    errors = 0.15 * rng.standard_normal(30)
    noisy = fit_channel([week(i, noise=e) for i, e in enumerate(errors)], {"standard": PRIOR})
    quiet = fit_channel([week(i, noise=e / 5) for i, e in enumerate(errors)], {"standard": PRIOR})
    assert noisy.noise["weigh"] > 3
    assert noisy.rate("standard").per_cm2_ul_sd > 2.5 * quiet.rate("standard").per_cm2_ul_sd
    assert len(noisy.set_aside) == 0


def test_rates_never_turn_negative() -> None:
    weeks = [
        week(i, used_ml=2.9 * week(i).covered_cm2["standard"] / 1000 - 2, used_sd_ml=0.05)
        for i in range(20)
    ]
    belief = fit_channel(weeks, {"standard": PRIOR}).belief
    assert (belief.mean >= 0).all()


def test_a_mode_without_intervals_learns_from_the_mode_that_has_them() -> None:
    priors = {"standard": PRIOR, "fast": replace(PRIOR, per_cm2_ul=1.0, per_cm2_ul_sd=0.35)}
    fit = fit_channel([week(i) for i in range(12)], priors)
    assert fit.rate("fast").per_cm2_ul > 1.1
    assert fit.rate("fast").prior_share > 0.5
    assert not fit.rate("fast").calibrated


def test_start_ups_are_learnt_only_where_the_prior_lets_them() -> None:
    fixed = fit_channel([week(i, starts=5.0) for i in range(10)], {"standard": PRIOR})
    assert fixed.rate("standard").per_start_ml == 0
    free = replace(PRIOR, per_start_ml_sd=0.5)
    weeks = [
        replace(week(i), starts=float(i % 4), used_ml=week(i).used_ml + 0.9 * (i % 4))
        for i in range(30)
    ]
    found = fit_channel(weeks, {"standard": free}).rate("standard")
    assert found.per_start_ml == pytest.approx(0.9, abs=0.3)


def test_all_channels_come_in_the_order_of_the_heads() -> None:
    priors = {("P1", channel): {"standard": PRIOR} for channel in "WKYMC"}
    fits = calibrate([week(0)], priors)
    assert [fit.channel for fit in fits] == ["C", "M", "Y", "K", "W"]
    with pytest.raises(Refused, match="no such channel"):
        calibrate([week(0, channel="X")], priors)


def test_only_channels_with_data_get_a_new_version() -> None:
    priors = {("P1", channel): {"standard": PRIOR} for channel in "CMYKW"}
    versions = rate_versions(calibrate([week(0)], priors), date(2025, 2, 1))
    assert [(v.channel, v.mode, v.valid_from) for v in versions] == [
        ("K", "standard", date(2025, 2, 1))
    ]


def test_the_spread_of_a_predicted_use_counts_how_rates_move_together() -> None:
    fit = fit_channel([week(i) for i in range(12)], {"standard": PRIOR})
    use = Use({"standard": 4000.0}, prints=30.0, days=7.0)
    rate = fit.rate("standard")
    apart = (4 * rate.per_cm2_ul_sd) ** 2 + (30 * rate.per_print_ml_sd) ** 2
    apart += (7 * rate.per_day_ml_sd) ** 2
    assert fit.belief.variance_ml2(use) < 0.5 * apart


def test_true_rates_are_recovered_on_simulated_machines() -> None:
    # The full study, 200 machines a table, is tests/benchmarks/ink_recovery.py; here fewer
    # machines, and bands wide enough for their number (binomial, 3 sd of 90 % over 60).
    for shares in coverage(60, from_prior, seed=5).values():
        assert (shares >= 0.78).all()
    for errors in weekly_use_errors(25, seed=6).values():
        assert np.median(errors[:, 0]) == pytest.approx(0.4)
        assert np.median(errors[:, 1]) <= 0.05


def test_the_default_prior_fits_every_channel() -> None:
    for channel, prior in prior_rates(PrintMode()).items():
        assert fit_channel([], {"standard": prior}).rate("standard").per_cm2_ul == pytest.approx(
            prior.per_cm2_ul
        ), channel

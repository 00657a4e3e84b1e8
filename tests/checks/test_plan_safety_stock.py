"""Levels under normal need: safety stock by the square root of time, and pooling.

Every case is a whole plan. Tolerances are three standard errors of the quantile read off the
paths, or a cell of the planner's grid, whichever is larger, and are given as such.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from tests.checks.textbook import decided, line_of, seen, spread_over

PATHS = 20_000


def normal_need(mean, sd, periods, seed=0):
    return np.random.default_rng(seed).normal(mean, sd, (PATHS, periods))


def quantile_error(sd, service):
    """Three standard errors of a normal quantile read off ``PATHS`` paths."""
    z = stats.norm.ppf(service)
    return 3 * sd * np.sqrt(service * (1 - service) / PATHS) / stats.norm.pdf(z)


@pytest.mark.parametrize(
    ("mean", "sd", "lead", "review", "service", "level"),
    [
        # S. Chopra and P. Meindl, Supply Chain Management, periodic review every 4 weeks, lead
        # time 2 weeks (from memory, recomputed): order up to 16,570, safety stock 1,570.
        (2500, 500, 2, 4, 0.90, 16569.5737073),
        # The same book, reorder point for a cycle service of .9 (from memory, recomputed): the
        # two weeks' lead time is a week's lead time and a week's review here.
        (2500, 500, 1, 1, 0.90, 5906.19380244),
    ],
)
def test_the_level_is_the_mean_and_z_times_the_root_of_time(mean, sd, lead, review, service, level):
    need = spread_over(normal_need(mean, sd, 40), 7)
    terms = seen(lead_days=7 * lead, review_days=7 * review, service=service, unit="g")
    line = line_of(terms, need)
    error = quantile_error(sd * np.sqrt(lead + review), service)
    assert line.level == pytest.approx(level, abs=error)
    safety = line.level - line.need.total
    assert safety == pytest.approx(level - mean * (lead + review), abs=error)


def test_half_weeks_of_lead_time():
    # Constructed, by two methods: mean 17.25, deviation 6.4, 2.5 periods, service .985.
    # A period is two weeks: lead time 4 weeks, review 1 week, half a period's need each week.
    half = normal_need(17.25 / 2, 6.4 / np.sqrt(2), 14)
    line = line_of(seen(lead_days=28, review_days=7, service=0.985, unit="g"), spread_over(half, 7))
    error = quantile_error(6.4 * np.sqrt(2.5), 0.985)
    assert line.level == pytest.approx(65.0847706291, abs=error)


@pytest.mark.parametrize(
    ("deviations", "periods", "service", "rho", "separate", "pooled"),
    [
        # Constructed: square-root law, pooled = separate / √n for equal deviations.
        ([5, 5, 5, 5], 2, 0.90, 0.0, 36.2477520975, 18.1238760487),
        # Constructed: matrix form against pairwise sum.
        ([12, 7.5, 4, 9], 3, 0.95, 0.3, 92.5915267191, 65.2749960451),
    ],
)
def test_safety_stock_held_in_one_place_is_less(
    deviations, periods, service, rho, separate, pooled
):
    count, mean = len(deviations), 60.0
    joint = np.full((count, count), rho) + (1 - rho) * np.eye(count)
    draws = np.random.default_rng(4).multivariate_normal(
        np.zeros(count), joint * np.outer(deviations, deviations), (PATHS, 13)
    )
    need = {f"I{n}": spread_over(mean + draws[:, :, n], 7) for n in range(count)}
    terms = {"lead_days": 7 * (periods - 1), "service": service, "unit": "g"}
    apart = decided(seen(need, **terms), need)
    together = decided(seen(("X",), **terms), {"X": sum(need.values())})

    def safety(found):
        return sum(line.level - line.need.total for line in found.lines)

    spread = np.sqrt(periods) * np.array(deviations)
    assert safety(apart) == pytest.approx(separate, abs=quantile_error(spread.sum(), service))
    assert safety(together) == pytest.approx(pooled, abs=quantile_error(pooled / 1.28, service))

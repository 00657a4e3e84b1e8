"""Levels for a share of need served from stock, and for a chance of not running out, by the plan.

Every case is a whole plan: need paths as the source states them, one supplier whose orders take
a fixed time. Where demand has few values all paths are written out, so that the level is exact.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from tests.checks.textbook import line_of, seen, spread_over

SMALL_PACK = 0.001
WEEKS = 12


def all_courses(values, chances, parts, weeks):
    """Every course of the first ``weeks`` weeks once, each as likely; then any weeks."""
    faces = np.repeat(values, np.rint(np.array(chances) * parts).astype(int))
    courses = faces[np.indices((parts,) * weeks).reshape(weeks, -1).T]
    draws = np.random.default_rng(0)
    later = [courses[draws.permutation(len(courses)), 0] for _ in range(WEEKS - weeks)]
    return spread_over(np.column_stack([courses, *later]), 7)


# J. Boylan and A. Syntetos, Intermittent Demand Forecasting (2021), Tables 3.7–3.9, equations
# 3.3–3.4: review 1, lead time 2, need 0, 1 or 4.
TABLE_3_7 = all_courses([0, 1, 4], [0.5, 0.3, 0.2], 10, 4)
# The same book, Table 3.5 and Figure 3.1: review 1, lead time 1, need 0, 1 or 2.
TABLE_3_5 = all_courses([0, 1, 2], [0.5, 0.3, 0.2], 10, 3)


@pytest.mark.parametrize(
    ("courses", "lead_weeks", "fill", "level"),
    [
        (TABLE_3_7, 2, 0.88, 7),  # exact fill rate of Table 3.9
        (TABLE_3_5, 1, 0.942857142857, 3),
        (TABLE_3_5, 1, 0.714285714286, 2),  # values ours from the table's data, by two methods
    ],
)
def test_the_level_for_a_fill_rate_is_the_lowest_that_serves_it(courses, lead_weeks, fill, level):
    def found(wanted):
        terms = {"service": wanted, "service_kind": "fill", "pack": SMALL_PACK}
        return line_of(seen(lead_days=7 * lead_weeks, **terms), courses)

    served = found(fill - 1e-6)
    assert served.level == level
    assert served.order_up_to == level
    assert found(fill + 1e-6).level == level + 1


@pytest.mark.parametrize(
    ("courses", "lead_weeks", "service", "level", "next_level"),
    [
        (TABLE_3_7, 2, 0.896, 6, 8),  # a need of 7 in three weeks cannot be: 6 serves as well
        (TABLE_3_5, 1, 0.96, 3, 4),  # Figure 3.1: 96 % of cycles
        (TABLE_3_5, 1, 0.84, 2, 3),
    ],
)
def test_the_level_for_cycle_service_is_the_lowest_that_keeps_it(
    courses, lead_weeks, service, level, next_level
):
    def found(wanted):
        return line_of(seen(lead_days=7 * lead_weeks, service=wanted), courses).level

    assert found(service - 1e-6) == level
    assert found(service + 1e-6) == next_level


def test_the_exact_fill_rate_of_lumpy_need():
    # Constructed, by convolution and by path enumeration: review 1, lead time 3, S = 60.
    draws = np.random.default_rng(1)
    need = draws.choice([0, 6, 12, 36], p=[0.62, 0.2, 0.12, 0.06], size=(20_000, WEEKS))
    terms = seen(lead_days=21, service=0.9509788, service_kind="fill", pack=SMALL_PACK)
    assert line_of(terms, spread_over(need, 7)).level == pytest.approx(60, abs=1)


PER_PERIOD = 30
"""Reviews in a source's period: so many that at most one unit is needed between two."""
GOLDEN = 0.6180339887498949


def poisson_need(rate, lead_days, paths=6000):
    """Poisson need per day, evenly drawn over the lead time and the day after it.

    The need of the lead time is taken at even chances, that of the day after (and of day 0, which
    the plan sees today in its place) at even chances within each of its values.
    """
    draws = np.random.default_rng(2)
    daily = draws.poisson(rate / PER_PERIOD, (paths, 350)).astype(float)
    even = (np.arange(paths) + 0.5) / paths
    daily[:, 1 : lead_days + 1] = 0.0
    for path, units in enumerate(stats.poisson.ppf(even, rate * lead_days / PER_PERIOD)):
        np.add.at(daily[path], draws.integers(1, lead_days + 1, int(units)), 1.0)
    last = stats.poisson.ppf(np.arange(paths) * GOLDEN % 1.0, rate / PER_PERIOD)
    daily[:, 0] = daily[:, lead_days + 1] = last
    return daily


@pytest.mark.parametrize(
    ("rate", "lead", "pack", "fill", "level"),
    [
        # Base stock S under continuous review, constructed, closed form and simulation.
        (1.6, 2.5, SMALL_PACK, 0.78513038703, 6),
        (3.2, 3.0, SMALL_PACK, 0.891851744485, 14),
        # Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., policy of Example 5.8
        # (r = 3, Q = 5: order below 4, in packs of 5); fill rate ours by two methods.
        (1.5, 2.0, 5.0, 0.866632830422, 4),
    ],
)
def test_fill_rates_under_continuous_review_of_poisson_need(rate, lead, pack, fill, level):
    lead_days = round(lead * PER_PERIOD)
    need = poisson_need(rate, lead_days)

    def found(wanted):
        terms = {"service": wanted, "service_kind": "fill", "pack": pack, "review_days": 1}
        return line_of(seen(lead_days=lead_days, **terms), need).level

    # One unit less or more changes the fill rate by .03 or more.
    assert found(fill - 0.015) == level
    assert found(fill + 0.015) == level + 1

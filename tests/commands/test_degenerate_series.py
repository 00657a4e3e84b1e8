"""``stock forecast --history`` on degenerate series: a sane answer, or a fault with its line."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest

MONDAY = date(2025, 1, 6)


@pytest.fixture
def forecast(run, tmp_path):
    """Forecast four weeks of one series given as (date, amount as written) rows."""

    def ask(rows):
        path = tmp_path / "use.csv"
        lines = [f"A,{day},{amount}" for day, amount in rows]
        path.write_text("unique_id,ds,y\n" + "\n".join(lines) + "\n", encoding="utf-8")
        return run(
            *("forecast", "--history", str(path), "--weeks", "4", "--quantiles", ".5,.9,.99"),
            "--json",
        )

    return ask


def weekly(amounts):
    return [(MONDAY + timedelta(weeks=week), amount) for week, amount in enumerate(amounts)]


@pytest.mark.parametrize(
    ("amounts", "low", "high"),
    [
        ([6] * 30, 23, 25),  # constant
        ([1e9] * 30, 3.9e9, 4.1e9),
        ([1e-9] * 30, 3.9e-9, 4.1e-9),
        ([0] * 12 + [50] + [0] * 17, 1, 20),  # one spike: 50 in 30 weeks are 6.7 in 4
        ([3], 4, 30),  # one point
        ([3, 4], 8, 20),
        ([0] * 20 + [5], 1, 20),
    ],
)
def test_a_thin_series_has_a_sane_total_and_quantiles_in_order(forecast, amounts, low, high):
    (row,) = forecast(weekly(amounts)).json()
    total = row["total"]
    assert low <= total["mean"] <= high
    marks = [total["quantiles"][level] for level in ("0.5", "0.9", "0.99")]
    assert marks == sorted(marks)
    assert all(math.isfinite(one) and one >= 0 for one in [*marks, *row["weekly"]])
    assert marks[-1] > 0


def test_a_series_of_nothing_says_that_nothing_was_used(forecast):
    (row,) = forecast(weekly([0] * 30)).json()
    assert (row["total"]["mean"], row["class"]) == (0.0, "none")
    assert row["model"] == "no use in 30 weeks"


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (weekly([3, "NaN", 4]), "line 3, y: found 'NaN', expected an amount used"),
        (weekly([3, "", 4]), "line 3, y"),
        (weekly([3, 4, -1]), "line 4, y: found '-1', expected 0 or more"),
        (weekly([3, "inf"]), "line 3, y: found 'inf', expected at most"),
        (weekly([3, 1e300]), "line 3, y"),
        (weekly([1e-300] * 9), "line 2, y: found '1e-300', expected 0, or at least 1e-12"),
        (weekly([3, "many"]), "line 3, y: found 'many'"),
        ([*weekly([3, 4, 5]), (MONDAY, 9)], "line 5, ds: found '2025-01-06', expected one row"),
        ([(MONDAY, 3), ("2025-13-40", 3)], "line 3, ds"),
        ([*weekly([3, 4]), ("2999-01-07", 3)], "line 4, ds"),
    ],
)
def test_what_cannot_be_used_is_a_fault_with_its_line(forecast, rows, said):
    ran = forecast(rows)
    assert (ran.code, ran.out) == (1, "")
    assert said in ran.err


def test_weeks_left_out_count_as_no_use_and_that_is_said(forecast):
    full = weekly([3, 4, 5, 3, 0, 0, 3, 4, 5, 3])
    gaps = [row for row in full if row[1]]
    whole, left_out = forecast(full), forecast(gaps)
    assert whole.err == ""
    assert left_out.err == "2 weeks of 1 series without a row count as no use.\n"
    assert left_out.json() == whole.json()


def test_rows_in_any_order_are_one_series(forecast):
    rows = weekly([3, 4, 5, 3, 4, 5])
    assert forecast(rows[::-1]).json() == forecast(rows).json()


def test_part_weeks_of_a_daily_table_are_left_out_and_that_is_said(forecast):
    days = [(date(2025, 1, 1) + timedelta(days=n), 2) for n in range(43)]  # Wednesday to Wednesday
    ran = forecast(days)
    assert ran.err.splitlines() == [
        "The part week before 2025-01-06 was left out.",
        "The part week from 2025-02-10 was left out.",
    ]
    # 14 a week; few weeks, so the spread is borrowed
    assert ran.json()[0]["total"]["mean"] == pytest.approx(56, rel=0.02)

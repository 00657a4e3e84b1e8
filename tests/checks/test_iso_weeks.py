"""ISO 8601 weeks: the clock against the standard's week dates."""

from __future__ import annotations

from datetime import date

import pytest

from stock.clock import monday_of, week_label, weeks_in_year


@pytest.mark.parametrize(
    ("day", "iso"),
    [
        # ISO 8601 week rule; recomputed with Python's datetime.isocalendar.
        ("2022-12-31", "2022-W52-6"),
        ("2026-12-31", "2026-W53-4"),
        # Week-date examples of a public encyclopaedia's table, from memory, recomputed.
        ("2005-01-01", "2004-W53-6"),
        ("2006-01-01", "2005-W52-7"),
        ("2007-12-31", "2008-W01-1"),
        ("2008-12-28", "2008-W52-7"),
        ("2010-01-03", "2009-W53-7"),
        # Constructed; two independent methods agree.
        ("2024-12-30", "2025-W01-1"),
        # A trade fact of the calendar: 2027-01-03 is the Sunday of 2026's week 53 (calculated).
        ("2027-01-03", "2026-W53-7"),
    ],
)
def test_a_day_lies_in_its_iso_week(day, iso):
    moment = date.fromisoformat(day)
    assert f"{week_label(moment)}-{moment.isoweekday()}" == iso
    assert monday_of(moment) == date.fromisocalendar(int(iso[:4]), int(iso[6:8]), 1)


def test_years_of_53_weeks():
    # OEIS A249404 lists them: 71 in every 400 years.
    assert [year for year in range(2020, 2040) if weeks_in_year(year) == 53] == [
        2020,
        2026,
        2032,
        2037,
    ]
    assert sum(weeks_in_year(year) == 53 for year in range(2000, 2400)) == 71
    assert weeks_in_year(2024) == 52  # a leap year beginning on a Monday: 52 by the rule

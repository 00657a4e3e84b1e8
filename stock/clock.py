"""Today, ISO weeks, working days and the shop's calendar.

Weeks are ISO 8601 weeks: Monday first, week 1 holds the year's first Thursday, a year may have
53. Nothing below this module asks the machine for the date: callers hand a day in.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def today() -> date:
    """The shop's business day by the station's own clock and time zone."""
    return datetime.now().astimezone().date()


def now_utc() -> datetime:
    """This moment, in UTC and aware of it."""
    return datetime.now(UTC)


def monday_of(day: date) -> date:
    """The Monday that begins the ISO week of ``day``.

    >>> monday_of(date(2027, 1, 3))
    datetime.date(2026, 12, 28)
    """
    return day - timedelta(days=day.weekday())


def week_label(day: date) -> str:
    """ISO week as ``2026-W53``.

    >>> week_label(date(2027, 1, 3))
    '2026-W53'
    """
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def weeks_in_year(year: int) -> int:
    """52 or 53: the ISO week of 28 December, which is always in the last week.

    >>> [y for y in range(2020, 2038) if weeks_in_year(y) == 53]
    [2020, 2026, 2032, 2037]
    """
    return date(year, 12, 28).isocalendar().week


def parse_weekdays(text: str) -> frozenset[int]:
    """``"mon,thu"`` as weekday numbers, Monday 0; empty text means Monday to Friday.

    >>> sorted(parse_weekdays("mon, thu"))
    [0, 3]
    """
    names = [part.strip().lower()[:3] for part in text.replace(";", ",").split(",") if part.strip()]
    wrong = [name for name in names if name not in WEEKDAYS]
    if wrong:
        raise ValueError(f"{wrong[0]!r} is not a day of the week ({', '.join(WEEKDAYS)})")
    return frozenset(WEEKDAYS.index(name) for name in names) or frozenset(range(5))


@dataclass(frozen=True, slots=True)
class WorkCalendar:
    """Which days count as working days for a shop or a supplier.

    Args:
        weekdays: Weekday numbers worked, Monday 0.
        closed: Single days not worked (holidays, closures).
    """

    weekdays: frozenset[int] = frozenset(range(5))
    closed: frozenset[date] = field(default_factory=frozenset)

    def works_on(self, day: date) -> bool:
        """Whether ``day`` is a working day."""
        return day.weekday() in self.weekdays and day not in self.closed

    def add_working_days(self, day: date, count: int) -> date:
        """The day ``count`` working days after ``day`` (0: ``day`` or the next working day).

        Raises:
            ValueError: When no day at all is worked, so that the count never ends.

        >>> WorkCalendar().add_working_days(date(2026, 11, 27), 1)
        datetime.date(2026, 11, 30)
        """
        if not self.weekdays:
            raise ValueError("the calendar has no working day")
        moved, steps = day, 0
        guard = 0
        while not self.works_on(moved):
            moved += timedelta(days=1)
            guard += 1
            if guard > 3660:
                raise ValueError("the calendar has no working day within ten years")
        while steps < count:
            moved += timedelta(days=1)
            guard += 1
            if guard > 36600:
                raise ValueError("the calendar has no working day within a hundred years")
            if self.works_on(moved):
                steps += 1
        return moved

    def next_working_day(self, day: date) -> date:
        """``day`` itself when worked, else the next worked day."""
        return self.add_working_days(day, 0)


def calendar_of(
    weekdays: Iterable[int] = range(5),
    closed: Iterable[date] = (),
    country: str = "",
    years: Iterable[int] = (),
) -> WorkCalendar:
    """A calendar from weekdays, closures and public holidays.

    ``country`` is an ISO 3166 code, with a region where that has holidays of its own (``US-CA``).
    """
    days = set(closed)
    if country:
        import holidays

        try:
            named, _, region = country.upper().partition("-")
            days.update(holidays.country_holidays(named, subdiv=region or None, years=list(years)))
        except NotImplementedError:
            raise ValueError(f"no public holidays are known for country {country!r}") from None
    return WorkCalendar(frozenset(weekdays), frozenset(days))

"""Days to remember as an iCalendar file (RFC 5545): order days, expiries, deliveries expected.

Whole days, not moments. The same occasion has the same identity in every file, so that a
calendar that takes a newer file replaces it instead of showing it twice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from stock.exchange.safe_text import safe_text

_PRODUCT: Final = "-//stock//consumables of a print shop//EN"


@dataclass(frozen=True, slots=True)
class Occasion:
    """One whole day to remember.

    Args:
        key: What makes it the same occasion next time (``expiry/INK-W/L-1``).
        day: The day.
        title: One line.
        text: More about it.
        remind_days: Remind so many days before; None: not.
    """

    key: str
    day: date
    title: str
    text: str = ""
    remind_days: int | None = None


def calendar_bytes(occasions: Iterable[Occasion], *, name: str, made: datetime) -> bytes:
    """An ``.ics`` file of the occasions.

    Args:
        name: The calendar's name.
        made: The moment the file is made, with its time zone.

    Raises:
        ValueError: ``made`` has no time zone.
    """
    from icalendar import Alarm, Calendar, Event

    if made.tzinfo is None:
        raise ValueError("the moment a calendar is made needs its time zone")
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", safe_text(name))
    for occasion in occasions:
        event = Event()
        event.add("uid", f"{safe_text(occasion.key)}@stock")
        event.add("dtstamp", made)
        event.add("dtstart", occasion.day)
        event.add("dtend", occasion.day + timedelta(days=1))
        event.add("summary", safe_text(occasion.title))
        event.add("transp", "TRANSPARENT")
        if occasion.text:
            lines = [safe_text(line) for line in occasion.text.splitlines()]
            event.add("description", "\n".join(lines))
        if occasion.remind_days is not None:
            alarm = Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", safe_text(occasion.title))
            alarm.add("trigger", timedelta(days=-occasion.remind_days))
            event.add_component(alarm)
        calendar.add_component(event)
    return bytes(calendar.to_ical())

"""Days as the calendar has them: a year of 53 weeks, leap days, DST nights, a shop far from UTC."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

import stock.clock
from stock.book.opening import open_book
from stock.book.tables import entry
from tests.faults.floor import GTIN, at_station, call, write_files

FIRST = date(2025, 12, 29)
"""Monday of 2026's week 1; the year has 53 weeks (ISO 8601; OEIS A249404), until 2027-01-03."""

WEEKS = 53
PIECES = 2
PER_DAY_ML = 0.1
"""What ``floor`` says a colour channel loses a day."""

ORDER = f"""\
order,line,stage,placed_on,due_on,blank,quantity,artwork,printer,location,width_cm
Y1,1,released,{FIRST},2027-01-03,TEE-BLK-L,500,BEAR,P1,front,10
"""


class Clock:
    """A station's clock that stands where it is put."""

    def __init__(self) -> None:
        self.moment = datetime(2026, 1, 1, tzinfo=UTC)

    def now(self, zone: tzinfo | None = None) -> datetime:
        """The moment, as :meth:`datetime.now` gives it."""
        return datetime.fromtimestamp(self.moment.timestamp(), zone)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Iterator[Clock]:
    """The program's clock, held still; the time zone is the test's to set."""
    held = Clock()
    monkeypatch.setattr(stock.clock, "datetime", held)
    yield held
    monkeypatch.undo()
    time.tzset()


def live_in(zone: str, monkeypatch: pytest.MonkeyPatch) -> ZoneInfo:
    """Set the station's time zone."""
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    return ZoneInfo(zone)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A shop that opens on :data:`FIRST` with ink and blanks for a year."""
    monkeypatch.chdir(tmp_path)
    write_files(tmp_path)
    (tmp_path / "orders.csv").write_text(ORDER)
    with at_station(tmp_path, str(tmp_path / "book.sqlite")):
        did("start")
        for kind in ("suppliers", "items", "packs", "printers", "artworks", "orders"):
            did("import", kind, f"{kind}.csv", "--on", str(FIRST))
        for channel in "CMYKW":
            item = f"INK-{channel}"
            lot = ("--lot", f"{channel}1", "--expires", "2027-06-30", "--on", str(FIRST))
            did("receive", "--item", item, "--packs", "4", *lot)
            did("load", f"P1-{channel}", "--item", item, "--on", str(FIRST))
        did("receive", "--item", "TEE-BLK-L", "--packs", "500", "--lot", "T1", "--on", str(FIRST))
        yield tmp_path


def did(*words: str) -> str:
    """What a command printed, which must have been done."""
    said = call(*words)
    assert said.code == 0, f"{words}: {said.err}"
    return said.out


def used(first: date, last: date) -> dict[str, dict[str, float]]:
    """``stock usage`` of a span: by item, the amounts printed and spent on upkeep."""
    told = json.loads(did("usage", "--from", str(first), "--to", str(last), "--json"))
    return {row["item"]: row for row in told["items"]}


def test_a_year_of_53_weeks_adds_up_in_a_shop_whose_day_is_not_the_day_of_utc(
    shop: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Half past midnight in Auckland is the day before in UTC, all year round; the clocks change
    # on 2026-04-05 and 2026-09-27 (IANA time zone database).
    zone = live_in("Pacific/Auckland", monkeypatch)
    offsets = set()
    for week in range(WEEKS):
        monday = FIRST + timedelta(days=7 * week)
        for day in (monday, monday + timedelta(days=6)):
            local = datetime(day.year, day.month, day.day, 0, 30, tzinfo=zone)
            clock.moment = local.astimezone(UTC)
            offsets.add(local.utcoffset())
            assert clock.moment.date() == day - timedelta(days=1)
            if day == monday:
                did("print", "--order", "Y1", "--line", "1", "--good", str(PIECES))
            else:
                did("upkeep")
    assert offsets == {timedelta(hours=13), timedelta(hours=12)}
    last = FIRST + timedelta(days=7 * WEEKS - 1)
    assert last == date(2027, 1, 3)

    whole = used(FIRST, last)
    assert whole["TEE-BLK-L"]["printed"] == PIECES * WEEKS
    assert whole["TEE-BLK-L"]["closing"] == 500 - PIECES * WEEKS
    assert whole["INK-C"]["upkeep"] == pytest.approx(PER_DAY_ML * 7 * WEEKS)
    for name in ("INK-W", "INK-C"):
        row = whole[name]
        spent = row["printed"] + row["upkeep"] + row["unexplained"]
        assert row["received"] - spent == pytest.approx(row["closing"])
    by_week = [
        used(FIRST + timedelta(days=7 * week), FIRST + timedelta(days=7 * week + 6))
        for week in (*range(0, WEEKS, 8), WEEKS - 2, WEEKS - 1)
    ]
    assert {week["TEE-BLK-L"]["printed"] for week in by_week} == {PIECES}
    assert [week["INK-C"]["upkeep"] for week in by_week] == pytest.approx(
        [7 * PER_DAY_ML] * len(by_week)
    )
    # Half a year each, cut at New Year and at the leap of the clocks, lose nothing either.
    for cut in (date(2025, 12, 31), date(2026, 4, 5), date(2026, 9, 27), date(2026, 12, 31)):
        halves = (used(FIRST, cut), used(cut + timedelta(days=1), last))
        assert sum(half["INK-W"]["upkeep"] for half in halves) == pytest.approx(
            whole["INK-W"]["upkeep"]
        )
    assert json.loads(did("check", "--json"))["findings"] == []


def test_weeks_of_need_run_over_the_year_without_a_gap(shop: Path) -> None:
    told = json.loads(did("needs", "--weeks", "3", "--on", "2026-12-21", "--json"))
    # ISO 8601: 2026-W52, 2026-W53, 2027-W01.
    assert told["weeks"] == ["2026-12-21", "2026-12-28", "2027-01-04"]


@pytest.mark.parametrize(
    ("zone", "moment", "day"),
    [
        # Berlin: one hour less on 2026-03-29, one more on 2026-10-25 (Directive 2000/84/EC).
        ("Europe/Berlin", "2026-03-28T22:59:59+00:00", "2026-03-28"),
        ("Europe/Berlin", "2026-03-28T23:00:00+00:00", "2026-03-29"),
        ("Europe/Berlin", "2026-03-29T21:59:59+00:00", "2026-03-29"),
        ("Europe/Berlin", "2026-03-29T22:00:00+00:00", "2026-03-30"),
        ("Europe/Berlin", "2026-10-24T22:00:00+00:00", "2026-10-25"),
        ("Europe/Berlin", "2026-10-25T22:59:59+00:00", "2026-10-25"),
        ("Europe/Berlin", "2026-10-25T23:00:00+00:00", "2026-10-26"),
        # UTC+14 and UTC−11 (IANA time zone database): two business days at one moment.
        ("Pacific/Kiritimati", "2026-12-31T10:00:00+00:00", "2027-01-01"),
        ("Pacific/Pago_Pago", "2027-01-01T10:59:59+00:00", "2026-12-31"),
    ],
)
def test_the_business_day_is_the_shops(
    zone: str, moment: str, day: str, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    live_in(zone, monkeypatch)
    clock.moment = datetime.fromisoformat(moment)
    assert stock.clock.today() == date.fromisoformat(day)


def test_an_entry_keeps_the_shops_day_and_the_moment_in_utc(
    shop: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    live_in("Pacific/Kiritimati", monkeypatch)
    clock.moment = datetime(2026, 12, 31, 10, 30, tzinfo=UTC)
    did("print", "--order", "Y1", "--line", "1", "--good", "1")
    book = open_book(shop / "book.sqlite")
    with book.reading() as connection:
        found = connection.execute(select(entry).order_by(entry.c.id.desc())).first()
    book.close()
    assert found is not None
    moments = [value for value in found._mapping.values() if isinstance(value, datetime)]
    days = [value for value in found._mapping.values() if type(value) is date]
    assert days == [date(2027, 1, 1)]
    assert [moment.replace(tzinfo=UTC) for moment in moments] == [clock.moment]


def test_a_clock_set_back_a_year_costs_nothing(shop: Path, clock: Clock) -> None:
    clock.moment = datetime(2026, 6, 1, 12, tzinfo=UTC)
    before = json.loads(did("print", "--order", "Y1", "--line", "1", "--good", "1", "--json"))
    clock.moment = datetime(2026, 1, 2, 12, tzinfo=UTC)
    did("receive", "--item", "INK-C", "--packs", "1", "--lot", "C2", "--expires", "2027-01-31")
    did("print", "--order", "Y1", "--line", "1", "--good", "1")
    did("undo", str(before["entry"]))
    checked = call("check", "--json")
    # Days that have not come yet are named; nothing is damaged.
    assert checked.code == 0
    (named,) = json.loads(checked.out)["findings"]
    assert (named["damage"], named["found"]) == (False, "2026-06-01")
    for command in ("onhand", "expiring", "clear"):
        did(command)


def test_the_last_day_of_february_is_a_day_in_leap_years_only(shop: Path) -> None:
    scanned = json.loads(
        did("receive", "--scan", f"(01){GTIN}(17)280200(10)Q", "--on", "2027-02-28", "--json")
    )
    # GS1 General Specifications, AI (17): day 00 is the last day of the month.
    assert scanned["lots"][0]["expires"] == "2028-02-29"
    for day in ("2027-02-29", "2100-02-29", "2026-04-31"):
        refused = call("onhand", "--on", day)
        assert refused.code == 2
        assert "expected a day that the calendar has" in refused.err
    refused = call("receive", "--scan", f"(01){GTIN}(17)270229(10)R", "--on", "2027-02-01")
    assert refused.code == 1
    assert "not a day of the calendar" in refused.err


def test_a_life_of_365_days_from_a_leap_day_ends_a_day_before_its_anniversary(shop: Path) -> None:
    undated = json.loads(
        did("receive", "--item", "INK-K", "--packs", "1", "--on", "2028-02-29", "--json")
    )
    assert undated["lots"][0]["expires"] == str(date(2028, 2, 29) + timedelta(days=365))
    assert undated["lots"][0]["expires"] == "2029-02-28"


@pytest.mark.parametrize(
    ("on", "days"), [("2028-02-28", 1), ("2028-02-29", 0), ("2028-03-01", -1), ("2029-03-01", -366)]
)
def test_days_to_an_expiry_on_a_leap_day(shop: Path, on: str, days: int) -> None:
    dated = ("--lot", "LEAP", "--expires", "2028-02-29", "--on", "2027-03-01")
    did("receive", "--item", "PT-CONC", "--packs", "1", *dated)
    rows = json.loads(did("expiring", "--within", "30d", "--on", on, "--json"))
    found = next(row for row in rows if row["lot"] == "LEAP")
    assert found["days"] == days
    assert ("Past its date" in found["advice"]) == (days < 0)


def test_ink_is_good_on_its_last_day_and_not_chosen_on_the_next(shop: Path) -> None:
    for lot, expires in (("SOON", "2026-03-31"), ("LATE", "2026-09-30")):
        dated = ("--lot", lot, "--expires", expires, "--on", "2026-01-05")
        did("receive", "--item", "PT-CONC", "--packs", "1", *dated)
    on_its_day = did("open", "PT-CONC", "--on", "2026-03-31", "--json")
    assert "SOON" in on_its_day
    assert "LATE" not in on_its_day


def test_ink_past_its_last_day_is_passed_over(shop: Path) -> None:
    for lot, expires in (("SOON", "2026-03-31"), ("LATE", "2026-09-30")):
        dated = ("--lot", lot, "--expires", expires, "--on", "2026-01-05")
        did("receive", "--item", "PT-CONC", "--packs", "1", *dated)
    a_day_later = did("open", "PT-CONC", "--on", "2026-04-01", "--json")
    assert "LATE" in a_day_later
    assert "SOON" not in a_day_later

"""``stock week``: one run, five kinds of file, each opened by a reader of its own."""

from __future__ import annotations

import email
import io
import re
from datetime import date
from email.policy import default
from pathlib import Path

import pypdfium2
import pytest
from openpyxl import load_workbook

from stock.shop.week import next_runs

ON = "2026-03-02"


@pytest.fixture
def busy(stocked):
    """The stocked shop with far more ordered than 40 tees serve, and pretreat about to expire."""
    book = ("receive", "--item", "PT", "--amount", "20 g", "--lot", "=OLD", "--on", ON)
    assert stocked(*book, "--expires", "2026-03-12").code == 0
    return stocked


@pytest.fixture
def week(busy, tmp_path, orders) -> dict[str, bytes]:
    ran = busy("week", "--on", ON, "--out", str(tmp_path / "out"), "--to", "buyer@shop.example")
    assert ran.code == 4, ran.err
    return {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}


@pytest.fixture
def orders(busy, tmp_path) -> Path:
    path = tmp_path / "more.csv"
    path.write_text(
        "order,line,stage,placed_on,due_on,blank,quantity\n"
        "A2,1,released,2026-03-02,2026-03-06,TEE-BLK-L,150\n"
    )
    assert busy("import", "orders", str(path), "--on", ON).code == 0
    return path


def test_the_run_names_what_needs_a_person_and_answers_four(busy, orders):
    ran = busy("week", "--on", ON)
    assert ran.code == 4
    assert "to order from 1 supplier" in ran.out
    assert re.search(r"BRAMBLE\s+TEE-BLK-L", ran.out)
    assert re.search(r"PT\s+=OLD", ran.out)
    assert "never down a drain" in ran.out


def test_a_quiet_week_answers_nought_and_says_so(run):
    run("start")
    ran = run("week", "--on", ON)
    assert ran.code == 0
    assert "Nothing needs attention." in ran.out


def test_the_list_agrees_with_the_reorder_command(busy, orders):
    week = busy("week", "--on", ON, "--json").json()
    assert week["reorder"] == busy("reorder", "--on", ON, "--json").json()
    assert week["attention"]


def test_a_job_that_cannot_be_printed_needs_a_person(busy, orders):
    week = busy("week", "--on", ON, "--json").json()
    verdicts = {job["order"]: job["verdict"] for job in week["clear"]["jobs"]}
    assert verdicts["A2"] == "short"
    assert any("cannot be printed: A2/1" in said for said in week["attention"])
    text = busy("week", "--on", ON).out
    assert re.search(r"A2 .*short .*TEE-BLK-L", text)


def test_forecasts_that_were_kept_are_scored_when_their_weeks_are_over(busy, orders):
    assert busy("forecast", "--keep", "--on", ON).code == 0
    busy("print", "--order", "A1", "--line", "1", "--good", "20", "--on", "2026-03-12")
    week = busy("week", "--on", "2026-06-01", "--json").json()
    assert [one["weeks"] for one in week["accuracy"]["horizons"]]
    assert "Forecasts so far" in busy("week", "--on", "2026-06-01").out


def test_the_mail_is_a_draft_with_text_html_and_the_files(week):
    mail = email.message_from_bytes(week["week-2026-W10.eml"], policy=default)
    assert mail["To"] == "buyer@shop.example"
    assert mail["X-Unsent"] == "1"
    assert "TEE-BLK-L" in mail.get_body(("plain",)).get_content()
    assert "<table" in mail.get_body(("html",)).get_content()
    names = {part.get_filename() for part in mail.iter_attachments()}
    assert names == {"week-2026-W10.xlsx", "week-2026-W10.ics", "order-2026-W10-BRAMBLE.pdf"}


def test_the_order_sheet_says_how_many_of_which_pack_and_what_it_comes_to(week, busy):
    document = pypdfium2.PdfDocument(week["order-2026-W10-BRAMBLE.pdf"])
    text = document[0].get_textpage().get_text_range()
    document.close()
    [line] = [
        line
        for line in busy("reorder", "--on", ON, "--json").json()["lines"]
        if line["item"] == "TEE-BLK-L"
    ]
    assert "TBL" in text
    assert f"{line['packs'] * 3.10:.2f}" in text
    assert "proposed" in text


def test_the_workbook_has_numbers_as_numbers_and_no_formula(week):
    book = load_workbook(io.BytesIO(week["week-2026-W10.xlsx"]))
    order = book["To order"]
    head = [cell.value for cell in order[1]]
    [packs] = [row[head.index("Packs")].value for row in order.iter_rows(2)]
    assert isinstance(packs, int)
    lots = {row[3].value: row[3].data_type for row in book["Expiring"].iter_rows(2)}
    assert lots["=OLD"] == "s"


def test_the_calendar_has_order_days_and_use_by_dates_as_whole_days(week):
    text = week["week-2026-W10.ics"].decode().replace("\r\n ", "")  # RFC 5545 3.1 unfolding
    events = [
        dict(re.findall(r"^([A-Z-]+)[;:](.*)$", event, re.M))
        for event in text.replace("\r\n", "\n").split("BEGIN:VEVENT")[1:]
    ]
    days = {event["SUMMARY"]: event["DTSTART"] for event in events}
    assert days["Use by: PT lot =OLD at SHELF"] == "VALUE=DATE:20260312"
    assert any(summary.startswith("Order from BRAMBLE") for summary in days)
    assert len({event["UID"] for event in events}) == len(events)


def test_only_the_formats_asked_for_are_written(busy, tmp_path):
    busy("week", "--on", ON, "--out", str(tmp_path / "some"), "--formats", "txt, ics")
    assert {path.suffix for path in (tmp_path / "some").iterdir()} == {".txt", ".ics"}


def test_the_run_changes_nothing_in_the_book(busy, orders, tmp_path):
    before = busy("onhand", "--json").out
    busy("week", "--on", ON, "--out", str(tmp_path / "once"))
    assert busy("onhand", "--json").out == before


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--formats", "doc"), 2, "expected some of txt,eml,pdf,xlsx,ics"),
        (("--within", "soon"), 2, "expected days as 90d"),
        (("--out", "bear.png"), 2, "is a file; expected a folder"),
        (("--out", "x", "--to", "nobody"), 1, "is not a mail address"),
    ],
)
def test_a_wrong_option_is_said_before_anything_is_written(
    stocked, tmp_path, monkeypatch, words, code, said
):
    monkeypatch.chdir(tmp_path)
    ran = stocked("week", "--on", ON, *words)
    assert ran.code == code
    assert said in ran.err
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize(
    ("day", "weekday", "first"),
    [
        (date(2026, 11, 25), 0, date(2026, 11, 30)),  # from a Wednesday to the next Monday
        (date(2026, 11, 30), 0, date(2026, 12, 7)),  # on a Monday, the next one
        (date(2026, 12, 29), 3, date(2026, 12, 31)),  # Thursday of week 53
    ],
)
def test_the_next_runs_fall_on_the_shops_day(day, weekday, first):
    runs = next_runs(day, weekday)
    assert runs[0] == first
    assert {run.weekday() for run in runs} == {weekday}

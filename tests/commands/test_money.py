"""``stock cost`` and ``stock usage``: every mL has a place, every place a price."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from stock.shop import Book, open_book
from stock.shop.choosing import Choice
from stock.shop.loading import Load, load
from stock.shop.setting_aside import scrap, write_off_expired
from stock.shop.undoing import undo
from stock.shop.upkeep import run_upkeep
from stock.shop.weighing import Weighing, weigh

MONDAY = "2026-03-02"
USES = [
    "printed",
    "misprint",
    "upkeep",
    "expired",
    "unusable_rest",
    "scrapped",
    "returned",
    "into_mixes",
    "unexplained",
]


def day(number: int) -> date:
    return date(2026, 3, number)


@pytest.fixture
def book(stocked, tmp_path: Path) -> Iterator[Book]:
    opened = open_book(tmp_path / "book.sqlite")
    yield opened
    opened.close()


def printed(run, good: int, misprints: int, on: str) -> dict:
    return run(
        *("print", "--order", "A1", "--line", "1", "--good", str(good)),
        *("--misprints", str(misprints), "--on", on, "--json"),
    ).json()


def usage(run, first: str, last: str) -> dict:
    return run("usage", "--from", first, "--to", last, "--json").json()


def row(report: dict, sku: str) -> dict:
    return next(row for row in report["items"] if row["item"] == sku)


def adds_up(one: dict) -> None:
    came = one["opening"] + one["received"] + one["made"]
    assert came == pytest.approx(sum(one[use] for use in USES) + one["closing"], abs=1e-9)


def test_every_row_of_usage_adds_up_from_opening_to_closing(stocked, book):
    printed(stocked, 10, 2, "2026-03-03")
    run_upkeep(book, "P1", "clean", on=day(4), ml={"W": 12.5, "K": 2.0})
    weigh(book, Weighing("P1-W", 660.0, day(5), net=True))
    scrap(book, Choice(sku="TEE-BLK-L", amount=3000), "torn", on=day(5))
    report = usage(stocked, "2026-03-03", "2026-03-31")
    for one in report["items"]:
        adds_up(one)
    tees = row(report, "TEE-BLK-L")
    assert (tees["opening"], tees["printed"], tees["misprint"], tees["scrapped"]) == (40, 10, 2, 3)
    white = row(report, "INK-W")
    assert white["upkeep"] == 12.5
    # 660 g net at 1.1 g/mL leave 600 mL in the slot beside the 700 mL on the shelf.
    assert white["closing"] == pytest.approx(1300)
    assert white["unexplained"] == pytest.approx(
        1400 - 1300 - 12.5 - white["printed"] - white["misprint"]
    )


def test_closing_of_one_month_is_opening_of_the_next(stocked):
    printed(stocked, 5, 0, "2026-03-31")
    printed(stocked, 5, 0, "2026-04-01")
    march, april = (
        usage(stocked, "2026-03-01", "2026-03-31"),
        usage(stocked, "2026-04-01", "2026-04-30"),
    )
    for one in april["items"]:
        assert one["opening"] == row(march, one["item"])["closing"]


def test_a_print_taken_back_leaves_no_trace_in_the_month_that_holds_both(stocked, book):
    before = usage(stocked, "2026-03-01", "2026-03-31")
    entry = printed(stocked, 6, 1, "2026-03-09")["entry"]
    undo(book, entry, on=day(10))
    assert usage(stocked, "2026-03-01", "2026-03-31") == before


def test_a_print_taken_back_in_the_next_month_is_counted_back_there(stocked, book):
    entry = printed(stocked, 6, 0, "2026-03-31")["entry"]
    undo(book, entry, on=date(2026, 4, 2))
    assert row(usage(stocked, "2026-03-01", "2026-03-31"), "TEE-BLK-L")["printed"] == 6
    april = row(usage(stocked, "2026-04-01", "2026-04-30"), "TEE-BLK-L")
    assert (april["printed"], april["closing"]) == (-6, 40)


def test_a_lot_written_off_past_its_date_is_expired_and_costs_what_was_paid(stocked, book):
    write_off_expired(book, on=date(2027, 1, 4), sku="PT")
    report = usage(stocked, "2027-01-01", "2027-01-31")
    pretreat = row(report, "PT")
    assert pretreat["expired"] == 5000
    assert pretreat["wasted_cost"] == pytest.approx(68.0)
    assert report["wasted_cost"] == pytest.approx(68.0)


def test_a_full_cartridge_thrown_away_is_scrapped(stocked, book):
    load(book, Load("P1-W", day(6), sku="INK-W", old="waste"))
    assert row(usage(stocked, "2026-03-06", "2026-03-06"), "INK-W")["scrapped"] == 700


def test_the_second_day_before_the_first_is_refused(stocked):
    ran = stocked("usage", "--from", "2026-03-09", "--to", "2026-03-01")
    assert ran.code == 1
    assert "the second day comes first" in ran.err


def test_the_real_cost_of_an_order_is_what_its_runs_took_at_what_was_paid(stocked):
    done = printed(stocked, 10, 1, "2026-03-03")
    paid = {"INK-W": 104 / 700, "PT": 68 / 5000, "TEE-BLK-L": 3.10}
    paid |= {f"INK-{channel}": 62 / 350 for channel in "CMYK"}
    told = stocked("cost", "A1", "--on", MONDAY, "--json").json()
    real = told["lines"][0]["real"]
    taken = sum(used["amount"] * paid[used["item"]] for used in done["used"])
    assert real["total"] == pytest.approx(taken, rel=1e-4)
    assert real["misprint_cost"] == pytest.approx(taken / 11, rel=1e-3)
    assert real["per_good_piece"] == pytest.approx(taken / 10, rel=1e-4)
    assert told["currency"]


def test_an_estimate_adds_up_from_its_parts(stocked):
    piece = stocked("cost", "A1", "--on", MONDAY, "--prints-per-day", "12", "--json").json()
    piece = piece["lines"][0]["per_piece"]
    spent = piece["ink_cost"] + piece["pretreat"]["cost"] + piece["blank"]["cost"]
    rate = piece["misprint_rate"]
    assert piece["misprint_cost"] == pytest.approx(spent * rate / (1 - rate), rel=1e-4)
    assert piece["total"] == pytest.approx(
        spent + piece["misprint_cost"] + piece["upkeep_cost"], rel=1e-4
    )


def test_a_quote_for_the_ordered_artwork_agrees_with_the_order(stocked, tmp_path):
    order = stocked("cost", "A1", "--on", MONDAY, "--prints-per-day", "12", "--json").json()
    quote = stocked(
        *("cost", str(tmp_path / "bear.png"), "--width-cm", "30", "--garment", "dark"),
        *("--blank", "TEE-BLK-L", "--pieces", "24", "--location", "front"),
        *("--prints-per-day", "12", "--on", MONDAY, "--json"),
    ).json()
    assert quote["per_piece"] == order["lines"][0]["per_piece"]
    assert quote["total"] == pytest.approx(order["estimated"], rel=1e-4)


def test_upkeep_without_a_print_to_share_it_is_said_not_guessed(stocked):
    told = stocked("cost", "A1", "--on", MONDAY, "--json").json()["lines"][0]
    assert told["per_piece"]["upkeep_cost"] is None
    assert any("--prints-per-day" in note for note in told["notes"])


def test_posted_upkeep_is_shared_by_the_good_pieces_of_the_printer(stocked, book):
    printed(stocked, 10, 0, "2026-03-03")
    run_upkeep(book, "P1", "clean", on=day(4), ml={"W": 14.0})
    told = stocked("cost", "A1", "--on", "2026-03-06", "--json").json()
    share = told["lines"][0]["per_piece"]["upkeep_cost"]
    assert share == pytest.approx(14 * 104 / 700 / 10, rel=1e-4)


def test_ink_lost_to_upkeep_shows_in_the_ratio_of_its_month(stocked, book):
    done = printed(stocked, 10, 0, "2026-03-03")
    run_upkeep(book, "P1", "clean", on=day(4), ml={"W": 50.0})
    months = stocked("cost", "--months", "2", "--on", "2026-03-31", "--json").json()["months"]
    assert [month["month"] for month in months] == ["2026-02", "2026-03"]
    ink = sum(used["amount"] for used in done["used"] if used["item"].startswith("INK"))
    assert months[0]["real_to_estimated"] is None
    assert months[1]["real_to_estimated"] == pytest.approx((ink + 50) / ink, rel=1e-3)
    assert months[1]["good"] == 10


def test_a_months_cost_is_the_sum_of_what_was_spent_on(stocked, book):
    printed(stocked, 10, 2, "2026-03-03")
    scrap(book, Choice(sku="TEE-BLK-L", amount=3000), "torn", on=day(5))
    month = stocked("cost", "--months", "1", "--on", "2026-03-31", "--json").json()["months"][0]
    assert month["total"] == pytest.approx(sum(month["cost"].values()), rel=1e-4)
    assert month["cost"]["waste"] == pytest.approx(3 * 3.10)
    assert month["cost"]["blank"] == pytest.approx(10 * 3.10)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("cost", "NOPE"), 1, "There is no order 'NOPE'"),
        (("cost", "nope.png", "--width-cm", "30"), 1, "nope.png"),
        (("cost", "nope.png"), 1, "nope.png"),
        (("cost", "A1", "--width-cm", "wide"), 2, "--width-cm: 'wide' is not a length"),
        (("cost", "bear.png", "--width-cm", "30", "--garment", "blue"), 2, "light or dark"),
        (("cost", "--on", "31.02.2026"), 2, "--on"),
    ],
)
def test_what_cannot_be_costed_is_said_in_one_sentence(stocked, words, code, said):
    ran = stocked(*words)
    assert ran.code == code
    assert said in ran.err
    assert "Traceback" not in ran.err


def test_tables_for_people_name_currency_and_columns(stocked):
    printed(stocked, 10, 1, "2026-03-03")
    assert "one good print" in stocked("cost", "A1", "--on", MONDAY).out
    assert "real:est." in stocked("cost", "--on", "2026-03-31").out
    assert "misprint" in stocked("usage", "--from", MONDAY, "--to", "2026-03-31").out

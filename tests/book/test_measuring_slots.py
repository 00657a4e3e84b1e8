"""Scale, dipstick, counter and count sheet set the book right, on both databases."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import select

from stock.book.opening import Book
from stock.book.tables import entry, reading
from stock.errors import CannotUndo, Refused, Unknown
from stock.shop.choosing import Choice
from stock.shop.counting import CountRow, count, count_sheet
from stock.shop.loading import Load, load
from stock.shop.setting_aside import scrap
from stock.shop.undoing import undo
from stock.shop.weighing import Counter, Weighing, dip, read_counter, weigh
from tests.book.builders import MONDAY, a_lot, a_pack, a_slot, an_item, held

TUESDAY = date(2026, 3, 3)


@pytest.fixture
def shop(book: Book) -> Book:
    """500 mL of white (1.2 g/mL, 90 g cartridge) in W1, two lots in the tank WT."""
    an_item(book, channel="W", density_g_per_ml=1.2)
    an_item(book, "TEE", kind="blank", unit="each")
    pack = a_pack(book, amount=500, tare_mg=90_000)
    a_slot(book)
    a_slot(book, "WT", feed="tank", capacity=1_000_000)
    a_lot(book, code="L1", amount=1000, pack_id=pack)
    a_lot(book, code="L2", amount=500, pack_id=pack, expires=date(2026, 9, 1))
    load(book, Load("W1", MONDAY, sku="W-1"))
    load(book, Load("WT", MONDAY, sku="W-1", amount=300_000))
    load(book, Load("WT", MONDAY, sku="W-1", amount=100_000))
    return book


def test_a_weighing_takes_off_the_cartridge_and_divides_by_the_density(shop: Book) -> None:
    done = weigh(shop, Weighing("W1", 90 + 480, TUESDAY))
    assert held(shop, "W1") == {("L2", "K000001"): 400.0}
    assert done.notes == (
        "W1 holds 400 mL of W-1; the book said 500 mL, 100 mL less than it thought",
    )
    with shop.reading() as connection:
        row = connection.execute(select(reading)).one()
    assert (row.kind, row.grams, row.level, row.book_level) == ("weigh", 570, 400_000, 500_000)


def test_a_weighing_that_agrees_is_kept_and_moves_nothing(shop: Book) -> None:
    assert weigh(shop, Weighing("W1", 600, TUESDAY, net=True)).moved == ()


def test_more_than_the_book_thought_comes_back(shop: Book) -> None:
    scrap(shop, Choice(place="W1"), "spilled", on=TUESDAY)
    weigh(shop, Weighing("W1", 120, TUESDAY, net=True))
    assert held(shop, "W1") == {("L2", "K000001"): 100.0}


@pytest.mark.parametrize(
    ("grams", "said"), [(80, "less than its empty weight"), (2000, "check the empty weight")]
)
def test_a_mass_that_cannot_be_is_refused(shop: Book, grams: float, said: str) -> None:
    with pytest.raises(Refused, match=said):
        weigh(shop, Weighing("W1", grams, TUESDAY))


def test_a_tank_is_dipped_and_its_lots_take_the_difference_in_proportion(shop: Book) -> None:
    dip(shop, "WT", 200_000, on=TUESDAY)
    assert sorted(held(shop, "WT").values()) == [50.0, 150.0]
    dip(shop, "WT", 400_000, on=TUESDAY)
    assert sorted(held(shop, "WT").values()) == [100.0, 300.0]
    with pytest.raises(Refused, match="cannot hold"):
        dip(shop, "WT", 1_200_000, on=TUESDAY)


def test_what_was_before_a_reading_is_not_undone_under_it(shop: Book) -> None:
    spilled = scrap(shop, Choice(place="W1", amount=50_000), "spilled", on=TUESDAY)
    weighed = weigh(shop, Weighing("W1", 480, TUESDAY, net=True))
    with pytest.raises(CannotUndo, match=f"entry {weighed.entry} .weigh"):
        undo(shop, spilled.entry or 0, on=TUESDAY)
    undo(shop, weighed.entry or 0, on=TUESDAY)
    undo(shop, spilled.entry or 0, on=TUESDAY)
    assert held(shop, "W1") == {("L2", "K000001"): 500.0}


def test_a_counter_runs_forward_unless_it_was_restarted(shop: Book) -> None:
    read_counter(shop, Counter("P1", 1200, MONDAY, "W"))
    done = read_counter(shop, Counter("P1", 1250.5, TUESDAY, "W"))
    assert done.notes == ("counter of P1 W, 50.5 since the last reading",)
    with pytest.raises(Refused, match=r"stood at 1250\.5; 3 is less"):
        read_counter(shop, Counter("P1", 3, TUESDAY, "W"))
    read_counter(shop, Counter("P1", 3, TUESDAY, "W", restarted=True))


def test_the_sheet_says_what_lies_where_and_never_how_much(shop: Book) -> None:
    (line,) = count_sheet(shop, places=["SHELF"])
    assert (line.item, line.lot, line.unit) == ("W-1", "L1", "mL")
    assert not any(character.isdigit() for character in line.unit + line.name)
    assert set(line.to_json()) == {"place", "item", "name", "lot", "container", "owner", "unit"}


def test_differences_are_posted_with_their_reason(shop: Book) -> None:
    a_lot(shop, "TEE", "T1", 20, expires=None)
    counted = count(shop, [CountRow("SHELF", "TEE", 18_000)], "month end", on=TUESDAY)
    assert [(d.book, d.counted) for d in counted.differences] == [(20_000, 18_000)]
    assert held(shop, "SHELF", "TEE") == {("T1", ""): 18.0}
    with shop.reading() as connection:
        kept = connection.execute(select(entry).where(entry.c.id == counted.entry)).one()
    assert (kept.kind, kept.note) == ("count", "month end")


def test_a_surplus_goes_to_the_newest_lot_and_an_unknown_lot_is_made(shop: Book) -> None:
    a_lot(shop, "TEE", "T1", 5, expires=None, on=MONDAY)
    a_lot(shop, "TEE", "T2", 5, expires=None, on=TUESDAY)
    count(shop, [CountRow("SHELF", "TEE", 12_000)], "recount", on=TUESDAY)
    assert held(shop, "SHELF", "TEE") == {("T1", ""): 5.0, ("T2", ""): 7.0}
    count(shop, [CountRow("SHELF", "TEE", 3_000, lot="T9")], "found", on=TUESDAY)
    assert held(shop, "SHELF", "TEE")[("T9", "")] == 3.0


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([], "no rows"),
        ([CountRow("SHELF", "TEE", 500)], "whole pieces"),
        ([CountRow("SHELF", "TEE", 1000), CountRow("SHELF", "TEE", 2000)], "counted twice"),
        ([CountRow("SHELF", "TEE", 1000), CountRow("SHELF", "TEE", 0, lot="T1")], "as a whole"),
        ([CountRow("W1", "W-1", 1000)], "not a shelf"),
    ],
)
def test_a_sheet_that_cannot_be_meant_is_refused(
    shop: Book, rows: list[CountRow], said: str
) -> None:
    with pytest.raises(Refused, match=said):
        count(shop, rows, "month end", on=TUESDAY)


def test_a_count_needs_its_reason_and_its_names(shop: Book) -> None:
    with pytest.raises(Refused, match="why"):
        count(shop, [CountRow("SHELF", "TEE", 1000)], " ", on=TUESDAY)
    with pytest.raises(Unknown):
        count(shop, [CountRow("SHELF", "TEA", 1000)], "month end", on=TUESDAY)

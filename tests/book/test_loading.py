"""Slots: load, swap, unload, top up, on both databases."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import select

from stock.book.opening import Book
from stock.book.tables import container, entry, reading
from stock.errors import Refused
from stock.shop.choosing import Choice
from stock.shop.loading import Load, load, unload
from stock.shop.preparing import open_pack
from stock.shop.setting_aside import scrap
from tests.book.builders import a_lot, a_pack, a_slot, an_item, held

TUESDAY = date(2026, 3, 3)


@pytest.fixture
def shop(book: Book) -> Book:
    """White ink in 500 mL cartridges of which 20 mL never come out, one slot, two lots."""
    an_item(book, channel="W", open_life_days=180)
    pack = a_pack(book, amount=500, unusable_rest=20)
    a_slot(book)
    a_lot(book, code="L1", amount=1000, expires=date(2026, 12, 31), pack_id=pack)
    a_lot(book, code="L2", amount=500, expires=date(2026, 9, 1), pack_id=pack)
    return book


def _containers(book: Book) -> dict[str, tuple[str, date | None, date | None]]:
    with book.reading() as connection:
        rows = connection.execute(
            select(
                container.c.code,
                container.c.state,
                container.c.opened_on,
                container.c.effective_expiry,
            )
        )
        return {code: (state, opened, until) for code, state, opened, until in rows}


def test_the_lot_that_expires_first_is_loaded_and_its_open_life_begins(shop: Book) -> None:
    done = load(shop, Load("W1", TUESDAY, sku="W-1"))
    assert done.moved[0].lot == "L2"
    assert held(shop, "W1") == {("L2", "K000001"): 500.0}
    assert held(shop, "SHELF") == {("L1", ""): 1000.0}
    assert _containers(shop)["K000001"] == ("loaded", TUESDAY, date(2026, 8, 30))


def test_a_lot_chosen_by_hand_is_recorded_in_the_entry(shop: Book) -> None:
    done = load(shop, Load("W1", TUESDAY, sku="W-1", lot="L1"))
    with shop.reading() as connection:
        note = connection.scalar(select(entry.c.note).where(entry.c.id == done.entry))
    assert note == "lot L1 was chosen by hand; L2 expires first"


def test_a_lone_lot_past_its_date_is_loaded_and_that_is_said(shop: Book) -> None:
    """The person decides; the sentence is what the project says of such ink elsewhere."""
    an_item(shop, "C-1", channel="C")
    a_slot(shop, "C1", channel="C")
    a_lot(shop, "C-1", "OLD", 500, expires=date(2026, 3, 2))
    done = load(shop, Load("C1", TUESDAY, sku="C-1"))
    assert done.notes == (
        "lot OLD is past its date (2026-03-02): settled pigment is the risk; "
        "test before a paid job",
    )
    assert held(shop, "C1") == {("OLD", "K000001"): 500.0}


def test_the_last_day_itself_is_not_past(shop: Book) -> None:
    assert load(shop, Load("W1", date(2026, 9, 1), sku="W-1", lot="L2")).notes == ()


def test_a_pack_of_pretreat_past_its_date_is_opened_and_that_is_said(shop: Book) -> None:
    """No pigment in it: only the test is asked for."""
    an_item(shop, "PRE", kind="pretreat", unit="g")
    a_lot(shop, "PRE", "P1", 5000, expires=date(2026, 3, 2))
    said = open_pack(shop, "PRE", on=TUESDAY).notes[0]
    assert said == "lot P1 is past its date (2026-03-02): test before a paid job"


def test_the_earlier_of_the_two_dates_counts(shop: Book) -> None:
    load(shop, Load("W1", date(2026, 8, 1), sku="W-1"))
    assert _containers(shop)["K000001"][2] == date(2026, 9, 1)


def test_a_full_cartridge_is_not_swapped_without_a_word(shop: Book) -> None:
    load(shop, Load("W1", TUESDAY, sku="W-1"))
    with pytest.raises(Refused, match="still holds 500 mL of W-1"):
        load(shop, Load("W1", TUESDAY, sku="W-1"))


def test_a_swap_of_a_dry_cartridge_leaves_its_rest_to_waste_and_a_reading(shop: Book) -> None:
    load(shop, Load("W1", TUESDAY, sku="W-1"))
    scrap(shop, Choice(place="W1", amount=300_000), "flushed", on=TUESDAY)
    load(shop, Load("W1", TUESDAY, sku="W-1", old="empty"))
    assert held(shop, "W1") == {("L1", "K000002"): 500.0}
    assert _containers(shop)["K000001"][0] == "empty"
    with shop.reading() as connection:
        row = connection.execute(select(reading.c.level, reading.c.book_level)).one()
    assert tuple(row) == (20_000, 200_000)


def test_a_cartridge_the_book_ran_dry_still_leaves_its_rest(shop: Book) -> None:
    load(shop, Load("W1", TUESDAY, sku="W-1"))
    scrap(shop, Choice(place="W1"), "flushed", on=TUESDAY)
    done = load(shop, Load("W1", TUESDAY, sku="W-1"))
    steps = [(moved.source, moved.target, moved.amount) for moved in done.moved]
    assert steps[:2] == [("CORRECTION", "W1", 20_000), ("W1", "WASTE", 20_000)]


def test_a_part_used_cartridge_goes_back_to_the_shelf_and_keeps_its_date(shop: Book) -> None:
    load(shop, Load("W1", TUESDAY, sku="W-1"))
    scrap(shop, Choice(place="W1", amount=300_000), "flushed", on=TUESDAY)
    unload(shop, "W1", on=TUESDAY)
    assert held(shop, "SHELF")[("L2", "K000001")] == 200.0
    assert _containers(shop)["K000001"] == ("opened", TUESDAY, date(2026, 8, 30))
    load(shop, Load("W1", date(2026, 4, 1), container="K000001"))
    assert _containers(shop)["K000001"] == ("loaded", TUESDAY, date(2026, 8, 30))


def test_the_wrong_ink_is_refused(shop: Book) -> None:
    an_item(shop, "C-1", channel="C")
    a_lot(shop, "C-1", "C9")
    with pytest.raises(Refused, match="W1 prints channel W; C-1 is channel C"):
        load(shop, Load("W1", TUESDAY, sku="C-1"))


def test_a_tank_blends_what_is_poured_in_and_warns_over_the_brim(shop: Book) -> None:
    a_slot(shop, "WT", feed="tank", capacity=900_000)
    load(shop, Load("WT", TUESDAY, sku="W-1"))
    done = load(shop, Load("WT", TUESDAY, sku="W-1"))
    assert held(shop, "WT") == {("L2", "K000001"): 500.0, ("L1", "K000002"): 500.0}
    assert done.notes == ("Check WT: by the book it holds 1,000 mL, more than its 900 mL; dip it",)
    scrap(shop, Choice(place="WT", amount=1_001), "flushed", on=TUESDAY)
    assert held(shop, "WT") == {("L2", "K000001"): 499.499, ("L1", "K000002"): 499.5}


def test_a_blend_cannot_go_back_to_the_shelf(shop: Book) -> None:
    a_slot(shop, "WT", feed="tank")
    load(shop, Load("WT", TUESDAY, sku="W-1", amount=100_000))
    with pytest.raises(Refused, match="blend"):
        unload(shop, "WT", on=TUESDAY)
    unload(shop, "WT", on=TUESDAY, old="waste")
    assert held(shop, "WT") == {}


def test_an_empty_slot_cannot_be_unloaded(shop: Book) -> None:
    with pytest.raises(Refused, match="W1 is empty"):
        unload(shop, "W1", on=TUESDAY)

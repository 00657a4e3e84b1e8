"""Receive and purchase orders by keys alone, as a scanner or a person types them, at 80 × 24."""

from __future__ import annotations

from datetime import date

import pytest
from textual.widgets import Input, Static

from stock.screens.widgets.rows import Rows
from stock.shop import open_book
from stock.shop.keeping import check_book
from stock.shop.onhand import on_hand
from tests.screens.conftest import held, press, settled, shown, type_in

GS1_EXAMPLE = "(01)09521234543213(17)270501(10)W7731"
"""GTIN 09521234543213 stands in GS1's own examples."""


async def test_a_scanned_box_is_booked_at_its_enter(opened, book_file):
    before = held(book_file, "INK-W")
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, GS1_EXAMPLE)
        await press(pilot, "enter")
        assert "INK-W: 1 × pack, 700 mL, lot W7731" in shown(pilot)
        assert pilot.app.screen.query_one("#code", Input).value == ""
    assert held(book_file, "INK-W") == before + 700


async def test_a_burst_faster_than_the_book_loses_no_code(opened, book_file):
    """Two boxes of two codes each and one of one, nothing waited for between them."""
    before = held(book_file, "INK-W")
    codes = (
        *("0109521234543213", "1727050110W1001"),
        *("0109521234543213", "1727050110W1002"),
        "010952123454321317270501" + "10W1003",
    )
    async with opened() as pilot:
        await press(pilot, "2")
        for code in codes:
            await type_in(pilot, code)
            await pilot.press("enter")
        await settled(pilot)
        assert pilot.app.screen.query_one("#code", Input).value == ""
    assert held(book_file, "INK-W") == before + 3 * 700
    book = open_book(book_file)
    assert {f"W100{n}" for n in (1, 2, 3)} <= {row.lot for row in on_hand(book)}
    book.close()


async def test_a_separator_typed_by_the_scanner_is_kept(opened, book_file):
    """ASCII 29 closes a lot of variable length (GS1 General Specifications, 7.8)."""
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, "010952123454321310W55")
        await pilot.press("ctrl+right_square_bracket")
        await type_in(pilot, "17270501")
        await press(pilot, "enter")
        assert "lot W55, use by 2027-05-01" in shown(pilot)


async def test_one_code_of_a_box_waits_for_lot_and_date_by_hand(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, "0109521234543213")
        await press(pilot, "enter")
        assert "scan the label's second code" in shown(pilot)
        pilot.app.screen.query_one("#lot", Input).focus()
        await type_in(pilot, "WX")
        await press(pilot, "enter")
        await type_in(pilot, "5/2027")
        await press(pilot, "ctrl+s")
        assert "lot WX, use by 2027-05-31" in shown(pilot)


async def test_a_delivery_by_hand_and_its_undo(opened, book_file):
    before = held(book_file, "INK-K")
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, "ink-k")
        await press(pilot, "enter")
        await press(pilot, "backspace", "3", "enter")
        await type_in(pilot, "K9")
        await press(pilot, "enter")
        await type_in(pilot, "2027-01-31")
        await press(pilot, "enter", "enter")
        assert "3 × pack" in shown(pilot)
        assert held(book_file, "INK-K") == before + 1050
        await press(pilot, "ctrl+z")
        assert "took back" in shown(pilot)
        assert "taken back" in shown(pilot)
    assert held(book_file, "INK-K") == before


async def test_a_wrong_date_is_told_while_typing_and_nothing_is_lost(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, "INK-K")
        await press(pilot, "enter", "enter")
        await type_in(pilot, "K9")
        await press(pilot, "enter")
        await type_in(pilot, "2027-02-30")
        await press(pilot, "ctrl+s")
        assert "Use by" in str(pilot.app.screen.query_one("#wrong", Static).render())
        assert pilot.app.screen.query_one("#lot", Input).value == "K9"
        assert pilot.app.screen.query_one("#code", Input).value == "INK-K"
    assert held(book_file, "INK-K") == 700


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("INK-", "Items that look like it: INK-C"),
        ("0109521234543214", "check digit"),
        ("(17)270501(10)W7731", "names no item"),
    ],
)
async def test_what_is_no_box_is_said_and_stays_to_be_mended(opened, typed, said):
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, typed)
        await press(pilot, "enter")
        assert said in " ".join(shown(pilot).split())
        assert pilot.app.screen.query_one("#code", Input).value == typed


async def test_an_unknown_barcode_is_tied_once(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, "4006381333931")
        await press(pilot, "enter")
        assert "is new" in shown(pilot)
        await type_in(pilot, "TEE-NONE")
        await press(pilot, "ctrl+s")
        assert "There is no item 'TEE-NONE'" in shown(pilot)
        await press(pilot, *["backspace"] * 4)
        await type_in(pilot, "WHT-L")
        await press(pilot, "ctrl+s")
        assert "TEE-WHT-L: 1 × pack" in shown(pilot)
        await type_in(pilot, "4006381333931")
        await press(pilot, "enter")
    assert held(book_file, "TEE-WHT-L") == 12


async def test_a_purchase_is_sent_received_in_part_and_whole(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "6", "a", "a")
        assert "draft purchase orders" in shown(pilot)
        await press(pilot, "p", "enter")
        assert "draft" in shown(pilot)
        await press(pilot, "s", "ctrl+s")
        assert "is sent" in shown(pilot)
        rows = pilot.app.screen.query_one(Rows)
        item, packs = rows.current.item, rows.current.packs
        before = held(book_file, item)
        await press(pilot, "r", "backspace", *["backspace"] * len(str(packs)), "1", "ctrl+s")
        assert "part received" in shown(pilot)
        assert held(book_file, item) == before + 1
        await press(pilot, "w", "y")
        assert "closed" in shown(pilot)
        assert held(book_file, item) == before + packs
        await press(pilot, "u")
        assert "took back" in shown(pilot)
    book = open_book(book_file)
    assert check_book(book).sound
    book.close()


async def test_a_purchase_is_moved_changed_written_and_cancelled(opened, tmp_path):
    async with opened() as pilot:
        await press(pilot, "6", "a", "a", "p", "enter")
        await press(pilot, "p", "backspace", "backspace", "backspace", "7", "ctrl+s")
        assert pilot.app.screen.query_one(Rows).current.packs == 7
        await press(pilot, "s", "ctrl+s")
        await press(pilot, "m")
        await type_in(pilot, "2026-03-20")
        await press(pilot, "enter")
        await type_in(pilot, "truck broke down")
        await press(pilot, "ctrl+s")
        assert "2026-03-20" in shown(pilot)
        await press(pilot, "e", *["backspace"] * 20)
        await type_in(pilot, str(tmp_path / "order.txt"))
        await press(pilot, "ctrl+s")
        assert "ends with .pdf" in shown(pilot)
        await press(pilot, *["backspace"] * 3)
        await type_in(pilot, "csv")
        await press(pilot, "ctrl+s")
        assert (tmp_path / "order.csv").read_text()
        await press(pilot, "x", *["backspace"] * 12, "enter")
        await type_in(pilot, "no longer needed")
        await press(pilot, "ctrl+s")
        assert "cancelled" in shown(pilot)


async def test_a_late_purchase_leads_to_receive_with_its_number(opened, book_file, tmp_path):
    purchases = (
        "purchase,supplier,state,code,packs,ordered_on,promised_on\n"
        "P-77,ALDER,sent,W700,2,2026-03-01,2026-03-09\n"
    )
    (tmp_path / "purchases.csv").write_text(purchases)
    book = open_book(book_file)
    from stock.shop.imports import import_rows

    import_rows(book, "purchases", tmp_path / "purchases.csv", on=date(2026, 3, 11))
    book.close()
    async with opened() as pilot:
        assert "P-77 from ALDER was promised for 2026-03-09" in shown(pilot)
        await press(pilot, "enter")
        assert pilot.app.screen.query_one("#purchase", Input).value == "P-77"
        await type_in(pilot, GS1_EXAMPLE)
        await press(pilot, "enter")
        await press(pilot, "ctrl+o", "enter")
        assert "part received" in shown(pilot)


async def test_while_a_field_takes_digits_the_strip_names_the_keys_that_lead_on(opened):
    async with opened() as pilot:
        await press(pilot, "2")
        assert "[F2 Receive]" in shown(pilot)
        assert "F7 Expiry" in shown(pilot)
        await press(pilot, "f4")
        assert "[4 Shelf]" in shown(pilot)
        assert "F4" not in shown(pilot)

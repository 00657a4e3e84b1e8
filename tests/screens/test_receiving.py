"""Receive and purchase orders by keys alone, as a scanner or a person types them, at 80 × 24."""

from __future__ import annotations

from datetime import date

import pytest
from textual import events
from textual.widgets import Input, Static

from stock.screens.widgets.rows import Rows
from stock.shop import open_book
from stock.shop.keeping import check_book
from stock.shop.onhand import on_hand
from tests.screens.conftest import NAMES, held, press, settled, shown, type_in

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


def at_once(pilot, text: str) -> None:
    """Every key of a text in one go, as a scanner's bytes lie in the terminal's buffer."""
    for letter in text:
        if letter == "\r":
            pilot.app.post_message(events.Key("enter", "\r"))
        else:
            pilot.app.post_message(events.Key(NAMES.get(letter, letter), letter))


FULL = "010952123454321317270501" + "10W100"


async def test_letters_that_lie_behind_an_enter_begin_the_next_code(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "2")
        at_once(pilot, "".join(f"{FULL}{n}\r" for n in range(4)))
        await settled(pilot)
        assert "lot W1003" in shown(pilot)
        assert pilot.app.screen.query_one("#code", Input).value == ""
    book = open_book(book_file)
    assert {f"W100{n}" for n in range(4)} <= {row.lot for row in on_hand(book)}
    book.close()


async def test_codes_pasted_line_by_line_are_all_taken(opened, book_file):
    before = held(book_file, "INK-W")
    async with opened() as pilot:
        await press(pilot, "2")
        pilot.app.screen.query_one("#code", Input).post_message(
            events.Paste(f"{FULL}1\n010952123454321310W55\x1d17270501\r\n4006")
        )
        await settled(pilot)
        assert "lot W55, use by 2027-05-01" in shown(pilot)
        assert pilot.app.screen.query_one("#code", Input).value == "4006"
    assert held(book_file, "INK-W") == before + 2 * 700


async def test_a_code_refused_within_a_burst_stays_named_until_it_was_seen(opened, book_file):
    """The other boxes are booked all the same; whoever did not look still learns of it."""
    before = held(book_file, "INK-W")
    async with opened() as pilot:
        await press(pilot, "2")
        at_once(pilot, f"{FULL}1\r0109521234543214\r{FULL}2\r4006381333932\r{FULL}3\r")
        await settled(pilot)
        said = " ".join(shown(pilot).split())
        assert "Not booked: Code '4006381333932' was not understood" in said
        assert "Nor: 0109521234543214. Escape: seen." in said
        assert held(book_file, "INK-W") == before + 3 * 700
        await press(pilot, "escape")
        assert "Not booked" not in shown(pilot)


async def test_the_next_scan_takes_the_place_of_a_code_that_was_refused(opened, book_file):
    before = held(book_file, "INK-W")
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, "0109521234543214")
        await press(pilot, "enter")
        assert pilot.app.screen.query_one("#code", Input).value == "0109521234543214"
        await type_in(pilot, GS1_EXAMPLE)
        await press(pilot, "enter")
    assert held(book_file, "INK-W") == before + 700


async def test_boxes_scanned_while_one_waits_for_its_date_follow_it(opened, book_file):
    before = held(book_file, "INK-W")
    async with opened() as pilot:
        await press(pilot, "2")
        at_once(pilot, f"0109521234543213\r{FULL}1\r{FULL}2\r")
        await settled(pilot)
        assert "Scanned behind it: 2." in shown(pilot)
        assert held(book_file, "INK-W") == before
        at_once(pilot, "1727060110W77\r")
        await settled(pilot)
    book = open_book(book_file)
    assert {"W77", "W1001", "W1002"} <= {row.lot for row in on_hand(book)}
    book.close()
    assert held(book_file, "INK-W") == before + 3 * 700


async def test_the_first_code_of_a_box_scanned_twice_is_no_second_box(opened, book_file):
    before = held(book_file, "INK-W")
    async with opened() as pilot:
        await press(pilot, "2")
        at_once(pilot, "0109521234543213\r0109521234543213\r")
        await settled(pilot)
        assert "The same code again" in shown(pilot)
        await press(pilot, "ctrl+s")
        assert "Entry" in shown(pilot)
    assert held(book_file, "INK-W") == before + 700


async def test_a_box_dropped_by_escape_is_named_and_the_ones_behind_it_follow(opened, book_file):
    before = held(book_file, "INK-W")
    async with opened() as pilot:
        await press(pilot, "2")
        at_once(pilot, f"0109521234543213\r{FULL}1\r")
        await settled(pilot)
        await press(pilot, "escape")
        assert "lot W1001" in shown(pilot)
    assert held(book_file, "INK-W") == before + 700


async def test_the_same_box_twice_is_booked_twice_and_said(opened, book_file):
    """Two boxes of one lot look alike to a scanner: the person knows which it was."""
    before = held(book_file, "INK-W")
    async with opened() as pilot:
        await press(pilot, "2")
        for _ in range(2):
            await type_in(pilot, GS1_EXAMPLE)
            await press(pilot, "enter")
        assert "The same again: 2 times in a row." in " ".join(shown(pilot).split())
        assert "(Ctrl+Z takes it back)" in " ".join(shown(pilot).split())
        await press(pilot, "ctrl+z")
    assert held(book_file, "INK-W") == before + 700


async def test_codes_scanned_while_a_barcode_is_being_tied_are_booked_afterwards(opened, book_file):
    before = held(book_file, "INK-W"), held(book_file, "TEE-WHT-L")
    async with opened() as pilot:
        await press(pilot, "2")
        for text in ("4006381333931", f"{FULL}1", f"{FULL}2"):
            await type_in(pilot, text)
            await press(pilot, "enter")
        assert "waits (2 in line)" in " ".join(shown(pilot).split())
        await type_in(pilot, "TEE-WHT-L")
        await press(pilot, "ctrl+s")
    assert held(book_file, "INK-W") == before[0] + 2 * 700
    assert held(book_file, "TEE-WHT-L") == before[1] + 1


async def test_the_list_of_bookings_is_entered_at_the_newest(opened):
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, GS1_EXAMPLE)
        await press(pilot, "enter", "escape")
        assert "lot W7731" in pilot.app.screen.query_one(Rows).current.what


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
        ("5/2027", "Use by 2027-05-31."),
        ("3 Jun 2027", "Use by 2027-06-03."),
        ("2026-02-28", "Use by 2026-02-28. That is past."),
        ("02/03/2027", "it is 2027-03-02 (day first) or 2027-02-03 (month first)."),
        ("5/27", "expected a year of four digits, as 5/2027."),
        ("31.4.2027", "expected a day that the calendar has."),
    ],
)
async def test_how_a_date_is_read_is_shown_before_it_is_booked(opened, typed, said):
    """02/03/2027 has two readings; a month alone means its last day (GS1, AI 17, day 00)."""
    async with opened() as pilot:
        await press(pilot, "2")
        pilot.app.screen.query_one("#expires", Input).focus()
        await type_in(pilot, typed)
        await settled(pilot)
        shows = str(pilot.app.screen.query_one("#wrong", Static).render())
        assert said in shows
        assert "column map" not in shows


async def test_two_wrong_figures_are_both_named(opened):
    async with opened() as pilot:
        await press(pilot, "2")
        pilot.app.screen.query_one("#packs", Input).focus()
        await press(pilot, "backspace", "tab", "tab")
        await type_in(pilot, "13.13.2027")
        await settled(pilot)
        shows = str(pilot.app.screen.query_one("#wrong", Static).render())
        assert "Packs: nothing is not a whole number from 1 to 9,999,999." in shows
        assert "Use by: expected a day that the calendar has." in shows


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


async def test_in_a_field_the_key_for_help_that_is_no_letter_is_named(opened):
    async with opened() as pilot:
        await press(pilot, "2")
        assert "F10 Keys" in shown(pilot)
        await press(pilot, "f10")
        assert "Keys in force here" in shown(pilot)
        await press(pilot, "escape", "escape")
        assert "? Keys" in shown(pilot)

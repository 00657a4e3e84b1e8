"""Each screen, by keys alone at 80 × 24."""

from __future__ import annotations

import pytest
from textual.widgets import DataTable, Input, Static

from stock.shop import open_book
from stock.shop.keeping import check_book
from stock.shop.onhand import on_hand
from tests.screens.conftest import press, settled, shown, type_in

GS1_EXAMPLE = "(01)09521234543213(17)270501(10)W7731"
"""GTIN 09521234543213 stands in GS1's own examples."""


def held(book_file, item):
    book = open_book(book_file)
    try:
        return sum(row.amount for row in on_hand(book) if row.item == item) / 1000
    finally:
        book.close()


@pytest.mark.parametrize(
    ("key", "mode", "words"),
    [
        ("1", "today", "need you"),
        ("2", "receive", "Booked last"),
        ("3", "press", "2 jobs to print"),
        ("4", "shelf", "8 items"),
        ("5", "orders", "2 orders"),
        ("6", "reorder", "lines from"),
        ("7", "expiry", "2 lots within 90 days"),
    ],
)
async def test_a_number_leads_to_each_screen(opened, key, mode, words):
    async with opened() as pilot:
        await press(pilot, key)
        assert pilot.app.current_mode == mode
        assert words in shown(pilot)


async def test_a_scanned_box_is_booked_at_its_enter(opened, book_file):
    before = held(book_file, "INK-W")
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, GS1_EXAMPLE)
        await press(pilot, "enter")
        assert "INK-W: 1 × pack, 700 mL, lot W7731" in shown(pilot)
        assert pilot.app.screen.query_one("#code", Input).value == ""
    assert held(book_file, "INK-W") == before + 700


async def test_two_scans_of_one_box_are_booked_once(opened, book_file):
    before = held(book_file, "INK-W")
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, "0109521234543213")
        await press(pilot, "enter")
        await type_in(pilot, "1727050110W7731")
        await press(pilot, "enter")
        assert "lot W7731" in shown(pilot)
    assert held(book_file, "INK-W") == before + 700


async def test_a_delivery_by_hand_and_its_undo(opened, book_file):
    before = held(book_file, "INK-K")
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, "INK-K")
        await press(pilot, "enter")
        await press(pilot, "backspace", "3", "enter")
        await type_in(pilot, "K9")
        await press(pilot, "enter")
        await type_in(pilot, "2027-01-31")
        await press(pilot, "enter", "enter")
        assert "3 × pack" in shown(pilot)
        assert held(book_file, "INK-K") == before + 1050
        await press(pilot, "escape")
        await press(pilot, "u")
        assert "took back" in shown(pilot)
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
    assert held(book_file, "INK-K") == 700


async def test_an_unknown_barcode_is_tied_once(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, "4006381333931")
        await press(pilot, "enter")
        assert "is new" in shown(pilot)
        await type_in(pilot, "TEE-WHT-L")
        await press(pilot, "enter", "enter")
        assert "TEE-WHT-L: 1 × pack" in shown(pilot)
        await type_in(pilot, "4006381333931")
        await press(pilot, "enter")
    assert held(book_file, "TEE-WHT-L") == 12


async def test_the_usual_print_takes_fewer_than_six_keys(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "3")
        await press(pilot, "enter")
        await press(pilot, "ctrl+s")
        assert "12 good, 0 misprints" in shown(pilot)
        assert "Took:" in shown(pilot)
    assert held(book_file, "TEE-BLK-L") == 3


async def test_an_overrun_is_shown_and_logged(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "3", "enter")
        await press(pilot, "backspace", "backspace")
        await type_in(pilot, "40")
        await press(pilot, "ctrl+s")
        assert "Check SHELF" in shown(pilot)
    assert held(book_file, "TEE-BLK-L") == 0


async def test_from_items_to_lots_to_slots_and_back(opened):
    async with opened() as pilot:
        await press(pilot, "4")
        await press(pilot, "enter")
        assert "INK-C: 2 lots and containers" in shown(pilot)
        await press(pilot, "escape", "s")
        assert "P1-W" in shown(pilot)
        assert "100%" in shown(pilot)
        await press(pilot, "escape")
        assert "8 items" in shown(pilot)


async def test_weighing_a_slot_sets_it(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "4", "s")
        await press(pilot, "w")
        await press(pilot, "enter")
        await type_in(pilot, "197")
        await press(pilot, "ctrl+s")
    # (197 g − 90 g tare) ÷ 1.07 g/mL (density of colour ink from a printer maker's sheet, 2008)
    assert held(book_file, "INK-C") == pytest.approx(350 + 107 / 1.07, abs=0.01)


async def test_a_blind_count_tells_the_difference_afterwards(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "4")
        await press(pilot, "slash")
        await type_in(pilot, "TEE-BLK")
        await press(pilot, "enter")
        await press(pilot, "c")
        assert "15" not in shown(pilot).split("Counted")[1]
        await press(pilot, "enter")
        await type_in(pilot, "14")
        await press(pilot, "ctrl+s")
        assert "book 15, counted 14" in shown(pilot)
    assert held(book_file, "TEE-BLK-L") == 14


async def test_a_line_shows_its_arithmetic_and_packs_can_be_changed(opened):
    async with opened() as pilot:
        await press(pilot, "6")
        table = pilot.app.screen.query_one("#reorder-table", DataTable)
        assert table.row_count >= 1
        assert "Position" in str(pilot.app.screen.query_one("#reorder-detail", Static).render())
        await press(pilot, "plus")
        assert "(list:" in shown(pilot)
        await press(pilot, "c")
        assert "stock, high" in shown(pilot)
        await press(pilot, "t")
        assert "usable stock" in shown(pilot)


async def test_changed_packs_say_what_they_mean(opened):
    async with opened() as pilot:
        await press(pilot, "6", "plus")
        detail = str(pilot.app.screen.query_one("#reorder-detail", Static).render())
        assert "Then it runs out before the next chance" in detail


async def test_what_if_compares_two_lists_and_leaves_the_book_alone(opened, book_file):
    before = held(book_file, "TEE-BLK-L")
    async with opened() as pilot:
        await press(pilot, "6", "w")
        await type_in(pilot, "lead BRAMBLE +10")
        await press(pilot, "enter")
        detail = str(pilot.app.screen.query_one("#reorder-detail", Static).render())
        assert "What if" in detail
        assert "BRAMBLE" in detail
    assert held(book_file, "TEE-BLK-L") == before


async def test_a_job_says_whether_it_can_be_printed(opened):
    async with opened() as pilot:
        await press(pilot, "5")
        assert "clear" in shown(pilot)


async def test_an_accepted_list_is_on_order_and_gone(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "6")
        lines = pilot.app.screen.query_one("#reorder-table", DataTable).row_count
        assert lines
        await press(pilot, "a", "a")
        assert f"{lines} lines on draft purchase orders" in shown(pilot)
        assert pilot.app.screen.query_one("#reorder-table", DataTable).row_count == 0


async def test_an_expiring_lot_can_be_set_aside(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "7", "a")
        await type_in(pilot, "frozen")
        await press(pilot, "enter")
        assert "✓" in shown(pilot)
    book = open_book(book_file)
    assert {row.place for row in on_hand(book) if row.lot == "Y1"} >= {"QUARANTINE"}
    assert check_book(book).sound


async def test_what_the_book_refuses_is_a_sentence_on_the_screen(opened):
    async with opened() as pilot:
        await press(pilot, "4", "s", "l")
        await press(pilot, "ctrl+s")
        assert "still holds" in shown(pilot)


async def test_an_empty_address_leads_a_newcomer(opened, tmp_path):
    async with opened(address=str(tmp_path / "new.sqlite")) as pilot:
        assert "There is no book" in shown(pilot)
        assert "invented shop" in shown(pilot)
        await press(pilot, "c")
        await press(pilot, "4")
        assert "No items yet" in shown(pilot)
    assert (tmp_path / "new.sqlite").exists()


async def test_every_action_is_in_the_command_palette(opened):
    async with opened() as pilot:
        for key in "1234567":
            await press(pilot, f"f{key}")
            screen = pilot.app.screen
            titles = {c.title for c in pilot.app.get_system_commands(screen)}
            actions = {
                found.binding.description
                for found in screen.active_bindings.values()
                if found.node is screen and found.binding.description
            }
            assert actions <= titles


async def test_a_window_made_small_and_large_while_it_works_survives(opened):
    async with opened(size=(160, 48)) as pilot:
        await pilot.press("6")
        await pilot.resize_terminal(80, 24)
        await settled(pilot)
        assert "Reorder" in shown(pilot)
        await pilot.resize_terminal(160, 48)
        await settled(pilot)
        assert "lines from" in shown(pilot)

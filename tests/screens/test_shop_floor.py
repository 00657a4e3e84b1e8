"""Press log, shelf, items, counts and expiry by keys alone, at 80 × 24."""

from __future__ import annotations

from datetime import date

import pytest
from textual.widgets import Input, Static

from stock.screens.widgets.rows import Rows
from stock.shop import open_book
from stock.shop.keeping import check_book
from stock.shop.onhand import on_hand
from tests.screens.conftest import held, press, shown, type_in


async def test_the_usual_print_takes_one_key(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "3")
        await press(pilot, "g")
        assert "A1/1: 12 good, 0 misprints" in shown(pilot)
        took = str(pilot.app.screen.query_one("#press-took", Static).render())
        assert "TEE-BLK-L from SHELF, lot 20260303" in took
        assert "INK-W from P1-W, lot W1" in took
        await press(pilot, "u")
        assert "took back" in shown(pilot)
    assert held(book_file, "TEE-BLK-L") == 15


async def test_misprints_and_another_place_take_a_form(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "3", "enter", "backspace", "backspace", "5", "enter", "backspace", "2")
        await press(pilot, "enter")
        await type_in(pilot, "back")
        await press(pilot, "ctrl+s")
        assert "A1/1: 5 good, 2 misprints" in shown(pilot)
        assert "7 of 12" in shown(pilot)
    assert held(book_file, "TEE-BLK-L") == 15 - 7


async def test_an_overrun_is_shown_and_logged(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "3", "enter", "backspace", "backspace")
        await type_in(pilot, "40")
        await press(pilot, "ctrl+s")
        assert "Check SHELF" in shown(pilot)
        await press(pilot, "1")
        assert "TEE-BLK-L at SHELF gave less than was asked" in shown(pilot)
    assert held(book_file, "TEE-BLK-L") == 0


async def test_a_run_from_a_slot_past_its_date_says_so_and_shows_all_it_took(opened):
    """Yellow's date was 2026-04-01; pretreat has none of pigment's risk and its own date."""
    async with opened(day=date(2026, 4, 2)) as pilot:
        await press(pilot, "3", "g")
        past = (
            "P1-Y holds INK-Y past its date (2026-04-01): settled pigment is the risk; "
            "test before a paid job"
        )
        assert f"⚠ {past}" in " ".join(shown(pilot).split())
        took = str(pilot.app.screen.query_one("#press-took", Static).render()).splitlines()
        assert took[-1] == f"⚠ {past}"
        assert took[-2].lstrip() == "12 TEE-BLK-L from SHELF, lot 20260303"
        assert took[-2].lstrip() in shown(pilot)


async def test_loading_a_lot_past_its_date_is_done_and_said(opened, book_file):
    async with opened(day=date(2026, 4, 2)) as pilot:
        await press(pilot, "4", "s", "end", "l")
        await type_in(pilot, "keep")
        await press(pilot, "ctrl+s")
        said = " ".join(shown(pilot).split())
        assert (
            "lot Y1 is past its date (2026-04-01): settled pigment is the risk; "
            "test before a paid job" in said
        )
        assert "from SHELF to P1-Y" in said
        assert "(u takes it back)" in said


async def test_a_word_typed_for_a_number_is_told_and_nothing_is_posted(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "3", "enter", "backspace", "backspace", "x", "ctrl+s")
        assert "Good pieces: 'x' is not a whole number" in shown(pilot)
        assert pilot.app.screen.query_one("#field-good", Input).value == "x"
        await press(pilot, "escape")
    assert held(book_file, "TEE-BLK-L") == 15


async def test_jobs_are_found_by_part_of_their_text(opened):
    async with opened() as pilot:
        await press(pilot, "3", "slash")
        await type_in(pilot, "wht")
        await press(pilot, "enter")
        assert pilot.app.screen.query_one(Rows).count == 1
        await press(pilot, "slash", "escape")
        assert pilot.app.screen.query_one(Rows).count == 2


async def test_forms_begin_where_something_is_to_be_typed(opened):
    """What stands under the cursor is in the form already."""
    async with opened() as pilot:
        await press(pilot, "4", "s")
        for key, field in (("w", "grams"), ("d", "level"), ("l", "old"), ("o", "old")):
            await press(pilot, key)
            assert pilot.app.focused.id == f"field-{field}"
            await press(pilot, "escape")
        await press(pilot, "s", "c")
        assert pilot.app.focused.id == "field-counted"


async def test_pieces_are_called_pieces_and_an_empty_figure_empty(opened):
    async with opened() as pilot:
        await press(pilot, "4", "slash")
        await type_in(pilot, "TEE-BLK")
        await press(pilot, "enter", "c", "ctrl+s")
        assert "Counted (pieces): nothing stands here yet." in shown(pilot)
        await press(pilot, "x")
        assert "'x' is not a number of pieces." in shown(pilot)


async def test_from_items_to_lots_to_slots_and_back(opened):
    async with opened() as pilot:
        await press(pilot, "4")
        await press(pilot, "enter")
        assert "INK-C : 700 mL in 2 lots and containers" in shown(pilot)
        assert "runs out before the next delivery" in " ".join(shown(pilot).split())
        await press(pilot, "escape", "s")
        assert "P1-W" in shown(pilot)
        assert "100%" in shown(pilot)
        await press(pilot, "escape")
        assert "8 items" in shown(pilot)


async def test_weighing_a_slot_sets_it(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "4", "s")
        await press(pilot, "w")
        await type_in(pilot, "197")
        await press(pilot, "ctrl+s")
    # (197 g − 90 g tare) ÷ 1.07 g/mL (density of colour ink from a printer maker's sheet, 2008)
    assert held(book_file, "INK-C") == pytest.approx(350 + 107 / 1.07, abs=0.01)


async def test_loading_is_refused_in_a_sentence_and_the_form_stays(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "4", "s", "l", "ctrl+s")
        assert "still holds" in shown(pilot)
        assert "Nothing was changed" in shown(pilot)
        assert pilot.app.screen.query_one("#field-slot", Input).value == "P1-C"
        await type_in(pilot, "keep")
        await press(pilot, "ctrl+s")
        assert "from SHELF to P1-C" in " ".join(shown(pilot).split())
    book = open_book(book_file)
    assert check_book(book).sound
    book.close()


async def test_a_cartridge_is_taken_out_shaken_and_poured_off(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "4", "s", "end", "up", "k", "ctrl+s")
        assert "was shaken" in shown(pilot)
        await press(pilot, "o", "ctrl+s")
        assert "to SHELF" in shown(pilot)
        await press(pilot, "escape", "slash")
        await type_in(pilot, "INK-W")
        await press(pilot, "enter", "enter", "down", "d")
        await type_in(pilot, "100")
        await press(pilot, "ctrl+s")
        assert "Entry" in shown(pilot)
        assert pilot.app.screen.query_one(Rows).count == 3
    assert held(book_file, "INK-W") == 1400
    book = open_book(book_file)
    assert check_book(book).sound
    book.close()


async def test_enter_on_a_lot_lists_what_can_be_done_with_it(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "4", "slash")
        await type_in(pilot, "TEE-WHT")
        await press(pilot, "enter", "enter", "enter")
        menu = shown(pilot)
        assert "Scrap" in menu
        assert "Set aside" in menu
        assert "Release" not in menu
        assert "Load" not in menu
        await press(pilot, "x")
        await type_in(pilot, "torn")
        await press(pilot, "enter", "4", "ctrl+s")
        assert "to WASTE" in shown(pilot)
    assert held(book_file, "TEE-WHT-L") == 6


async def test_a_lot_is_set_aside_and_released(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "7", "a")
        await type_in(pilot, "settled")
        await press(pilot, "ctrl+s")
        assert "to QUARANTINE" in " ".join(shown(pilot).split())
        await press(pilot, "4", "slash")
        await type_in(pilot, "INK-Y")
        await press(pilot, "enter", "enter")
        text = shown(pilot)
        assert "QUARANTINE" in text
        rows = pilot.app.screen.query_one(Rows)
        await press(pilot, "home")
        while rows.current.place != "QUARANTINE":
            await press(pilot, "down")
        await press(pilot, "r", "ctrl+s")
        assert "from QUARANTINE" in " ".join(shown(pilot).split())
    book = open_book(book_file)
    assert all(row.place != "QUARANTINE" for row in on_hand(book))
    assert check_book(book).sound
    book.close()


async def test_an_expired_lot_is_written_off_with_the_caution_beside_it(opened, book_file):
    from datetime import date

    async with opened(day=date(2026, 4, 20)) as pilot:
        await press(pilot, "7")
        rows = pilot.app.screen.query_one(Rows)
        while rows.current.place != "SHELF":
            await press(pilot, "down")
        await press(pilot, "o")
        assert "section 13" in shown(pilot)
        await press(pilot, "ctrl+s")
        assert "to WASTE" in shown(pilot)
    assert held(book_file, "INK-Y") == 350


async def test_a_loaded_lot_past_its_date_is_taken_out_of_the_machine(opened, book_file):
    """Writing off leaves what is loaded; the key does what the person meant."""
    async with opened(day=date(2026, 4, 2)) as pilot:
        await press(pilot, "7")
        rows = pilot.app.screen.query_one(Rows)
        while rows.current.place != "P1-Y":
            await press(pilot, "down")
        await press(pilot, "enter")
        assert "take it out of the machine" in shown(pilot)
        assert "use it first" not in shown(pilot)
        await press(pilot, "o")
        assert "section 13" in shown(pilot)
        await press(pilot, "ctrl+s")
        said = " ".join(shown(pilot).split())
        assert "from P1-Y K000003 to WASTE" in said
        assert "never down a drain" in said
    assert held(book_file, "INK-Y") == 350


async def test_a_blind_count_tells_the_difference_afterwards(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "4", "slash")
        await type_in(pilot, "TEE-BLK")
        await press(pilot, "enter", "c")
        assert "15" not in shown(pilot).split("Counted")[1]
        await type_in(pilot, "14")
        await press(pilot, "ctrl+s")
        assert "book 15, counted 14" in shown(pilot)
    assert held(book_file, "TEE-BLK-L") == 14


async def test_a_whole_shelf_is_counted_blind_and_posted_as_one_entry(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "4", "b")
        rows = pilot.app.screen.query_one(Rows)
        items = [rows.row(n).item for n in range(rows.count)]
        assert len(items) == 8
        assert "350" not in shown(pilot)
        for item in items[:5]:
            await type_in(pilot, {"INK-C": "340", "INK-W": "0.7 L"}.get(item, "350"))
            await pilot.press("enter")
        await type_in(pilot, "5 litres of milk")
        await press(pilot, "enter")
        assert "✗" in shown(pilot)
        await press(pilot, *["backspace"] * 16)
        await type_in(pilot, "4.9 kg")
        await press(pilot, "ctrl+s")
        assert "Post 6 counted lines" in shown(pilot)
        await press(pilot, "ctrl+s")
        assert "book 350 mL, counted 340 mL" in shown(pilot)
        assert "book 5,000 g, counted 4,900 g" in shown(pilot)
        await press(pilot, "escape")
        assert "0 counted" in shown(pilot)
    assert held(book_file, "INK-C") == 690


async def test_a_figure_being_typed_outlives_a_new_reading_of_the_sheet(opened):
    async with opened() as pilot:
        await press(pilot, "4", "b")
        await type_in(pilot, "34")
        await press(pilot, "ctrl+r")
        assert pilot.app.screen.query_one("#counted", Input).value == "34"


async def test_figures_not_posted_are_asked_about(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "4", "b")
        await type_in(pilot, "1")
        await press(pilot, "enter", "escape")
        assert "1 figure not posted yet" in shown(pilot)
        await press(pilot, "escape")
        assert "Blind count" in shown(pilot)
        await press(pilot, "escape", "y")
        assert "8 items" in shown(pilot)
    assert held(book_file, "INK-C") == 700


async def test_sealed_packs_are_counted_as_packs(opened, book_file):
    """Whoever counts three cartridges types 3p, not their millilitres."""
    async with opened() as pilot:
        await press(pilot, "4", "b")
        lines = pilot.app.screen.query_one(Rows)
        assert (lines.current.item, lines.current.container) == ("INK-C", "")
        await type_in(pilot, "3p")
        await press(pilot, "enter")
        while lines.current.item != "TEE-BLK-L":
            await press(pilot, "down")
        await type_in(pilot, "2 packs")
        await press(pilot, "enter", "ctrl+s", "ctrl+s")
        assert "book 350 mL, counted 1,050 mL" in shown(pilot)
        assert "book 15, counted 2" in shown(pilot)
    assert held(book_file, "INK-C") == 350 + 3 * 350


async def test_packs_of_what_came_in_none_are_refused_in_words(opened):
    async with opened() as pilot:
        await press(pilot, "4", "s", "o", "ctrl+s", "s", "b")
        lines = pilot.app.screen.query_one(Rows)
        while not lines.current.container:
            await press(pilot, "down")
        await type_in(pilot, "1p")
        await press(pilot, "enter")
        assert "no pack of INK-C is known: type it in mL." in shown(pilot)
        await press(pilot, "escape")
        assert "1 figure not posted yet" in shown(pilot)


async def test_history_takes_any_entry_back_after_asking(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "1", "h")
        rows = pilot.app.screen.query_one(Rows)
        assert rows.count == 13
        while rows.current.what != "TEE-WHT-L 10 lot 20260303":
            await press(pilot, "down")
        await press(pilot, "z", "escape")
        assert held(book_file, "TEE-WHT-L") == 10
        await press(pilot, "z", "y")
        assert "took back" in shown(pilot)
        assert "taken back" in shown(pilot)
    assert held(book_file, "TEE-WHT-L") == 0


async def test_enter_on_an_entry_shows_all_it_moved(opened):
    async with opened() as pilot:
        await press(pilot, "1", "h")
        rows = pilot.app.screen.query_one(Rows)
        while rows.current.what != "TEE-WHT-L 10 lot 20260303":
            await press(pilot, "down")
        await press(pilot, "enter")
        assert f"Entry {rows.current.entry}: receive on" in shown(pilot)
        assert "TEE-WHT-L  10  lot 20260303: SUPPLIER → SHELF" in shown(pilot)
        await press(pilot, "escape")
        assert "newest first" in shown(pilot)


async def test_a_lot_is_traced_to_the_orders_it_touched(opened):
    async with opened() as pilot:
        await press(pilot, "3", "g")
        await press(pilot, "4", "slash")
        await type_in(pilot, "INK-W")
        await press(pilot, "enter", "enter", "t")
        assert "A1/1 on P1" in shown(pilot)
        await press(pilot, "escape", "h")
        assert "movements of INK-W" in shown(pilot)

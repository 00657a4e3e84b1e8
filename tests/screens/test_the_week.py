"""A week through the screens alone, and what the screens must withstand."""

from __future__ import annotations

import asyncio
import sqlite3
import time

import pytest
from textual.widgets import DataTable

from stock.screens.app import StockApp
from stock.shop import open_book
from stock.shop.keeping import check_book
from stock.shop.onhand import on_hand
from tests.screens.conftest import DAY, press, settled, shown, type_in


async def test_a_week_by_keys_alone_leaves_a_sound_book(opened, book_file):
    """Receive by scan, load, print, misprint, weigh, count, accept, receive against it, undo."""
    async with opened() as pilot:
        await press(pilot, "2")
        await type_in(pilot, "(01)09521234543213(17)270501(10)W7731")
        await press(pilot, "enter")
        await press(pilot, "escape")

        await press(pilot, "3", "enter")
        await press(pilot, "backspace", "backspace")
        await type_in(pilot, "11")
        await press(pilot, "enter", "backspace")
        await type_in(pilot, "1")
        await press(pilot, "ctrl+s")
        assert "11 good, 1 misprints" in shown(pilot)

        await press(pilot, "4", "s", "w")
        await press(pilot, "enter")
        await type_in(pilot, "420")
        await press(pilot, "ctrl+s")
        await press(pilot, "l", "enter", "enter", "enter")
        await type_in(pilot, "keep")
        await press(pilot, "ctrl+s")
        assert "to SHELF" in shown(pilot)

        await press(pilot, "escape", "slash")
        await type_in(pilot, "TEE-WHT")
        await press(pilot, "enter", "c", "enter")
        await type_in(pilot, "9")
        await press(pilot, "ctrl+s")
        assert "book 10, counted 9" in shown(pilot)

        await press(pilot, "6", "a", "a")
        text = shown(pilot)
        assert "draft purchase orders" in text
        draft = text.split("draft purchase orders ")[1].split(".")[0].split(",")[0].strip()

        await press(pilot, "2")
        await type_in(pilot, "TEE-BLK-L")
        await press(pilot, "enter", "enter", "enter", "enter")
        await type_in(pilot, draft)
        await press(pilot, "enter")
        assert "TEE-BLK-L: 1 × pack" in shown(pilot)
        await press(pilot, "escape", "escape", "u")
        assert "took back" in shown(pilot)
    book = open_book(book_file)
    assert check_book(book).findings == ()
    amounts = {row.lot: row.amount for row in on_hand(book)}
    assert amounts["W7731"] == 700_000


async def test_keys_work_while_the_book_is_slow(opened, monkeypatch):
    """Reading takes eight seconds; the number keys change screens meanwhile."""
    from stock.shop.views import jobs

    real = jobs.open_jobs

    answered = []

    def slow(*words, **named):
        time.sleep(8.0)
        answered.append(1)
        return real(*words, **named)

    monkeypatch.setattr(jobs, "open_jobs", slow)
    async with opened() as pilot:
        await pilot.press("3")
        for key, mode in (("4", "shelf"), ("7", "expiry"), ("3", "press")):
            await pilot.press(key)
            assert pilot.app.current_mode == mode
        assert not answered, "the keys waited for the book"
        await settled(pilot)
        assert "jobs to print" in shown(pilot)


async def test_a_book_locked_by_an_import_is_waited_for_and_then_fresh(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "2")
        other = sqlite3.connect(book_file, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        await type_in(pilot, "(01)09521234543213(17)270501(10)W7731")
        await pilot.press("enter")
        await asyncio.sleep(0.3)
        assert "W7731" not in str(pilot.app.screen.query_one("#booked", DataTable).rows)
        other.execute("COMMIT")
        other.close()
        await settled(pilot)
        assert "lot W7731" in shown(pilot)


async def test_two_apps_on_one_book_show_each_other_s_bookings(opened, book_file):
    async with opened() as first:
        await press(first, "4")
        second = StockApp(str(book_file), day=DAY)
        async with second.run_test(size=(80, 24)) as other:
            await settled(other)
            await press(other, "3", "enter")
            await press(other, "ctrl+s")
        await press(first, "ctrl+r")
        assert "3 " in next(line for line in shown(first).splitlines() if "TEE-BLK-L" in line)


@pytest.mark.parametrize("size", [(80, 24), (160, 48)])
@pytest.mark.parametrize("look", ["slate", "paper", "no colour"])
async def test_every_screen_fits_in_every_look(opened, size, look, monkeypatch):
    """What matters is not cut: heads, columns, the keys of the screen."""
    if look == "no colour":
        monkeypatch.setenv("NO_COLOR", "1")
    if look == "paper":
        monkeypatch.setenv("STOCK_THEME", "light")
    wanted = {
        "f1": ("what needs you", "where"),
        "f2": ("Scan/item", "Packs", "Lot", "Use by", "Purchase", "Booked last", "Book it"),
        "f3": ("due", "order", "garment", "left", "printer", "Hot press"),
        "f4": ("item", "on shelf", "in slots", "first date", "Load", "Weigh", "Count", "Scrap"),
        "f5": ("week", "due", "print?", "garment", "left", "Stages"),
        "f6": ("item", "packs", "runs out", "Accept", "What if"),
        "f7": ("use by", "days", "left", "weeks ahead", "Write off", "Set aside", "Send back"),
    }
    async with opened(size=size) as pilot:
        if look != "no colour":
            assert pilot.app.theme == look
        for key, words in wanted.items():
            await press(pilot, key)
            text = shown(pilot)
            for word in words:
                assert word in text, (key, word, text)
            lines = text.splitlines()
            assert len(lines) == size[1]
            assert max(map(len, lines)) <= size[0]


async def test_help_shows_the_keys_in_force(opened):
    async with opened(size=(120, 40)) as pilot:
        await press(pilot, "7", "question_mark")
        text = shown(pilot)
        assert "Write off" in text
        assert "Log a run" not in text

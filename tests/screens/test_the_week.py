"""A week through the screens alone, and what the screens must withstand."""

from __future__ import annotations

import asyncio
import sqlite3
import time
from collections import Counter

from stock.screens.app import FRESH_SECONDS, StockApp
from stock.shop import open_book
from stock.shop.keeping import check_book
from stock.shop.onhand import on_hand
from stock.shop.purchases import show_purchase
from tests.screens.conftest import DAY, press, settled, shown, type_in

NEW_ORDERS = """\
order,line,placed_on,due_on,stage,blank,quantity,artwork,width_cm,printer
A3,1,2026-03-11,2026-03-16,released,TEE-WHT-L,2,SQUARE,10,P1
"""


async def test_the_week_by_keys_alone_leaves_a_sound_book(opened, book_file, tmp_path, monkeypatch):
    """Receive by scan, orders from a file, load, print, misprint, weigh, count, accept, the sheet,
    receive against it, undo, write off.
    """
    monkeypatch.chdir(tmp_path)
    (tmp_path / "new.csv").write_text(NEW_ORDERS, encoding="utf-8")
    async with opened() as pilot:
        # Every day: a delivery is scanned in.
        await press(pilot, "2")
        await type_in(pilot, "(01)09521234543213(17)270501(10)W7731")
        await press(pilot, "enter", "escape")

        # Orders come in from a file of the shop system; can tomorrow's be printed?
        await press(pilot, "5", "i")
        pilot.app.screen.query_one("#field-file").value = "new.csv"
        await press(pilot, "ctrl+s")
        assert "orders: 1 row, 1 new" in shown(pilot)
        assert "A3" in shown(pilot)

        # Jobs are printed and logged, a misprint too.
        await press(pilot, "3", "enter", "backspace", "backspace")
        await type_in(pilot, "11")
        await press(pilot, "enter", "backspace", "1", "ctrl+s")
        assert "11 good, 1 misprints" in shown(pilot)
        await press(pilot, "down", "g")
        assert "A1/2: 6 good, 0 misprints" in shown(pilot)

        # Wednesday: half-used cartridges on a scale; one is swapped, the white is shaken.
        await press(pilot, "4", "s", "w")
        await type_in(pilot, "420")
        await press(pilot, "ctrl+s")
        assert "(weigh)" in shown(pilot)
        await press(pilot, "l")
        await type_in(pilot, "keep")
        await press(pilot, "ctrl+s")
        assert "to SHELF" in shown(pilot)
        await press(pilot, "end", "k", "ctrl+s")
        assert "was shaken" in shown(pilot)

        # Friday: what expires is looked at, one lot is set aside.
        await press(pilot, "7", "a")
        await type_in(pilot, "settled")
        await press(pilot, "ctrl+s")
        assert "to QUARANTINE" in " ".join(shown(pilot).split())
        await press(pilot, "o", "ctrl+s")
        assert "350 mL of INK-Y (lot Y1) from SHELF to WASTE" in shown(pilot)
        assert "section 13" in shown(pilot)

        # Month end: a count, blind.
        await press(pilot, "4", "escape", "slash")
        await type_in(pilot, "TEE-WHT")
        await press(pilot, "enter", "c", "3", "ctrl+s")
        assert "book 4, counted 3" in shown(pilot)

        # Monday: the list is accepted, sent, received against, and an entry taken back.
        await press(pilot, "6", "a", "a")
        assert "draft purchase orders" in shown(pilot)
        await press(pilot, "p", "enter", "e", "ctrl+s")
        assert "P-2026-0001.pdf is written" in shown(pilot)
        assert (tmp_path / "P-2026-0001.pdf").read_bytes().startswith(b"%PDF")
        await press(pilot, "s", "ctrl+s", "r", "ctrl+s")
        assert "× pack" in shown(pilot)
        await press(pilot, "u")
        assert "took back" in shown(pilot)
        await press(pilot, "w", "y")
        assert "closed" in shown(pilot)
    book = open_book(book_file)
    assert check_book(book).findings == ()
    amounts = {row.lot: row.amount for row in on_hand(book)}
    assert amounts["W7731"] == 700_000
    held = Counter()
    for row in on_hand(book):
        held[row.item] += row.amount
    (line,) = show_purchase(book, "P-2026-0001").lines
    assert line.item == "TEE-BLK-L"
    assert held["TEE-BLK-L"] == (15 - 11 - 1 + line.packs) * 1000, "11 good, 1 misprint, 1 order"
    assert held["TEE-WHT-L"] == 3 * 1000, "what was counted"
    assert held["INK-Y"] < 350_000, "one of two was written off, the other has printed"
    book.close()


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
        assert "W7731" not in shown(pilot)
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
            await press(other, "3", "g")
        await asyncio.sleep(FRESH_SECONDS + 0.5)
        await settled(first)
        assert "3 " in next(line for line in shown(first).splitlines() if "TEE-BLK-L" in line)

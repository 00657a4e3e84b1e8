"""Two stations on one book, each with what it read a while ago; keys pressed more than once."""

from __future__ import annotations

import time

import pytest

from stock.screens import app as the_app
from stock.screens.app import StockApp
from stock.shop import open_book
from stock.shop.purchases import list_purchases
from tests.screens.conftest import DAY, held, press, settled, shown, sound


@pytest.fixture(autouse=True)
def stale(monkeypatch):
    """No station looks again by itself."""
    monkeypatch.setattr(the_app, "FRESH_SECONDS", 999.0)


def flat(pilot) -> str:
    return " ".join(shown(pilot).replace("│", " ").split())


async def elsewhere(book_file, *keys: str) -> str:
    """Another station presses these; what it shows then."""
    other = StockApp(str(book_file), day=DAY)
    async with other.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        for key in keys:
            await press(pilot, key)
        return flat(pilot)


async def test_one_key_pressed_many_times_at_once_books_once(opened, book_file, monkeypatch):
    from stock.shop import printing

    real = printing.log_print

    def slow(*words, **named):
        time.sleep(0.4)
        return real(*words, **named)

    monkeypatch.setattr(printing, "log_print", slow)
    async with opened() as pilot:
        await press(pilot, "3")
        await pilot.press("g", "g", "g", "g")
        await settled(pilot)
        assert "A1/1: 12 good" in shown(pilot)
        await pilot.press("u", "u", "u")
        await settled(pilot)
        assert "took back" in shown(pilot)
    assert held(book_file, "TEE-BLK-L") == 15
    assert sound(book_file)


async def test_a_job_logged_elsewhere_is_not_logged_again(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "3")
        assert "A1/1: 12 good" in await elsewhere(book_file, "3", "g")
        await press(pilot, "g")
        assert "A1/1: 0 of 12 left to print, no longer 12" in flat(pilot)
        assert "12 of 12" not in shown(pilot), "the list was not read again"
        await press(pilot, "g")
        assert "A1/2: 6 good" in flat(pilot)
    assert held(book_file, "TEE-BLK-L") == 3
    assert sound(book_file)


async def test_pieces_on_top_of_those_logged_elsewhere_are_told_once_then_taken(opened, book_file):
    """What was printed happened: it is never refused twice."""
    async with opened() as pilot:
        await press(pilot, "3", "enter", "backspace", "backspace", "2")
        await elsewhere(book_file, "3", "g")
        await press(pilot, "ctrl+s")
        assert "Ctrl+S again if yours come on top" in flat(pilot)
        assert pilot.app.screen.query_one("#field-good").value == "2"
        await press(pilot, "ctrl+s")
        assert "A1/1: 2 good" in flat(pilot)
    assert held(book_file, "TEE-BLK-L") == 1
    assert sound(book_file)


async def test_a_list_accepted_elsewhere_is_not_ordered_again(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "6")
        await elsewhere(book_file, "6", "a", "a")
        book = open_book(book_file)
        before = [(p.ref, [(x.item, x.packs) for x in p.lines]) for p in list_purchases(book)]
        await press(pilot, "a", "a")
        assert "0 lines on draft" in flat(pilot) or "already" in flat(pilot)
        after = [(p.ref, [(x.item, x.packs) for x in p.lines]) for p in list_purchases(book)]
        book.close()
    assert before
    assert after == before


async def test_a_purchase_received_elsewhere_is_not_received_again(opened, book_file):
    to_it = ("6", "a", "a", "p", "enter")
    async with opened() as pilot:
        await press(pilot, *to_it[:1])
        for key in to_it[1:]:
            await press(pilot, key)
        await press(pilot, "s", "ctrl+s")
        assert "took back" not in await elsewhere(book_file, "6", "p", "enter", "w", "y")
        first = held(book_file, "TEE-BLK-L")
        await press(pilot, "w", "y")
        assert "✗" in shown(pilot)
        assert "is closed; nothing is expected on it" in flat(pilot)
        await press(pilot, "r", "ctrl+s")
        assert held(book_file, "TEE-BLK-L") == first
    assert sound(book_file)


async def test_an_entry_taken_back_elsewhere_is_not_taken_back_again(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "3", "g")
        await elsewhere(book_file, "1", "h", "z", "y")
        await press(pilot, "u")
        assert "cannot be undone" in flat(pilot)
    assert held(book_file, "TEE-BLK-L") == 15
    assert sound(book_file)

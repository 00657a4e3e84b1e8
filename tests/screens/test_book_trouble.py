"""The book goes away, fills its disk, is upgraded: a sentence each, and the screens go on after."""

from __future__ import annotations

import os
import shutil
import sqlite3

import pytest
from textual.screen import ModalScreen

from stock.screens import app as the_app
from stock.shop import open_book
from tests.screens.conftest import held, press, settled, shown, sound

SCAN = "(01)09521234543213(17)270501(10)W7731"


@pytest.fixture(autouse=True)
def often(monkeypatch):
    """Whether the book changed is asked at once."""
    monkeypatch.setattr(the_app, "FRESH_SECONDS", 0.2)


def said(pilot) -> str:
    """The line of what happened, or what is wrong in a form: a notice may lie over either."""
    screen = pilot.app.screen
    line = "#form-wrong" if isinstance(screen, ModalScreen) else "#said"
    return str(screen.query_one(line).render())


async def until(pilot, holds) -> None:
    """Wait until the app has asked the book again and shows what it should."""
    for _ in range(400):
        await settled(pilot)
        if holds():
            return
        await pilot.pause(0.05)
    raise AssertionError(f"never held:\n{shown(pilot)}")


async def test_a_book_moved_away_takes_no_booking_and_goes_on_when_it_is_back(opened, book_file):
    away = book_file.with_name("away.sqlite")
    async with opened() as pilot:
        await press(pilot, "3")
        os.rename(book_file, away)
        await until(pilot, lambda: "is gone: it was moved or deleted" in said(pilot))
        await press(pilot, "g")
        assert "is gone" in said(pilot)
        await press(pilot, "enter", "ctrl+s")
        form = pilot.app.screen
        assert "is gone" in said(pilot)
        assert form.query_one("#field-good").value == "12"
        assert not book_file.exists(), "an empty file was made in its place"
        os.rename(away, book_file)
        await press(pilot, "ctrl+s")
        assert "A1/1: 12 good" in said(pilot)
    assert held(book_file, "TEE-BLK-L") == 3
    assert sound(book_file)


async def test_what_could_not_be_read_is_no_longer_said_once_it_was_read(opened, book_file):
    away = book_file.with_name("away.sqlite")
    async with opened() as pilot:
        await press(pilot, "3")
        os.rename(book_file, away)
        await press(pilot, "4")
        assert "is gone" in said(pilot)
        os.rename(away, book_file)
        await until(pilot, lambda: "is gone" not in said(pilot))
        assert "8 items" in shown(pilot)


async def test_the_same_refusal_is_one_notice(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "4")
        os.rename(book_file, book_file.with_name("away.sqlite"))
        for _ in range(4):
            await press(pilot, "ctrl+r")
        assert len(list(pilot.app._notifications)) == 1


async def test_another_book_put_in_its_place_is_the_one_shown_and_booked_in(
    opened, book_file, tmp_path
):
    other = shutil.copy(book_file, tmp_path / "other.sqlite")
    async with opened() as pilot:
        await press(pilot, "3", "g")
        assert held(book_file, "TEE-BLK-L") == 3
        os.replace(other, book_file)
        for ending in ("-wal", "-shm"):
            book_file.with_name(book_file.name + ending).unlink(missing_ok=True)
        await until(pilot, lambda: "12 of 12" in shown(pilot))
        await press(pilot, "down", "g")
        assert "A1/2: 6 good" in said(pilot)
    assert held(book_file, "TEE-BLK-L") == 15
    assert held(book_file, "TEE-WHT-L") == 4


async def test_a_book_upgraded_by_a_newer_program_takes_nothing_from_this_one(opened, book_file):
    async with opened() as pilot:
        await press(pilot, "3")
        with sqlite3.connect(book_file) as raw:
            raw.execute("UPDATE alembic_version SET version_num = '9999'")
        raw.close()
        await press(pilot, "g")
        assert "written by a newer version of this program" in said(pilot)
        await press(pilot, "u")
    with sqlite3.connect(book_file) as raw:
        assert raw.execute("SELECT count(*) FROM print_run").fetchone() == (0,)
        raw.execute("UPDATE alembic_version SET version_num = '0001'")
    raw.close()


async def test_a_full_disk_is_a_sentence_and_the_form_keeps_what_was_typed(opened, book_file):
    """The book itself says what SQLite says then; a disk really full stands in tests/faults."""
    with sqlite3.connect(book_file) as raw:
        raw.execute(
            "CREATE TRIGGER no_room BEFORE INSERT ON entry "
            "BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END"
        )
    async with opened() as pilot:
        await press(pilot, "3", "enter", "backspace", "backspace", "7", "ctrl+s")
        assert "the disk is full or failing" in said(pilot)
        assert "Nothing was booked" in said(pilot)
        assert pilot.app.screen.query_one("#field-good").value == "7"
        raw.execute("DROP TRIGGER no_room")
        raw.commit()
        raw.close()
        await press(pilot, "ctrl+s")
        assert "A1/1: 7 good" in said(pilot)
    assert sound(book_file)


async def test_an_entry_that_a_restored_copy_does_not_have_is_no_longer_offered_for_undo(
    opened, book_file, tmp_path
):
    from stock.shop.keeping import backup, restore

    book = open_book(book_file)
    backup(book, tmp_path / "copy.sqlite")
    book.close()
    async with opened() as pilot:
        await press(pilot, "3", "g")
        assert "u Undo" in shown(pilot)
        restore(tmp_path / "copy.sqlite", book_file, overwrite=True)
        await until(pilot, lambda: "12 of 12" in shown(pilot))
        await press(pilot, "u")
        assert "There is no entry" in said(pilot)
        assert "u Undo" not in shown(pilot)
    assert sound(book_file)

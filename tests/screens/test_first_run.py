"""The way in: paths as people type them, and nothing claimed before it is read."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from stock.screens.widgets.rows import Rows
from tests.screens.conftest import press, settled, shown, type_in


def flat(pilot) -> str:
    return " ".join(shown(pilot).replace("│", " ").split())


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("/" + "x" * 300, "that cannot be looked at"),
        ("~nobody-of-that-name/items.csv", "nobody here has the home folder"),
        ("/no/such/file.csv", "there is no file /no/such/file.csv"),
        ("/", "is a folder; expected a file"),
        ("a\x00b", "there is no file"),
    ],
)
async def test_a_path_that_leads_nowhere_is_said_while_it_is_typed(opened, typed, said):
    async with opened() as pilot:
        await press(pilot, "1", "i")
        await type_in(pilot, "items")
        await press(pilot, "enter")
        pilot.app.screen.query_one("#field-file").value = typed
        await settled(pilot)
        assert said in flat(pilot)
        await press(pilot, "ctrl+s")
        assert said in flat(pilot)
        assert pilot.app.screen.query_one("#field-file").value == typed


async def test_a_path_dropped_into_the_terminal_may_stand_in_quotes(opened, tmp_path):
    place = tmp_path / "of May.csv"
    place.write_text("code,lead_days\nELDER,4\n", encoding="utf-8")
    async with opened() as pilot:
        await press(pilot, "1", "i")
        await type_in(pilot, "suppliers")
        await press(pilot, "enter")
        pilot.app.screen.query_one("#field-file").value = f"'{place}'"
        await press(pilot, "ctrl+s")
        assert "suppliers: 1 row, 1 new" in shown(pilot)


async def test_a_sheet_that_cannot_be_written_is_a_sentence_and_leaves_nothing(
    opened, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)

    def full(self, _content):
        self.touch()
        raise OSError(28, "No space left on device", str(self))

    async with opened() as pilot:
        await press(pilot, "6", "a", "a", "p", "enter", "e")
        monkeypatch.setattr(Path, "write_bytes", full)
        await press(pilot, "ctrl+s")
        assert "No space left on device." in flat(pilot)
        assert "Errno" not in flat(pilot)
    assert not list(tmp_path.glob(".*.part"))


async def test_nothing_is_said_to_be_empty_before_it_is_read(opened, monkeypatch, tmp_path):
    from stock.shop.views import jobs

    async with opened(address=str(tmp_path / "none.sqlite")) as pilot:
        assert "Nothing needs you" not in shown(pilot)

    monkeypatch.setattr(jobs, "open_jobs", lambda *_words, **_named: time.sleep(1.0) or [])
    async with opened() as pilot:
        await pilot.press("3")
        await pilot.pause(0.2)
        rows = pilot.app.screen.query_one(Rows)
        assert rows.empty not in shown(pilot)
        await settled(pilot)
        assert rows.empty in shown(pilot)


async def test_an_empty_book_offers_to_look_around_and_stays_as_it_is(
    opened, tmp_path, book_file, monkeypatch
):
    from stock.screens import first_run
    from stock.shop import create_book, open_book

    create_book(tmp_path / "mine.sqlite").close()
    monkeypatch.setattr(first_run, "build_shop", lambda _day, _say: open_book(book_file))
    async with opened(address=str(tmp_path / "mine.sqlite")) as pilot:
        await press(pilot, "end")
        assert "invented shop" in shown(pilot)
        await press(pilot, "enter")
        assert "This is an invented shop, in a book of its own" in flat(pilot)
        assert "No items in the book yet" not in shown(pilot)
        await press(pilot, "3", "g")
        assert "12 good, 0 misprints" in shown(pilot)
    book = open_book(tmp_path / "mine.sqlite")
    with book.reading() as connection:
        assert not connection.exec_driver_sql("SELECT 1 FROM entry").all()
    book.close()


@pytest.mark.parametrize(("width", "there"), [(80, "[4 Shelf] 5 Orders"), (40, "[4 Shelf] 5  6")])
async def test_the_strip_shows_where_one_is_at_any_width(opened, width, there):
    async with opened(size=(width, 24)) as pilot:
        await press(pilot, "4")
        assert there in shown(pilot).splitlines()[0]
        await pilot.resize_terminal(20, 10)
        await settled(pilot)
        assert shown(pilot).splitlines()[0] == "[4 Shelf]"


async def test_what_to_do_with_no_rows_is_not_cut(opened, tmp_path):
    from stock.shop import create_book

    create_book(tmp_path / "mine.sqlite").close()
    async with opened(address=str(tmp_path / "mine.sqlite"), size=(40, 16)) as pilot:
        for key in "34567":
            await press(pilot, f"f{key}")
            empty = " ".join(pilot.app.screen.query_one(Rows).empty.split())
            assert empty in flat(pilot)


@pytest.mark.parametrize(
    ("width", "at", "mode"),
    [(80, 2, "today"), (80, 36, "shelf"), (80, 70, "expiry"), (40, 5, "receive")],
)
async def test_a_click_on_a_name_in_the_strip_does_what_its_key_does(opened, width, at, mode):
    async with opened(size=(width, 24)) as pilot:
        await press(pilot, "f3")
        await pilot.click(offset=(at, 0))
        await settled(pilot)
        assert pilot.app.current_mode == mode
        await press(pilot, "f3", "enter")
        await pilot.click(offset=(at, 0))
        await settled(pilot)
        assert pilot.app.current_mode == "press", "a question is answered first"


async def test_a_long_file_says_how_far_it_is_taken(opened, tmp_path, monkeypatch):
    from stock.screens.dialogs import Form

    told = []
    monkeypatch.setattr(Form, "_tell", lambda _form, text: told.append(text))
    lines = "".join(f"S-{n},4\n" for n in range(1200))
    (tmp_path / "long.csv").write_text(f"code,lead_days\n{lines}", encoding="utf-8")
    async with opened() as pilot:
        await press(pilot, "1", "i")
        await type_in(pilot, "suppliers")
        pilot.app.screen.query_one("#field-file").value = str(tmp_path / "long.csv")
        await press(pilot, "ctrl+s")
        assert "suppliers: 1200 rows, 1200 new" in shown(pilot)
    assert told == ["One moment …", "500 rows so far …", "1,000 rows so far …"]

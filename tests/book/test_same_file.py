"""An open SQLite book whose file goes away, comes back or is replaced."""

from __future__ import annotations

import os
import shutil
import sqlite3

import pytest
from sqlalchemy import insert, select

from stock.book.opening import Book, create_book, open_book
from stock.book.tables import place
from stock.errors import BookUnusable


@pytest.fixture
def made(tmp_path):
    path = tmp_path / "book.sqlite"
    create_book(path).close()
    book = open_book(path)
    yield book, path
    book.close()


def named(book: Book, code: str) -> None:
    book.write(lambda connection: connection.execute(insert(place).values(code=code, kind="shelf")))


def places(book: Book) -> list[str]:
    with book.reading() as connection:
        return list(connection.scalars(select(place.c.code).order_by(place.c.id)))


def test_nothing_is_written_into_a_file_that_was_deleted(made):
    book, path = made
    before = places(book)
    os.remove(path)
    for act in (lambda: named(book, "S-9"), lambda: places(book)):
        with pytest.raises(BookUnusable, match="is gone: it was moved or deleted"):
            act()
    assert not path.exists(), "an empty book was made in its place"
    assert before


def test_a_book_that_is_back_is_the_book(made, tmp_path):
    book, path = made
    named(book, "S-9")
    os.rename(path, tmp_path / "away.sqlite")
    with pytest.raises(BookUnusable):
        named(book, "S-10")
    os.rename(tmp_path / "away.sqlite", path)
    named(book, "S-11")
    assert places(book)[-2:] == ["S-9", "S-11"]


def test_another_file_in_its_place_is_opened(made, tmp_path):
    book, path = made
    other = shutil.copy(path, tmp_path / "other.sqlite")
    named(book, "S-9")
    os.replace(other, path)
    for ending in ("-wal", "-shm"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
    assert "S-9" not in places(book)


def test_a_program_that_is_too_old_by_now_writes_nothing(made):
    book, path = made
    before = places(book)
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")
    raw.close()
    with pytest.raises(BookUnusable, match="newer version of this program"):
        named(book, "S-9")
    assert places(book) == before

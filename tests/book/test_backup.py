"""Copies are of one moment, checked, and put back without losing what they replace."""

from __future__ import annotations

import os
import sqlite3
import stat
import threading
from pathlib import Path

import pytest
from sqlalchemy import func, select, text

from stock.book.backup import backup, restore
from stock.book.check import check_book
from stock.book.opening import Book, open_book
from stock.book.tables import metadata, movement
from stock.errors import BookUnusable, Refused
from stock.shop.receive import Delivery, receive
from tests.book.builders import MONDAY, a_lot, an_item, held
from tests.book.conftest import Server


def _rows(book: Book) -> dict[str, list[tuple[object, ...]]]:
    with book.reading() as connection:
        return {
            table.name: [tuple(row) for row in connection.execute(select(table).order_by("id"))]
            for table in metadata.sorted_tables
        }


def test_a_copy_holds_every_row_and_is_the_owners_only(lived_in: Book, tmp_path: Path) -> None:
    copied = backup(lived_in, tmp_path / "copy.sqlite")
    assert copied.checked.findings == ()
    assert stat.S_IMODE(os.stat(copied.path).st_mode) == 0o600
    copy = open_book(copied.path)
    assert _rows(copy) == _rows(lived_in)
    copy.close()
    assert sorted(path.name for path in tmp_path.glob("copy*")) == ["copy.sqlite"]


def test_a_copy_is_never_overwritten_unasked(lived_in: Book, tmp_path: Path) -> None:
    target = tmp_path / "copy.sqlite"
    target.write_text("mine")
    with pytest.raises(Refused, match="exists already"):
        backup(lived_in, target)
    assert target.read_text() == "mine"
    assert backup(lived_in, target, overwrite=True).checked.sound


def test_a_copy_taken_while_others_write_is_whole(book: Book, tmp_path: Path) -> None:
    an_item(book)
    stop = threading.Event()

    def write() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            receive(book, Delivery(on=MONDAY, sku="W-1", amount=1000, lot=f"L{number}"))

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(3):
            assert backup(book, tmp_path / f"{number}.sqlite").checked.findings == ()
    finally:
        stop.set()
        writer.join()


def test_a_copy_that_cannot_be_written_leaves_nothing(lived_in: Book, tmp_path: Path) -> None:
    with pytest.raises(Refused, match="no folder"):
        backup(lived_in, tmp_path / "nowhere" / "copy.sqlite")
    with pytest.raises(Refused, match="folder"):
        backup(lived_in, tmp_path)


def test_the_book_itself_is_not_its_copy(sqlite_book: Book) -> None:
    with pytest.raises(Refused, match="the book itself"):
        backup(sqlite_book, Path(sqlite_book.url.database or ""), overwrite=True)


def test_a_restore_refuses_to_overwrite_and_then_keeps_the_old_book(
    sqlite_book: Book, tmp_path: Path
) -> None:
    an_item(sqlite_book)
    a_lot(sqlite_book, amount=5)
    path = Path(sqlite_book.url.database or "")
    backup(sqlite_book, tmp_path / "copy.sqlite")
    a_lot(sqlite_book, amount=7)
    with pytest.raises(Refused, match="say to overwrite"):
        restore(tmp_path / "copy.sqlite", path)
    restored = restore(tmp_path / "copy.sqlite", path, overwrite=True)
    assert held(sqlite_book, "SHELF") == {("L1", ""): 5.0}, "an open station sees the restored book"
    kept = open_book(restored.kept or "")
    assert held(kept, "SHELF") == {("L1", ""): 12.0}
    kept.close()
    with sqlite3.connect(path) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    connection.close()


def test_a_damaged_book_is_put_aside_and_replaced(sqlite_book: Book, tmp_path: Path) -> None:
    backup(sqlite_book, tmp_path / "copy.sqlite")
    path = Path(sqlite_book.url.database or "")
    sqlite_book.close()
    path.write_bytes(b"this is no longer a book" * 500)
    restored = restore(tmp_path / "copy.sqlite", path, overwrite=True)
    assert restored.checked.sound
    assert Path(restored.kept or "").read_bytes().startswith(b"this is no longer")


def test_a_restore_to_where_nothing_is_makes_the_book(lived_in: Book, tmp_path: Path) -> None:
    backup(lived_in, tmp_path / "copy.sqlite")
    restored = restore(tmp_path / "copy.sqlite", tmp_path / "new" / "book.sqlite")
    fresh = open_book(restored.path)
    assert _rows(fresh) == _rows(lived_in)
    an_item(fresh, "NEW")
    a_lot(fresh, "NEW", "N1", 3)
    assert check_book(fresh).findings == ()
    fresh.close()


def test_a_copy_moves_a_book_to_postgresql_and_it_goes_on_there(
    lived_in: Book, server: Server, tmp_path: Path
) -> None:
    backup(lived_in, tmp_path / "copy.sqlite")
    url = server.database("book_empty")
    assert restore(tmp_path / "copy.sqlite", url).checked.findings == ()
    moved = open_book(url)
    assert _rows(moved) == _rows(lived_in)
    an_item(moved, "NEW")
    a_lot(moved, "NEW", "N1", 3)
    assert check_book(moved).findings == ()
    moved.close()
    with pytest.raises(Refused, match="Make an empty database"):
        restore(tmp_path / "copy.sqlite", url, overwrite=True)
    server.drop(url)


def test_a_damaged_copy_is_refused(sqlite_book: Book, tmp_path: Path) -> None:
    an_item(sqlite_book)
    a_lot(sqlite_book)
    target = tmp_path / "copy.sqlite"
    backup(sqlite_book, target)
    with sqlite3.connect(target) as connection:
        connection.execute("UPDATE balance SET amount = amount + 1")
    connection.close()
    with pytest.raises(Refused, match="is damaged: 1 findings, first: balance"):
        restore(target, tmp_path / "book.sqlite", overwrite=True)


def test_what_is_no_book_is_refused(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("not a book at all, only a letter " * 100)
    with pytest.raises(BookUnusable, match="not a book"):
        restore(tmp_path / "letter.txt", tmp_path / "book.sqlite")
    with pytest.raises(Refused, match="no copy at"):
        restore(tmp_path / "missing.sqlite", tmp_path / "book.sqlite")
    assert not (tmp_path / "book.sqlite").exists()


def test_the_copy_of_a_damaged_book_is_made_and_its_findings_told(
    sqlite_book: Book, tmp_path: Path
) -> None:
    an_item(sqlite_book)
    a_lot(sqlite_book)
    with sqlite_book.engine.begin() as connection:
        connection.execute(text("UPDATE balance SET amount = amount + 1"))
    copied = backup(sqlite_book, tmp_path / "copy.sqlite")
    assert [finding.rule for finding in copied.checked.findings] == ["balance"]
    with sqlite_book.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(movement)) == 1

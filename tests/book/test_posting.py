"""Posting keeps entries, movements and balances in step on both databases."""

from __future__ import annotations

import pytest
from sqlalchemy import func, select, text
from sqlalchemy.exc import DBAPIError

from stock.book.opening import Book
from stock.book.posting import Posting, known_refs, post
from stock.book.tables import APPEND_ONLY, balance, entry, item, movement
from stock.errors import NotEnough
from tests.book.builders import MONDAY, a_lot, an_item, held


def _use(book: Book, sku: str, lot_id: int, amount: int) -> int:
    def work(posting: Posting) -> int:
        item_id = posting.connection.execute(
            select(item.c.id).where(item.c.sku == sku)
        ).scalar_one()
        entry_id = posting.entry("print", MONDAY)
        posting.move(
            entry_id,
            MONDAY,
            item_id,
            lot_id,
            amount,
            posting.place("SHELF"),
            posting.place("PRINTED"),
        )
        return entry_id

    return post(book, work)


def test_a_delivery_raises_the_shelf_and_a_use_lowers_it(book: Book) -> None:
    an_item(book)
    lot_id = a_lot(book, amount=500)
    _use(book, "W-1", lot_id, 120_500)
    assert held(book, "SHELF") == {("L1", ""): 379.5}


def test_a_balance_that_falls_to_nothing_leaves_no_row_and_can_come_back(book: Book) -> None:
    an_item(book)
    lot_id = a_lot(book, amount=10)
    _use(book, "W-1", lot_id, 10_000)
    with book.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(balance)) == 0
    a_lot(book, amount=4)
    assert held(book, "SHELF") == {("L1", ""): 4.0}


def test_more_than_there_is_is_refused_and_nothing_is_written(book: Book) -> None:
    an_item(book)
    lot_id = a_lot(book, amount=10)
    with pytest.raises(NotEnough, match=r"SHELF holds 10 mL of W-1; 10\.001 mL"):
        _use(book, "W-1", lot_id, 10_001)
    with book.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(entry)) == 1
        assert connection.scalar(select(func.count()).select_from(movement)) == 1


def test_one_posting_leaves_no_gap_in_the_entry_numbers(book: Book) -> None:
    an_item(book)
    lot_id = a_lot(book, amount=10)
    numbers = [_use(book, "W-1", lot_id, 1000) for _ in range(4)]
    assert numbers == list(range(numbers[0], numbers[0] + 4))


def test_known_source_references_are_found(book: Book) -> None:
    post(book, lambda posting: posting.entry("note", MONDAY, source_ref="file:1"))
    with book.reading() as connection:
        assert known_refs(connection, ["file:1", "file:2"]) == {"file:1"}


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_what_happened_cannot_be_changed_or_deleted(book: Book, table: str) -> None:
    post(book, lambda posting: posting.entry("note", MONDAY))
    for statement in (f"UPDATE {table} SET id = id + 1000", f"DELETE FROM {table}"):
        if table != "entry" and book.is_sqlite:
            # SQLite's triggers fire by row: an empty table has nothing to refuse.
            continue
        with book.engine.connect() as connection, pytest.raises(DBAPIError, match="append-only"):
            connection.execute(text(statement))

"""Terms no order can be planned with: found by ``stock check``, said by the list, never a crash."""

from __future__ import annotations

import sqlite3
from typing import Any

import pytest
from sqlalchemy import update

from stock.book.check import check_book
from stock.book.opening import Book, open_book
from stock.book.tables import pack, supplier
from stock.shop.planning import reorder_list
from tests.book.builders import MONDAY, a_pack, an_item


@pytest.fixture
def shop(book: Book) -> Book:
    """One item, one supplier, one pack."""
    an_item(book)
    a_pack(book, amount=500)
    return book


def change(book: Book, table: Any, **values: Any) -> None:
    """Write past every reader."""
    book.write(lambda connection: connection.execute(update(table).values(**values)))


def test_sound_terms_have_no_findings(shop: Book) -> None:
    change(shop, pack, breaks=[[10, 90], [50, 80]], price_minor=100)
    assert check_book(shop).findings == ()


@pytest.mark.parametrize(
    "breaks", [[[50, 80], [10, 90]], [[10, 100]], [[1, 90]], [[10, -5]], [["ten", 5]], "none"]
)
def test_price_breaks_out_of_order_are_found_and_the_list_does_without(
    shop: Book, breaks: Any
) -> None:
    change(shop, pack, breaks=breaks, price_minor=100)
    checked = check_book(shop)
    assert [finding.rule for finding in checked.findings] == ["price breaks"]
    assert checked.sound
    assert reorder_list(shop, MONDAY).states


@pytest.mark.parametrize("days", ["someday", "mon,someday"])
def test_a_supplier_with_no_order_day_is_found_and_the_list_says_so(shop: Book, days: str) -> None:
    change(shop, supplier, order_days=days)
    assert [finding.rule for finding in check_book(shop).findings] == ["order days"]
    said = reorder_list(shop, MONDAY).findings
    assert any("has no order day; its offers are left out" in finding for finding in said)


@pytest.mark.parametrize(
    ("table", "value", "said"),
    [("pack SET amount", "0", "holds 0.0; left out"), ("supplier SET lead_days", "-4", "-4.0")],
)
def test_terms_past_the_tables_own_constraints_are_damage(
    sqlite_book: Book, table: str, value: str, said: str
) -> None:
    an_item(sqlite_book)
    a_pack(sqlite_book, amount=500)
    path = sqlite_book.shown
    sqlite_book.close()
    with sqlite3.connect(path) as past_the_guards:
        past_the_guards.execute("PRAGMA ignore_check_constraints=ON")
        past_the_guards.execute(f"UPDATE {table} = {value}")
    past_the_guards.close()
    book = open_book(path)
    assert not check_book(book).sound
    assert any(said in finding for finding in reorder_list(book, MONDAY).findings)
    book.close()

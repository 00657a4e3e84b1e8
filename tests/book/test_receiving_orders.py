"""Deliveries by hand set against purchase orders: whose packs are counted, what still waits."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stock.book.opening import Book
from stock.shop.accepting import accept_reorder
from stock.shop.purchases import send_purchase, show_purchase
from stock.shop.receive import Delivery, receive
from stock.shop.undoing import undo
from tests.book.builders import MONDAY, a_pack, an_item
from tests.book.test_purchases import a_line, a_list

REF = "P-2026-0001"


@pytest.fixture
def shop(book: Book) -> Book:
    """White in single packs of 100 that are usually bought, and four cases of 500 on order."""
    an_item(book)
    a_pack(book, "W-1", 500, supplier_code="S")
    a_pack(book, "W-1", 100, supplier_code="T", code="ONE", preferred=True)
    accept_reorder(book, a_list(a_line("W-1", 4)))
    send_purchase(book, REF, on=MONDAY)
    return book


def test_packs_named_by_hand_on_an_order_are_the_packs_that_were_ordered(shop: Book) -> None:
    """Not the item's preferred pack: three cases are 1,500 mL, and one is still to come."""
    done = receive(shop, Delivery(on=MONDAY, sku="W-1", packs=3, purchase=REF))
    assert done.lots[0].amount == 1_500_000
    assert [line.open_packs for line in show_purchase(shop, REF).lines] == [1]


def test_another_size_of_pack_is_not_counted_as_one_that_was_ordered(shop: Book) -> None:
    done = receive(shop, Delivery(on=MONDAY, sku="W-1", pack_code="ONE", packs=3, purchase=REF))
    assert done.lots[0].amount == 300_000
    assert done.notes == (
        f"{REF} has W-1 in packs of 500 mL, this is another: booked without a line, "
        "the order still waits for it.",
    )
    assert [line.open_packs for line in show_purchase(shop, REF).lines] == [4]


def test_a_delivery_beside_an_order_that_waits_for_it_is_told(shop: Book) -> None:
    bare = Delivery(on=MONDAY, sku="W-1", pack_code="ONE", packs=1)
    waits = (
        f"W-1 is still open on {REF}: if this came on it, take it back and name that purchase.",
    )
    assert receive(shop, bare).notes == waits
    whole = receive(shop, Delivery(on=MONDAY, sku="W-1", packs=4, purchase=REF))
    assert whole.notes == ()
    assert receive(shop, bare).notes == ()
    undo(shop, whole.entry, on=MONDAY)
    assert receive(shop, bare).notes == waits
    assert receive(shop, replace(bare, owner="ACME")).notes == ()

"""Amounts as people write them, in the unit the book keeps an item in."""

from __future__ import annotations

from stock.book.opening import Book
from stock.book.tables import container, item
from stock.errors import Refused
from stock.shop.finding import find
from stock.units import parse_amount


def amount_of_item(book: Book, sku: str, text: str) -> int:
    """``"1.8 L"`` as thousandths of the item's base unit.

    Raises:
        Unknown: No such item.
        Refused: Not an amount, or one of another kind of unit.
    """
    with book.reading() as connection:
        row = find(connection, item, item.c.sku, sku, "item")
    try:
        held = parse_amount(text, row.unit)
    except ValueError as error:
        raise Refused(f"{sku}: {error}.") from None
    if held <= 0:
        raise Refused(f"{sku}: {text!r} was given; expected more than nothing.")
    return held


def amount_in_container(book: Book, code: str, text: str) -> int:
    """``"500 g"`` as thousandths of the base unit of what a container holds.

    Raises:
        Unknown: No such container.
        Refused: Not an amount, or one of another kind of unit.
    """
    with book.reading() as connection:
        box = find(connection, container, container.c.code, code, "container")
        sku = find(connection, item, item.c.id, box.item_id, "item").sku
    return amount_of_item(book, sku, text)

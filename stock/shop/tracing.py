"""Asking the book back: which lots, which orders, what was in a slot, what it is all worth."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time

from stock.book.opening import Book
from stock.book.slot_history import InSlot, Stay, slot_at, slot_story
from stock.book.trace import Trace, trace_lot, trace_order
from stock.book.valuation import Method, Valuation, value_stock
from stock.shop.settings import load_settings

__all__ = ["InSlot", "Stay", "Trace", "Valuation"]


def trace_of_lot(book: Book, lot: str, sku: str = "") -> Trace:
    """Every print run and order a lot touched.

    Raises:
        Unknown: No such lot.
    """
    with book.reading() as connection:
        return trace_lot(connection, lot, sku)


def trace_of_order(book: Book, order: str) -> Trace:
    """Every lot that touched an order, with the papers on file.

    Raises:
        Unknown: No such order.
    """
    with book.reading() as connection:
        return trace_order(connection, order)


def in_slot_at(book: Book, slot: str, day: date, at: time | None = None) -> list[InSlot]:
    """What a slot held on a day at a time of the station's zone (missing: at the day's end).

    Raises:
        Unknown: No such slot.
    """
    moment = datetime.combine(day, at or time(23, 59, 59)).astimezone()
    with book.reading() as connection:
        return slot_at(connection, slot, moment)


def story_of_slot(book: Book, slot: str) -> list[Stay]:
    """Every container that stayed in a slot, oldest first.

    Raises:
        Unknown: No such slot.
    """
    with book.reading() as connection:
        return slot_story(connection, slot)


def value_on(
    book: Book, day: date, method: Method = "fifo", *, since: date | None = None
) -> Valuation:
    """What the stock was worth at the end of a day."""
    with book.reading() as connection:
        valued = value_stock(connection, day, method, since=since)
    return replace(valued, currency=load_settings()["currency"])

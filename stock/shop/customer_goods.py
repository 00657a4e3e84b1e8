"""Garments customers bring: counted and traced, never valued, never reordered, given back.

Amounts are pieces. A customer is a reference; no name or address is kept.
"""

from __future__ import annotations

from datetime import date

from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import item
from stock.errors import Refused
from stock.shop.choosing import Choice, chosen_draws
from stock.shop.done import Done, done
from stock.shop.finding import find
from stock.shop.receive import Delivery, Received, receive
from stock.shop.slots import move_draws
from stock.units import THOUSAND


def receive_garments(
    book: Book,
    customer: str,
    sku: str,
    pieces: int,
    *,
    on: date,
    lot: str = "",
    place: str = "SHELF",
    who: str = "",
    source_ref: str | None = None,
) -> Received:
    """Take in a customer's garments; they are drawn only for that customer's orders.

    Raises:
        Refused: No customer, no pieces, or the item is no blank.
    """
    if not customer.strip():
        raise Refused("Say whose garments they are.")
    with book.reading() as connection:
        known = find(connection, item, item.c.sku, sku, "item")
    if known.kind != "blank":
        raise Refused(f"{sku} is {known.kind}; customers bring garments only.")
    if pieces <= 0:
        raise Refused(f"{pieces} pieces cannot be received.")
    delivery = Delivery(
        on=on,
        sku=sku,
        amount=pieces * THOUSAND,
        lot=lot,
        place=place,
        owner=customer.strip(),
        source_ref=source_ref,
    )
    return receive(book, delivery, who=who)


def return_garments(
    book: Book,
    customer: str,
    sku: str,
    pieces: int | None = None,
    *,
    on: date,
    lot: str = "",
    who: str = "",
    note: str = "",
) -> Done:
    """Give a customer's unprinted garments back; missing count: all of the lot.

    Raises:
        NotEnough: Fewer are there.
    """

    def work(posting: Posting) -> Done:
        amount = None if pieces is None else pieces * THOUSAND
        choice = Choice(sku=sku, lot=lot, amount=amount, owner=customer)
        draws = chosen_draws(posting, choice, on, ("shelf", "quarantine"))
        entry_id = posting.entry("return", on, note=note or f"back to customer {customer}")
        move_draws(posting, entry_id, on, draws, posting.place("RETURNED"))
        return done(posting, entry_id)

    return post(book, work, who=who)

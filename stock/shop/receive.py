"""Deliveries into the book: one lot, or a whole delivery file, in one transaction.

Amounts are integers of thousandths of the item's base unit; money is minor units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from sqlalchemy import Connection, Row, func, select, update

from stock.book.opening import Book
from stock.book.posting import Posting
from stock.book.tables import (
    entry,
    lot,
    pack,
    purchase_line,
    purchase_order,
    receipt,
)
from stock.clock import now_utc
from stock.errors import Refused, Unknown
from stock.shop.lookup import Lookup
from stock.units import format_amount, from_thousandths

MOST_PACKS = 1_000_000


@dataclass(frozen=True, slots=True)
class Delivery:
    """What arrived: an item (or the code on its box), how much, which lot, until when.

    ``packs`` counts packs; ``amount`` (thousandths) may be given instead where there is no pack.
    ``cost_minor`` is for the whole delivery line; missing: the pack's price.
    """

    on: date
    sku: str = ""
    gtin: str = ""
    packs: int | None = None
    amount: int | None = None
    lot: str = ""
    expires: date | None = None
    produced: date | None = None
    supplier: str = ""
    purchase: str = ""
    pack_code: str = ""
    cost_minor: int | None = None
    certificate: str = ""
    owner: str = ""
    place: str = "SHELF"
    source_ref: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class ReceivedLot:
    """One lot as booked."""

    item: str
    name: str
    lot: str
    expires: date | None
    packs: int
    amount: int
    unit: str

    def to_json(self) -> dict[str, Any]:
        """With the contract's keys; amount in base units."""
        return {
            "item": self.item,
            "lot": self.lot,
            "expires": self.expires.isoformat() if self.expires else None,
            "packs": self.packs,
            "amount": from_thousandths(self.amount),
            "unit": self.unit,
        }

    def __str__(self) -> str:
        until = f", use by {self.expires}" if self.expires else ", no expiry date"
        amount = format_amount(self.amount, self.unit)
        return f"{self.item}: {self.packs} × pack, {amount}, lot {self.lot}{until}"


@dataclass(frozen=True, slots=True)
class Received:
    """The entry of a delivery, its lots, and what the person should know about it."""

    entry: int
    lots: tuple[ReceivedLot, ...]
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """With the contract's keys."""
        return {
            "entry": self.entry,
            "lots": [lot.to_json() for lot in self.lots],
            "notes": list(self.notes),
        }


def receive(book: Book, delivery: Delivery, *, who: str = "") -> Received:
    """Book one delivery and return what was booked.

    Raises:
        Unknown: No such item, supplier, purchase or place; a GTIN tied to no item.
        Refused: Amounts or dates that cannot be.
    """
    return receive_all(book, [delivery], who=who)


def receive_all(book: Book, deliveries: Sequence[Delivery], *, who: str = "") -> Received:
    """Book several deliveries, all or none; the answer names the last entry and every lot."""

    def work(connection: Connection) -> Received:
        posting = Posting(connection, who=who, at=now_utc())
        poster = DeliveryPoster(posting, Lookup(connection))
        booked = [poster.post(delivery) for delivery in deliveries]
        posting.flush()
        settle_purchases(connection, [d.purchase for d in deliveries if d.purchase])
        return Received(
            booked[-1].entry,
            tuple(lot for one in booked for lot in one.lots),
            tuple(note for one in booked for note in one.notes),
        )

    return book.write(work)


class DeliveryPoster:
    """Posts deliveries one after another within one posting; the caller flushes."""

    def __init__(self, posting: Posting, lookup: Lookup) -> None:
        self.posting = posting
        self.lookup = lookup
        self._fresh_lots: dict[tuple[int, str, str], tuple[int, date | None]] = {}

    def post(self, delivery: Delivery) -> Received:
        """Append one delivery; see :func:`receive`."""
        posting, lookup = self.posting, self.lookup
        chosen, the_item = _pack_and_item(lookup, delivery)
        packs, amount = _how_much(delivery, chosen, the_item)
        expires, notes = _expiry(delivery, the_item, chosen)
        target = posting.place(delivery.place)
        if target.kind not in ("shelf", "quarantine"):
            raise Refused(
                f"{target.code} is not a shelf; a delivery goes to a shelf or quarantine."
            )
        line_id = None
        if delivery.purchase:
            line_id, note = _purchase_line(lookup, delivery.purchase, the_item, chosen, packs)
            notes += note
        supplier_id = chosen.supplier_id if chosen is not None else None
        if delivery.supplier:
            supplier_id = lookup.supplier(delivery.supplier).id
        lot_id, code, until = self._lot(delivery, the_item, supplier_id, expires)
        entry_id = posting.entry(
            "receive", delivery.on, note=delivery.note, source_ref=delivery.source_ref
        )
        source = posting.place("SUPPLIER")
        posting.move(entry_id, delivery.on, the_item.id, lot_id, amount, source, target)
        cost = delivery.cost_minor
        if cost is None and chosen is not None:
            cost = chosen.price_minor * packs
        posting.add(
            receipt,
            entry_id=entry_id,
            lot_id=lot_id,
            pack_id=chosen.id if chosen is not None else None,
            purchase_line_id=line_id,
            packs=packs,
            amount=amount,
            cost_minor=None if delivery.owner else cost,
        )
        booked = ReceivedLot(the_item.sku, the_item.name, code, until, packs, amount, the_item.unit)
        return Received(entry_id, (booked,), tuple(notes))

    def _same_date(sku: str, code: str, known: date | None, delivery: Delivery) -> date | None:
    if delivery.expires is not None and known is not None and delivery.expires != known:
        raise Refused(
            f"Lot {code} of {sku} is in the book until {known}; this delivery says "
            f"{delivery.expires}. Check the label; a lot has one date."
        )
    return known

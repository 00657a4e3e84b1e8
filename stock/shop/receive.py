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
    barcode,
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
from stock.shop.ordered import as_ordered, expected_on
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
    certificate_expiry: date | None = None
    data_sheet: str = ""
    tie: bool = False
    """Remember an unknown ``gtin`` as the code of the pack that ``sku`` and the others name."""


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
        lots = tuple(lot for one in booked for lot in one.lots)
        notes = [note for one in booked for note in one.notes]
        beside = [
            lot.item
            for delivery, one in zip(deliveries, booked, strict=True)
            for lot in one.lots
            if not (delivery.purchase or delivery.owner)
        ]
        return Received(booked[-1].entry, lots, (*notes, *expected_on(connection, beside)))

    return book.write(work)


class DeliveryPoster:
    """Posts deliveries one after another within one posting; the caller flushes."""

    def __init__(self, posting: Posting, lookup: Lookup) -> None:
        self.posting = posting
        self.lookup = lookup
        self._fresh_lots: dict[tuple[int, str, str], tuple[int, date | None]] = {}
        self._tied: set[str] = set()

    def post(self, delivery: Delivery) -> Received:
        """Append one delivery; see :func:`receive`."""
        posting, lookup = self.posting, self.lookup
        delivery = as_ordered(lookup.connection, delivery)
        chosen, the_item = _pack_and_item(lookup, delivery)
        packs, amount = _how_much(delivery, chosen, the_item)
        expires, notes = _expiry(delivery, the_item, chosen)
        notes += self._tie(delivery, the_item, chosen)
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

    def _tie(self, delivery: Delivery, the_item: Row[Any], chosen: Row[Any] | None) -> list[str]:
        """Tie the box's code to the pack, once; or say that it can be."""
        gtin = delivery.gtin.zfill(14)
        if not delivery.gtin or gtin in self._tied or self.lookup.pack_by_gtin(gtin) is not None:
            return []
        if not delivery.tie:
            return [f"Barcode {delivery.gtin} is tied to no item yet; --tie keeps it."]
        if chosen is None:
            raise Refused(f"{the_item.sku} has no pack to tie {delivery.gtin} to: import it.")
        self._tied.add(gtin)
        self.posting.add(barcode, gtin=gtin, pack_id=chosen.id)
        return [f"Barcode {delivery.gtin} is {the_item.sku}, pack {chosen.code}, from now on."]

    def _lot(
        self,
        delivery: Delivery,
        the_item: Row[Any],
        supplier_id: int | None,
        expires: date | None,
    ) -> tuple[int, str, date | None]:
        code = delivery.lot.strip() or f"{delivery.on:%Y%m%d}"
        key = (the_item.id, code, delivery.owner)
        if key in self._fresh_lots:
            lot_id, until = self._fresh_lots[key]
            return lot_id, code, _same_date(the_item.sku, code, until, delivery)
        known = self.lookup.lot(*key)
        if known is not None:
            return known.id, code, _same_date(the_item.sku, code, known.sealed_expiry, delivery)
        lot_id = self.posting.add(
            lot,
            item_id=the_item.id,
            code=code,
            owner=delivery.owner,
            sealed_expiry=expires,
            produced_on=delivery.produced,
            received_on=delivery.on,
            supplier_id=supplier_id,
            certificate=delivery.certificate,
            certificate_expiry=delivery.certificate_expiry,
            data_sheet=delivery.data_sheet,
        )
        self._fresh_lots[key] = (lot_id, expires)
        return lot_id, code, expires


def _pack_and_item(lookup: Lookup, delivery: Delivery) -> tuple[Row[Any] | None, Row[Any]]:
    if delivery.gtin:
        row = lookup.pack_by_gtin(delivery.gtin)
        if row is None and not delivery.sku:
            raise Unknown("item with the barcode", delivery.gtin)
        if row is not None:
            the_item = lookup.item_by_id(row.item_id)
            if delivery.sku and delivery.sku != the_item.sku:
                raise Refused(
                    f"Barcode {delivery.gtin} belongs to {the_item.sku}, not to {delivery.sku}."
                )
            return row, the_item
    if not delivery.sku:
        raise Refused("A delivery needs an item or the code on its box.")
    the_item = lookup.item(delivery.sku)
    offered = lookup.packs(the_item.id)
    if delivery.pack_code:
        offered = [row for row in offered if row.code == delivery.pack_code]
        if not offered:
            raise Unknown(f"pack of {the_item.sku}", delivery.pack_code)
    if delivery.supplier:
        of_supplier = [row for row in offered if row.supplier == delivery.supplier]
        offered = of_supplier or offered
    if len({row.amount for row in offered}) > 1 and delivery.amount is None:
        preferred = [row for row in offered if row.preferred]
        if len(preferred) != 1:
            sizes = ", ".join(
                f"{row.code} ({format_amount(row.amount, the_item.unit)})" for row in offered
            )
            raise Refused(f"{the_item.sku} comes in several packs: {sizes}. Say which pack.")
        offered = preferred
    return (offered[0] if offered else None), the_item


def _how_much(delivery: Delivery, chosen: Row[Any] | None, the_item: Row[Any]) -> tuple[int, int]:
    if delivery.packs is not None:
        if not 0 < delivery.packs <= MOST_PACKS:
            raise Refused(
                f"{the_item.sku}: {delivery.packs} packs were given; "
                f"expected a whole number from 1 to {MOST_PACKS:,}."
            )
        if delivery.amount is not None:
            return delivery.packs, delivery.amount
        if chosen is None:
            if the_item.unit == "each":
                return delivery.packs, delivery.packs * 1000
            raise Refused(f"{the_item.sku} has no pack in the book; give the amount instead.")
        return delivery.packs, delivery.packs * chosen.amount
    if delivery.amount is None or delivery.amount <= 0:
        raise Refused(f"{the_item.sku}: say how many packs or how much arrived.")
    if chosen is not None and delivery.amount % chosen.amount == 0:
        return delivery.amount // chosen.amount, delivery.amount
    return 0, delivery.amount


def _expiry(
    delivery: Delivery, the_item: Row[Any], chosen: Row[Any] | None
) -> tuple[date | None, list[str]]:
    notes: list[str] = []
    expires = delivery.expires
    life = (chosen.shelf_life_days if chosen is not None else None) or the_item.shelf_life_days
    if expires is None and life is not None:
        expires = (delivery.produced or delivery.on) + timedelta(days=life)
        notes.append(f"No date on the label: {life} days of shelf life assumed, until {expires}.")
    if expires is not None and expires < delivery.on:
        notes.append(f"This lot was past its date ({expires}) when it arrived: claim it.")
    if expires is not None and not 1990 <= expires.year <= 2150:
        raise Refused(f"{the_item.sku}: {expires} is not a date a label would carry.")
    if delivery.produced is not None and delivery.produced > delivery.on:
        raise Refused(f"{the_item.sku}: produced on {delivery.produced}, after it arrived.")
    return expires, notes


def _purchase_line(
    lookup: Lookup, ref: str, the_item: Row[Any], chosen: Row[Any] | None, packs: int
) -> tuple[int | None, list[str]]:
    order, connection = lookup.purchase(ref), lookup.connection
    if order.state in ("closed", "cancelled"):
        raise Refused(f"Purchase order {ref} is {order.state}; receive without it or reopen it.")
    lines = connection.execute(
        select(purchase_line, pack.c.amount)
        .join(pack, pack.c.id == purchase_line.c.pack_id)
        .where(purchase_line.c.purchase_id == order.id, pack.c.item_id == the_item.id)
        .order_by(purchase_line.c.id)
    ).all()
    if not lines:
        return None, [f"{the_item.sku} is not on purchase order {ref}: booked without a line."]
    exact = [line for line in lines if chosen is not None and line.pack_id == chosen.id]
    same_size = [line for line in lines if chosen is None or line.amount == chosen.amount]
    if not exact and not same_size:
        return None, [
            f"{ref} has {the_item.sku} in packs of {format_amount(lines[0].amount, the_item.unit)}"
            ", this is another: booked without a line, the order still waits for it."
        ]
    line = (exact or same_size)[0]
    come = packs_received(connection, [line.id]).get(line.id, 0)
    open_packs = line.packs - line.cancelled_packs - come
    if packs > open_packs:
        return line.id, [f"{packs} packs came, {max(open_packs, 0)} were open on {ref}."]
    return line.id, []


def packs_received(connection: Connection, line_ids: Sequence[int]) -> dict[int, int]:
    """Packs received so far by purchase line; undone deliveries do not count."""
    if not line_ids:
        return {}
    undone = select(entry.c.reverses).where(entry.c.reverses.is_not(None))
    rows = connection.execute(
        select(receipt.c.purchase_line_id, func.sum(receipt.c.packs))
        .where(receipt.c.purchase_line_id.in_(line_ids), receipt.c.entry_id.not_in(undone))
        .group_by(receipt.c.purchase_line_id)
    )
    return {line_id: int(packs) for line_id, packs in rows}


def settle_purchases(connection: Connection, refs: Sequence[str]) -> None:
    """Bring the state of these purchase orders in line with what was received."""
    for ref in dict.fromkeys(refs):
        order = connection.execute(
            select(purchase_order).where(purchase_order.c.ref == ref)
        ).one_or_none()
        if order is None or order.state == "cancelled":
            continue
        lines = connection.execute(
            select(purchase_line).where(purchase_line.c.purchase_id == order.id)
        ).all()
        come = packs_received(connection, [line.id for line in lines])
        open_lines = [
            line for line in lines if come.get(line.id, 0) < line.packs - line.cancelled_packs
        ]
        if not open_lines:
            state = "closed"
        elif come:
            state = "part received"
        else:
            state = "draft" if order.sent_on is None else "sent"
        if state != order.state:
            last = connection.scalar(
                select(func.max(entry.c.day))
                .join(receipt, receipt.c.entry_id == entry.c.id)
                .where(receipt.c.purchase_line_id.in_([line.id for line in lines]))
            )
            connection.execute(
                update(purchase_order)
                .where(purchase_order.c.id == order.id)
                .values(state=state, closed_on=last if state == "closed" else None)
            )


def _same_date(sku: str, code: str, known: date | None, delivery: Delivery) -> date | None:
    if delivery.expires is not None and known is not None and delivery.expires != known:
        raise Refused(
            f"Lot {code} of {sku} is in the book until {known}; this delivery says "
            f"{delivery.expires}. Check the label; a lot has one date."
        )
    return known

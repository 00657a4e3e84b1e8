"""Taking an entry back, and putting right a delivery's lot code or date.

What the book allows is decided in ``stock.book.undo``; here orders and purchases follow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sqlalchemy import Connection, select, update

from stock.book.containers import container_now
from stock.book.lots import effective_expiry
from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import (
    container,
    container_event,
    customer_order,
    entry,
    item,
    lot,
    movement,
    order_line,
    pack,
    place,
    print_run,
    purchase_line,
    purchase_order,
    receipt,
    supplier,
)
from stock.book.undo import RELABELLED, Undone
from stock.book.undo import undo as undo_posting
from stock.errors import Refused, Unknown
from stock.shop.choosing import find_item
from stock.shop.done import Done, done
from stock.shop.lookup import Lookup
from stock.shop.printing import settle_orders
from stock.shop.receive import Delivery, DeliveryPoster, Received, settle_purchases


@dataclass(frozen=True, slots=True)
class Undo:
    """An entry taken back."""

    entry: int
    undid: int
    kind: str
    day: date

    def to_json(self) -> dict[str, Any]:
        """The new entry and the one it took back."""
        return {
            "entry": self.entry,
            "undid": self.undid,
            "kind": self.kind,
            "day": self.day.isoformat(),
        }

    def __str__(self) -> str:
        return f"Entry {self.entry}: took back entry {self.undid} ({self.kind})"


def undo(book: Book, entry_id: int, *, on: date, who: str = "", note: str = "") -> Undo:
    """Post the opposite of an entry; orders and purchases it settled open again.

    Raises:
        Unknown: No such entry.
        CannotUndo: Already undone, itself an undo, or later entries rest on it.
    """

    def work(posting: Posting) -> Undone:
        undone = undo_posting(posting, entry_id, on, note=note)
        posting.flush()
        _settle(posting.connection, entry_id)
        return undone

    undone = post(book, work, who=who)
    return Undo(undone.entry, undone.undid, undone.kind, undone.day)


def _settle(connection: Connection, entry_id: int) -> None:
    orders = connection.scalars(
        select(customer_order.c.ref)
        .join(order_line, order_line.c.order_id == customer_order.c.id)
        .join(print_run, print_run.c.order_line_id == order_line.c.id)
        .where(print_run.c.entry_id == entry_id)
    ).all()
    if orders:
        settle_orders(connection, list(orders))
    purchases = connection.scalars(
        select(purchase_order.c.ref)
        .join(purchase_line, purchase_line.c.purchase_id == purchase_order.c.id)
        .join(receipt, receipt.c.purchase_line_id == purchase_line.c.id)
        .where(receipt.c.entry_id == entry_id)
    ).all()
    if purchases:
        settle_purchases(connection, list(purchases))


def replace_lot(
    book: Book,
    entry_id: int,
    *,
    on: date,
    lot_code: str,
    expires: date | None = None,
    who: str = "",
    note: str = "",
) -> Received:
    """Put right a delivery booked under the wrong lot code: undone, booked anew.

    The new entry keeps the delivery's own day, pack, cost and purchase line. A wrong date alone is
    put right by :func:`correct_expiry`.

    Raises:
        CannotUndo: Some of it was used since.
        Refused: The entry is no delivery of one lot, or nothing was to be changed.
    """
    if not lot_code.strip():
        raise Refused("Say the right lot code.")

    def work(posting: Posting) -> Received:
        delivery = _delivery_of(posting.connection, entry_id)
        undo_posting(posting, entry_id, on, note=note or "wrong lot")
        posting.flush()
        _settle(posting.connection, entry_id)
        right = replace(
            delivery,
            lot=lot_code,
            expires=expires or delivery.expires,
            note=note or f"in place of entry {entry_id}",
        )
        received = DeliveryPoster(posting, Lookup(posting.connection)).post(right)
        posting.flush()
        _settle(posting.connection, entry_id)
        return received

    return post(book, work, who=who)


def _delivery_of(connection: Connection, entry_id: int) -> Delivery:
    rows = connection.execute(
        select(
            receipt.c.packs,
            receipt.c.amount,
            receipt.c.cost_minor,
            entry.c.day,
            lot.c.code,
            lot.c.sealed_expiry,
            lot.c.produced_on,
            lot.c.certificate,
            lot.c.certificate_expiry,
            lot.c.data_sheet,
            lot.c.owner,
            item.c.sku,
            pack.c.code.label("pack"),
            supplier.c.code.label("supplier"),
            purchase_order.c.ref.label("purchase"),
            place.c.code.label("place"),
        )
        .select_from(receipt)
        .join(entry, entry.c.id == receipt.c.entry_id)
        .join(movement, movement.c.entry_id == receipt.c.entry_id)
        .join(place, place.c.id == movement.c.to_place_id)
        .join(lot, lot.c.id == receipt.c.lot_id)
        .join(item, item.c.id == lot.c.item_id)
        .outerjoin(pack, pack.c.id == receipt.c.pack_id)
        .outerjoin(supplier, supplier.c.id == pack.c.supplier_id)
        .outerjoin(purchase_line, purchase_line.c.id == receipt.c.purchase_line_id)
        .outerjoin(purchase_order, purchase_order.c.id == purchase_line.c.purchase_id)
        .where(receipt.c.entry_id == entry_id, movement.c.lot_id == receipt.c.lot_id)
    ).all()
    if len(rows) != 1:
        raise Refused(f"Entry {entry_id} is not the delivery of one lot.")
    row = rows[0]
    return Delivery(
        on=row.day,
        sku=row.sku,
        packs=row.packs or None,
        amount=row.amount,
        lot=row.code,
        expires=row.sealed_expiry,
        produced=row.produced_on,
        supplier=row.supplier or "",
        purchase=row.purchase or "",
        pack_code=row.pack or "",
        cost_minor=row.cost_minor,
        certificate=row.certificate,
        certificate_expiry=row.certificate_expiry,
        data_sheet=row.data_sheet,
        owner=row.owner,
        place=row.place,
    )


def correct_expiry(
    book: Book,
    sku: str,
    lot_code: str,
    expires: date | None,
    *,
    on: date,
    owner: str = "",
    who: str = "",
    note: str = "",
) -> Done:
    """Put the date on a lot right (None: it does not expire); its open containers follow.

    Raises:
        Unknown: No such item or lot.
    """

    def work(posting: Posting) -> Done:
        known = find_item(posting, sku)
        row = posting.connection.execute(
            select(lot).where(
                lot.c.item_id == known.id, lot.c.code == lot_code, lot.c.owner == owner
            )
        ).one_or_none()
        if row is None:
            raise Unknown(f"lot of {sku}", lot_code)
        said = f"{sku} lot {lot_code}: date {row.sealed_expiry} became {expires}"
        entry_id = posting.entry(RELABELLED, on, note="; ".join(filter(None, (said, note))))
        posting.connection.execute(
            update(lot).where(lot.c.id == row.id).values(sealed_expiry=expires)
        )
        alive = posting.connection.scalars(
            select(container.c.id).where(container.c.lot_id == row.id, container.c.state != "empty")
        ).all()
        for container_id in alive:
            one = container_now(posting, container_id)
            posting.add(
                container_event,
                entry_id=entry_id,
                container_id=one.id,
                state=one.state,
                opened_on=one.opened_on,
                effective_expiry=effective_expiry(expires, one.opened_on, known.open_life_days),
                place_id=one.place_id,
            )
        return done(posting, entry_id, [said])

    return post(book, work, who=who)

"""Purchase orders: draft → sent → part received → closed or cancelled; read, changed, re-timed.

Drafts come from accepting the weekly list (``stock.shop.accepting``), goods by
``stock.shop.receive``. Amounts are base units, money is minor units inside and the main unit in
JSON. What is received is never stored here: it is counted from the deliveries.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, Row, Select, select, update

from stock.book.opening import Book
from stock.book.tables import item, pack, purchase_line, purchase_order, supplier
from stock.errors import Refused, Unknown
from stock.plan.decisions import main_unit
from stock.shop.finding import find
from stock.shop.receive import packs_received, settle_purchases

OPEN_STATES = ("draft", "sent", "part received")


@dataclass(frozen=True, slots=True)
class PurchaseLine:
    """One line: packs ordered, come, cancelled; ``amount`` is base units of one pack."""

    item: str
    name: str
    pack: str
    packs: int
    received_packs: int
    cancelled_packs: int
    amount: float
    unit: str
    price_minor: int
    promised_on: date | None
    why: tuple[str, ...]

    @property
    def open_packs(self) -> int:
        """Packs still to come."""
        return max(self.packs - self.cancelled_packs - self.received_packs, 0)

    def to_json(self) -> dict[str, Any]:
        """With the amount still to come in base units."""
        return {
            "item": self.item,
            "name": self.name,
            "pack": self.pack,
            "packs": self.packs,
            "received_packs": self.received_packs,
            "cancelled_packs": self.cancelled_packs,
            "open_packs": self.open_packs,
            "open_amount": self.open_packs * self.amount,
            "unit": self.unit,
            "price": main_unit(self.price_minor),
            "cost": main_unit(self.price_minor * self.packs),
            "promised_on": self.promised_on.isoformat() if self.promised_on else None,
            "why": list(self.why),
        }


@dataclass(frozen=True, slots=True)
class Purchase:
    """A purchase order with its lines."""

    ref: str
    supplier: str
    supplier_name: str
    state: str
    created_on: date
    sent_on: date | None
    promised_on: date | None
    closed_on: date | None
    who: str
    lines: tuple[PurchaseLine, ...]
    currency: str = ""
    supplier_email: str = ""

    @property
    def cost_minor(self) -> int:
        """What was ordered and not cancelled, minor units, without freight."""
        return sum(line.price_minor * (line.packs - line.cancelled_packs) for line in self.lines)

    def to_json(self) -> dict[str, Any]:
        """Stable keys; money in the main unit of ``currency``."""

        def day(value: date | None) -> str | None:
            return value.isoformat() if value else None

        return {
            "purchase": self.ref,
            "supplier": self.supplier,
            "state": self.state,
            "created_on": day(self.created_on),
            "sent_on": day(self.sent_on),
            "promised_on": day(self.promised_on),
            "closed_on": day(self.closed_on),
            "who": self.who,
            "cost": main_unit(self.cost_minor),
            "currency": self.currency,
            "lines": [line.to_json() for line in self.lines],
        }


def list_purchases(
    book: Book, *, supplier_code: str = "", state: str = "", every: bool = False
) -> tuple[Purchase, ...]:
    """Purchase orders, newest first; only open ones unless ``every`` or a state is asked for.

    Raises:
        Unknown: No such supplier.
    """
    with book.reading() as connection:
        query = _orders()
        if supplier_code:
            find(connection, supplier, supplier.c.code, supplier_code, "supplier")
            query = query.where(supplier.c.code == supplier_code)
        if state:
            query = query.where(purchase_order.c.state == state)
        elif not every:
            query = query.where(purchase_order.c.state.in_(OPEN_STATES))
        newest = query.order_by(purchase_order.c.created_on.desc(), purchase_order.c.id.desc())
        return _with_lines(connection, connection.execute(newest).all())


def show_purchase(book: Book, ref: str) -> Purchase:
    """One purchase order.

    Raises:
        Unknown: None has that reference.
    """
    with book.reading() as connection:
        return read_purchase(connection, ref)


def read_purchase(connection: Connection, ref: str) -> Purchase:
    """One purchase order, within the caller's transaction."""
    find(connection, purchase_order, purchase_order.c.ref, ref, "purchase order")
    rows = connection.execute(_orders().where(purchase_order.c.ref == ref)).all()
    return _with_lines(connection, rows)[0]


def _orders() -> Select[Any]:
    return select(
        purchase_order,
        supplier.c.code.label("supplier"),
        supplier.c.name.label("supplier_name"),
        supplier.c.currency,
        supplier.c.email,
    ).join(supplier, supplier.c.id == purchase_order.c.supplier_id)


def _with_lines(connection: Connection, orders: Sequence[Row[Any]]) -> tuple[Purchase, ...]:
    from stock.shop.settings import load_settings

    currency = load_settings()["currency"]
    wanted = {row.id for row in orders}
    lines: dict[int, list[Row[Any]]] = {order_id: [] for order_id in wanted}
    query = (
        select(purchase_line, pack.c.code, pack.c.amount, item.c.sku, item.c.name, item.c.unit)
        .join(pack, pack.c.id == purchase_line.c.pack_id)
        .join(item, item.c.id == pack.c.item_id)
        .order_by(item.c.sku, pack.c.code)
    )
    if len(wanted) <= 500:
        query = query.where(purchase_line.c.purchase_id.in_(wanted))
    for row in connection.execute(query):
        if row.purchase_id in lines:
            lines[row.purchase_id].append(row)
    come: dict[int, int] = {}
    ids = [row.id for found in lines.values() for row in found]
    for start in range(0, len(ids), 500):
        come |= packs_received(connection, ids[start : start + 500])
    return tuple(
        Purchase(
            ref=row.ref,
            supplier=row.supplier,
            supplier_name=row.supplier_name,
            state=row.state,
            created_on=row.created_on,
            sent_on=row.sent_on,
            promised_on=row.promised_on,
            closed_on=row.closed_on,
            who=row.who,
            lines=tuple(_line(one, come.get(one.id, 0)) for one in lines[row.id]),
            currency=row.currency or currency,
            supplier_email=row.email,
        )
        for row in orders
    )


def _line(row: Row[Any], booked: int) -> PurchaseLine:
    stated = 0
    if row.stated_received_on is not None:
        stated = row.packs if row.stated_received_packs is None else row.stated_received_packs
    return PurchaseLine(
        item=row.sku,
        name=row.name,
        pack=row.code,
        packs=row.packs,
        received_packs=max(booked, stated),
        cancelled_packs=row.cancelled_packs,
        amount=row.amount / 1000,
        unit=row.unit,
        price_minor=row.price_minor,
        promised_on=row.promised_on,
        why=tuple(row.why),
    )


def send_purchase(book: Book, ref: str, *, on: date, promised_on: date | None = None) -> Purchase:
    """A draft went out to its supplier on ``on``; ``promised_on`` is the day it was promised for.

    Raises:
        Refused: It is no draft, has no line left, or is promised for a day before it was sent.
    """
    if promised_on is not None and promised_on < on:
        raise Refused(f"{ref}: promised for {promised_on}, before it is sent on {on}.")

    def work(connection: Connection) -> Purchase:
        row = _locked(connection, ref)
        if row.state != "draft":
            sent = f", sent on {row.sent_on}" if row.sent_on else ""
            raise Refused(f"Purchase order {ref} is {row.state}{sent}; only a draft can be sent.")
        if on < row.created_on:
            raise Refused(f"{ref} was made on {row.created_on}; it cannot go out on {on}.")
        if not any(line.open_packs for line in read_purchase(connection, ref).lines):
            raise Refused(f"Purchase order {ref} has nothing left to order; cancel it.")
        connection.execute(
            update(purchase_order)
            .where(purchase_order.c.id == row.id)
            .values(state="sent", sent_on=on, promised_on=promised_on or row.promised_on)
        )
        return read_purchase(connection, ref)

    return book.write(work)


def cancel_purchase(
    book: Book, ref: str, *, on: date, sku: str = "", packs: int | None = None, reason: str = ""
) -> Purchase:
    """Cancel what is still open of an order, of one item on it, or so many packs of that item.

    Raises:
        Refused: Nothing is open there, or fewer packs than asked.
        Unknown: No such order, or the item is not on it.
    """

    def work(connection: Connection) -> Purchase:
        row = _locked(connection, ref)
        if row.state not in OPEN_STATES:
            raise Refused(f"Purchase order {ref} is {row.state}; there is nothing to cancel.")
        lines = _rows_of(connection, row.id, ref, sku)
        come = packs_received(connection, [line.id for line in lines])
        left = packs
        for line in lines:
            open_packs = max(line.packs - line.cancelled_packs - come.get(line.id, 0), 0)
            off = open_packs if left is None else min(open_packs, left)
            left = None if left is None else left - off
            if off:
                said = f"{on}: {off} packs cancelled" + (f": {reason}" if reason else "") + "."
                _change(connection, line, said, cancelled_packs=line.cancelled_packs + off)
        if left:
            raise Refused(
                f"{ref}: {packs} packs of {sku} were to be cancelled, {(packs or 0) - left} are "
                "open."
            )
        _settle(connection, row.id, ref, on)
        return read_purchase(connection, ref)

    if packs is not None and (packs < 1 or not sku):
        raise Refused("Packs to cancel are a whole number from 1, of one item of the order.")
    return book.write(work)


def change_packs(book: Book, ref: str, sku: str, packs: int, *, on: date) -> Purchase:
    """Order another number of packs of an item on a draft; 0 takes the line off.

    Raises:
        Refused: The order is no draft, or no such number of packs can be.
    """
    from stock.shop.accepting import MOST_PACKS, packs_price

    def work(connection: Connection) -> Purchase:
        row = _locked(connection, ref)
        if row.state != "draft":
            raise Refused(f"Purchase order {ref} is {row.state}; only a draft can be changed.")
        lines = _rows_of(connection, row.id, ref, sku)
        if len(lines) > 1:
            raise Refused(f"{sku} is on {ref} in several packs; cancel the one not wanted.")
        if packs == 0:
            _change(connection, lines[0], f"{on}: taken off.", cancelled_packs=lines[0].packs)
        else:
            bought = connection.execute(select(pack).where(pack.c.id == lines[0].pack_id)).one()
            _change(
                connection,
                lines[0],
                f"{on}: {packs} packs instead of {lines[0].packs}, by hand.",
                packs=packs,
                cancelled_packs=0,
                price_minor=packs_price(bought, packs),
            )
        _settle(connection, row.id, ref, on)
        return read_purchase(connection, ref)

    if not 0 <= packs <= MOST_PACKS:
        raise Refused(f"{sku}: {packs} packs were given; expected 0 to {MOST_PACKS:,}.")
    return book.write(work)


def retime_purchase(
    book: Book, ref: str, promised_on: date, *, on: date, reason: str, sku: str = ""
) -> Purchase:
    """The supplier names another day: for the whole order or one item on it; the reason is kept.

    Raises:
        Refused: Nothing is open, no reason is given, or the day is before the order.
    """
    if not reason.strip():
        raise Refused(f"{ref}: say why the day moves; the reason is kept with the order.")

    def work(connection: Connection) -> Purchase:
        row = _locked(connection, ref)
        if row.state not in OPEN_STATES:
            raise Refused(f"Purchase order {ref} is {row.state}; no delivery is expected.")
        if promised_on < (row.sent_on or row.created_on):
            raise Refused(f"{ref}: {promised_on} is before the order itself.")
        for line in _rows_of(connection, row.id, ref, sku):
            before = line.promised_on or row.promised_on
            moved = f"moved from {before} to" if before else "set to"
            said = f"{on}: promised day {moved} {promised_on}: {reason.strip()}"
            _change(connection, line, said, promised_on=promised_on)
        if not sku:
            connection.execute(
                update(purchase_order)
                .where(purchase_order.c.id == row.id)
                .values(promised_on=promised_on)
            )
        return read_purchase(connection, ref)

    return book.write(work)


def _locked(connection: Connection, ref: str) -> Row[Any]:
    """The order's row, so that two stations do not change it at once."""
    find(connection, purchase_order, purchase_order.c.ref, ref, "purchase order")
    wanted = select(purchase_order).where(purchase_order.c.ref == ref)
    if connection.dialect.name == "postgresql":
        wanted = wanted.with_for_update()
    return connection.execute(wanted).one()


def _rows_of(connection: Connection, purchase_id: int, ref: str, sku: str) -> list[Row[Any]]:
    rows = connection.execute(
        select(purchase_line, item.c.sku)
        .join(pack, pack.c.id == purchase_line.c.pack_id)
        .join(item, item.c.id == pack.c.item_id)
        .where(purchase_line.c.purchase_id == purchase_id)
        .order_by(purchase_line.c.id)
    ).all()
    if not sku:
        return list(rows)
    found = [row for row in rows if row.sku == sku]
    if not found:
        raise Unknown(f"line of {ref} for", sku, sorted({row.sku for row in rows})[:3])
    return found


def _change(connection: Connection, line: Row[Any], said: str, **values: Any) -> None:
    connection.execute(
        update(purchase_line)
        .where(purchase_line.c.id == line.id)
        .values(why=[*line.why, said], **values)
    )


def _settle(connection: Connection, purchase_id: int, ref: str, on: date) -> None:
    """After a change of packs: closed when all came, cancelled when none came and none is open."""
    settle_purchases(connection, [ref])
    lines = read_purchase(connection, ref).lines
    if not any(line.open_packs or line.received_packs for line in lines):
        connection.execute(
            update(purchase_order)
            .where(purchase_order.c.id == purchase_id)
            .values(state="cancelled", closed_on=on)
        )

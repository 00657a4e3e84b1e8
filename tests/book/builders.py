"""Small builders of book rows: ``an_item(book, "W-1")``, ``a_lot(book, "W-1", "L1", 500)``.

Amounts are base units (mL, g, each); days are 2026-03-02 (a Monday) unless given.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy import Table, insert, select

from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import item, lot, pack, place, printer, receipt, supplier
from stock.units import THOUSAND

MONDAY = date(2026, 3, 2)
FAR = date(2027, 6, 30)


def a_row(book: Book, table: Table, **values: Any) -> int:
    """Insert one row and return its id."""
    return book.write(
        lambda connection: int(
            connection.execute(insert(table).values(**values).returning(table.c.id)).scalar_one()
        )
    )


def the_id(book: Book, table: Table, **values: Any) -> int:
    """The id of the one row with these values."""
    with book.reading() as connection:
        query = select(table.c.id)
        for name, value in values.items():
            query = query.where(table.c[name] == value)
        return int(connection.execute(query).scalar_one())


def an_item(
    book: Book, sku: str = "W-1", *, kind: str = "ink", unit: str = "mL", **values: Any
) -> int:
    """An item; ink unless told."""
    return a_row(book, item, sku=sku, kind=kind, unit=unit, **values)


def a_pack(
    book: Book,
    sku: str = "W-1",
    amount: float = 500,
    *,
    code: str = "",
    supplier_code: str = "S",
    price_minor: int = 10_000,
    unusable_rest: float = 0,
    **values: Any,
) -> int:
    """A pack of an item, from a supplier made when missing."""
    with book.reading() as connection:
        supplier_id = connection.scalar(
            select(supplier.c.id).where(supplier.c.code == supplier_code)
        )
    if supplier_id is None:
        supplier_id = a_row(book, supplier, code=supplier_code)
    return a_row(
        book,
        pack,
        item_id=the_id(book, item, sku=sku),
        supplier_id=supplier_id,
        code=code or f"{sku}-{amount:g}",
        amount=round(amount * THOUSAND),
        price_minor=price_minor,
        unusable_rest=round(unusable_rest * THOUSAND),
        **values,
    )


def a_printer(book: Book, code: str = "P1") -> int:
    """A printer."""
    return a_row(book, printer, code=code)


def a_slot(
    book: Book,
    code: str = "W1",
    *,
    channel: str = "W",
    feed: str = "cartridge",
    printer_code: str = "P1",
    sku: str | None = None,
    **values: Any,
) -> int:
    """A slot of a printer made when missing."""
    with book.reading() as connection:
        printer_id = connection.scalar(select(printer.c.id).where(printer.c.code == printer_code))
    return a_row(
        book,
        place,
        code=code,
        kind="slot",
        channel=channel,
        feed=feed,
        printer_id=printer_id or a_printer(book, printer_code),
        item_id=the_id(book, item, sku=sku) if sku else None,
        **values,
    )


def a_shelf(book: Book, code: str = "COLD") -> int:
    """A second shelf."""
    return a_row(book, place, code=code, kind="shelf")


def a_lot(
    book: Book,
    sku: str = "W-1",
    code: str = "L1",
    amount: float = 500,
    *,
    expires: date | None = FAR,
    on: date = MONDAY,
    owner: str = "",
    cost_minor: int | None = None,
    shelf: str = "SHELF",
    pack_id: int | None = None,
    **values: Any,
) -> int:
    """A lot delivered to a shelf; its id. A lot already there gets more."""

    def work(posting: Posting) -> int:
        item_id = posting.connection.execute(
            select(item.c.id).where(item.c.sku == sku)
        ).scalar_one()
        lot_id = posting.connection.scalar(
            select(lot.c.id).where(
                lot.c.item_id == item_id, lot.c.code == code, lot.c.owner == owner
            )
        )
        if lot_id is None:
            lot_id = posting.add(
                lot,
                item_id=item_id,
                code=code,
                owner=owner,
                sealed_expiry=expires,
                received_on=on,
                **values,
            )
        held = round(amount * THOUSAND)
        entry_id = posting.entry("receive", on)
        posting.move(
            entry_id, on, item_id, lot_id, held, posting.place("SUPPLIER"), posting.place(shelf)
        )
        posting.add(
            receipt,
            entry_id=entry_id,
            lot_id=lot_id,
            pack_id=pack_id,
            packs=1,
            amount=held,
            cost_minor=cost_minor,
        )
        return lot_id

    return post(book, work, who="test")


def held(book: Book, place_code: str, sku: str | None = None) -> dict[tuple[str, str], float]:
    """What a place holds by (lot code, container code), in base units."""
    from stock.book.tables import balance, container

    with book.reading() as connection:
        query = (
            select(lot.c.code, container.c.code, balance.c.amount)
            .select_from(balance)
            .join(place, place.c.id == balance.c.place_id)
            .join(lot, lot.c.id == balance.c.lot_id)
            .join(item, item.c.id == balance.c.item_id)
            .outerjoin(container, container.c.id == balance.c.container_id)
            .where(place.c.code == place_code)
        )
        if sku is not None:
            query = query.where(item.c.sku == sku)
        return {
            (lot_code, container_code or ""): amount / THOUSAND
            for lot_code, container_code, amount in connection.execute(query)
        }

"""Certificates and data sheets: kept with a lot, found from an order, listed before they expire.

The book keeps references (a number, a file's name), not the papers themselves.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from sqlalchemy import Connection, Row, select, update

from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import (
    balance,
    customer_order,
    item,
    lot,
    lot_parent,
    movement,
    order_line,
    print_run,
    supplier,
)
from stock.book.undo import RELABELLED, reversed_entries
from stock.errors import Refused, Unknown
from stock.shop.choosing import find_item
from stock.shop.done import Done, done
from stock.shop.finding import find


@dataclass(frozen=True, slots=True)
class LotPapers:
    """The papers of one lot. ``days``: until its certificate expires, negative when past."""

    item: str
    name: str
    lot: str
    supplier: str
    certificate: str
    certificate_expiry: date | None
    data_sheet: str
    on_hand: bool
    days: int | None = None

    def to_json(self) -> dict[str, Any]:
        """Stable keys; dates ISO, None where nothing is kept."""
        expiry = self.certificate_expiry
        return {
            "item": self.item,
            "lot": self.lot,
            "supplier": self.supplier or None,
            "certificate": self.certificate or None,
            "certificate_expiry": expiry.isoformat() if expiry else None,
            "days": self.days,
            "data_sheet": self.data_sheet or None,
            "on_hand": self.on_hand,
        }


def papers_of_order(book: Book, order: str, day: date) -> tuple[LotPapers, ...]:
    """Papers of every lot the order was printed from, a mix's concentrate included.

    Raises:
        Unknown: No such order.
    """
    with book.reading() as connection:
        found = find(connection, customer_order, customer_order.c.ref, order, "order")
        lots = set(
            connection.scalars(
                select(movement.c.lot_id)
                .join(print_run, print_run.c.entry_id == movement.c.entry_id)
                .join(order_line, order_line.c.id == print_run.c.order_line_id)
                .where(
                    order_line.c.order_id == found.id,
                    print_run.c.entry_id.not_in(reversed_entries()),
                )
                .distinct()
            )
        )
        return _papers(connection, lots | _parents(connection, lots), day)


def _parents(connection: Connection, lots: Iterable[int]) -> set[int]:
    above: dict[int, set[int]] = {}
    for lot_id, parent_id in connection.execute(
        select(lot_parent.c.lot_id, lot_parent.c.parent_id)
    ):
        above.setdefault(lot_id, set()).add(parent_id)
    found: set[int] = set()
    ahead = list(lots)
    while ahead:
        for parent_id in above.get(ahead.pop(), ()):
            if parent_id not in found:
                found.add(parent_id)
                ahead.append(parent_id)
    return found


def _papers(connection: Connection, lot_ids: Iterable[int], day: date) -> tuple[LotPapers, ...]:
    wanted = sorted(lot_ids)
    rows: list[Row[Any]] = []
    for start in range(0, len(wanted), 500):
        part = wanted[start : start + 500]
        rows += connection.execute(_query().where(lot.c.id.in_(part))).all()
    held = set(connection.scalars(select(balance.c.lot_id).where(balance.c.amount > 0)))
    return tuple(
        LotPapers(
            row.sku,
            row.name,
            row.code,
            row.supplier or "",
            row.certificate,
            row.certificate_expiry,
            row.data_sheet,
            row.id in held,
            (row.certificate_expiry - day).days if row.certificate_expiry else None,
        )
        for row in sorted(rows, key=lambda row: (row.sku, row.id))
    )


def _query() -> Any:
    return (
        select(lot, item.c.sku, item.c.name, supplier.c.code.label("supplier"))
        .join(item, item.c.id == lot.c.item_id)
        .outerjoin(supplier, supplier.c.id == lot.c.supplier_id)
    )


def expiring_certificates(book: Book, day: date, *, within_days: int = 90) -> tuple[LotPapers, ...]:
    """Papers of lots on hand whose certificate expires within so many days or has expired."""
    last = day + timedelta(days=within_days)
    with book.reading() as connection:
        ids = connection.scalars(
            select(lot.c.id)
            .join(balance, balance.c.lot_id == lot.c.id)
            .where(lot.c.certificate_expiry <= last, balance.c.amount > 0)
            .distinct()
        ).all()
        found = _papers(connection, ids, day)
    return tuple(sorted(found, key=lambda one: (one.days or 0, one.item, one.lot)))


def keep_papers(
    book: Book,
    sku: str,
    lot_code: str,
    *,
    on: date,
    certificate: str | None = None,
    expires: date | None = None,
    data_sheet: str | None = None,
    owner: str = "",
    who: str = "",
) -> Done:
    """Keep a certificate's reference and date, or a data sheet's reference, with a lot.

    What is None stays as it is. The entry notes what was given.

    Raises:
        Unknown: No such item or lot.
        Refused: Nothing to keep, or a reference longer than 200 characters.
    """
    values: dict[str, Any] = {}
    for column, value in (("certificate", certificate), ("data_sheet", data_sheet)):
        if value is not None:
            if len(value) > 200:
                raise Refused(f"A reference of {len(value)} characters; expected 200 at most.")
            values[column] = value.strip()
    if expires is not None:
        values["certificate_expiry"] = expires
    if not values:
        raise Refused("Say which certificate or data sheet is to be kept.")

    def work(posting: Posting) -> Done:
        known = find_item(posting, sku)
        row = posting.connection.execute(
            select(lot).where(
                lot.c.item_id == known.id, lot.c.code == lot_code, lot.c.owner == owner
            )
        ).one_or_none()
        if row is None:
            raise Unknown(f"lot of {sku}", lot_code)
        said = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in values.items())
        note = f"{sku} lot {lot_code}: {said}"
        entry_id = posting.entry(RELABELLED, on, note=note[:500])
        posting.connection.execute(update(lot).where(lot.c.id == row.id).values(**values))
        return done(posting, entry_id, [note])

    return post(book, work, who=who)

"""Order lines still to print, and orders by week and stage."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select

from stock.book.opening import Book
from stock.book.tables import artwork, customer_order, item, order_line, printer
from stock.shop.printing import pieces_printed


@dataclass(frozen=True, slots=True)
class Job:
    """One order line with pieces left to print."""

    order: str
    line: int
    stage: str
    due_on: date
    blank: str
    quantity: int
    left: int
    artwork: str
    location: str
    width_cm: float | None
    printer: str
    customer: str
    owner: str


def open_jobs(
    book: Book, *, stages: tuple[str, ...] = ("confirmed", "released"), most: int = 2000
) -> list[Job]:
    """Order lines of these stages that are not fully printed, soonest due first."""
    with book.reading() as connection:
        rows = connection.execute(
            select(
                order_line.c.id,
                customer_order.c.ref,
                order_line.c.line,
                customer_order.c.stage,
                order_line.c.due_on,
                item.c.sku,
                order_line.c.quantity,
                artwork.c.code.label("artwork"),
                order_line.c.location,
                order_line.c.width_cm,
                printer.c.code.label("printer"),
                customer_order.c.customer,
                order_line.c.owner,
            )
            .join(customer_order, customer_order.c.id == order_line.c.order_id)
            .join(item, item.c.id == order_line.c.blank_id)
            .outerjoin(artwork, artwork.c.id == order_line.c.artwork_id)
            .outerjoin(printer, printer.c.id == order_line.c.printer_id)
            .where(customer_order.c.stage.in_(stages))
            .order_by(order_line.c.due_on, customer_order.c.ref, order_line.c.line)
            .limit(most)
        ).all()
        printed = pieces_printed(connection, [row.id for row in rows]) if rows else {}
    return [
        Job(
            row.ref,
            row.line,
            row.stage,
            row.due_on,
            row.sku,
            row.quantity,
            row.quantity - printed.get(row.id, 0),
            row.artwork or "",
            row.location,
            row.width_cm,
            row.printer or "",
            row.customer,
            row.owner,
        )
        for row in rows
        if row.quantity > printed.get(row.id, 0)
    ]

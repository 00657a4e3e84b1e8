"""Order lines still to print, and orders by week and stage."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Integer, Select, cast, func, select

from stock.book.opening import Book
from stock.book.tables import artwork, customer_order, item, order_line, printer
from stock.shop.printing import good_by_line


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


def open_jobs(book: Book, *, stages: tuple[str, ...] = ("confirmed", "released")) -> list[Job]:
    """Order lines of these stages that are not fully printed, soonest due first."""
    printed = good_by_line().subquery()
    left = cast(order_line.c.quantity - func.coalesce(printed.c.good, 0), Integer)
    query: Select[Any] = (
        select(
            customer_order.c.ref,
            order_line.c.line,
            customer_order.c.stage,
            order_line.c.due_on,
            item.c.sku,
            order_line.c.quantity,
            left,
            func.coalesce(artwork.c.code, ""),
            order_line.c.location,
            order_line.c.width_cm,
            func.coalesce(printer.c.code, ""),
            customer_order.c.customer,
            order_line.c.owner,
        )
        .join(customer_order, customer_order.c.id == order_line.c.order_id)
        .join(item, item.c.id == order_line.c.blank_id)
        .outerjoin(printed, printed.c.order_line_id == order_line.c.id)
        .outerjoin(artwork, artwork.c.id == order_line.c.artwork_id)
        .outerjoin(printer, printer.c.id == order_line.c.printer_id)
        .where(customer_order.c.stage.in_(stages), left > 0)
        .order_by(order_line.c.due_on, customer_order.c.ref, order_line.c.line)
    )
    with book.reading() as connection:
        return [Job(*row) for row in connection.execute(query)]

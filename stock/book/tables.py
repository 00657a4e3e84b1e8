"""Every table of the book under one name, for queries and for Alembic."""

from __future__ import annotations

from stock.book.catalogue import (
    artwork,
    artwork_share,
    barcode,
    book_setting,
    item,
    pack,
    place,
    print_mode,
    printer,
    rate,
    supplier,
)
from stock.book.record import (
    APPEND_ONLY,
    balance,
    container,
    container_event,
    entry,
    lot,
    lot_parent,
    movement,
    overrun,
    print_run,
    reading,
    receipt,
)
from stock.book.schema import metadata
from stock.book.trade import (
    customer_order,
    forecast_log,
    order_line,
    purchase_line,
    purchase_order,
)

__all__ = [
    "APPEND_ONLY",
    "artwork",
    "artwork_share",
    "balance",
    "barcode",
    "book_setting",
    "container",
    "container_event",
    "customer_order",
    "entry",
    "forecast_log",
    "item",
    "lot",
    "lot_parent",
    "metadata",
    "movement",
    "order_line",
    "overrun",
    "pack",
    "place",
    "print_mode",
    "print_run",
    "printer",
    "purchase_line",
    "purchase_order",
    "rate",
    "reading",
    "receipt",
    "supplier",
]

"""What was ordered of what arrives: the pack a purchase order names, and orders that still wait."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import Connection, func, select

from stock.book.tables import entry, item, pack, purchase_line, purchase_order, receipt, supplier

if TYPE_CHECKING:
    from stock.shop.receive import Delivery

WAITING = ("sent", "part received")


def as_ordered(connection: Connection, delivery: Delivery) -> Delivery:
    """A delivery by hand on a purchase order is counted in the packs that were ordered.

    A code on the box, or a pack that is named, says more than the order does.
    """
    if not (delivery.purchase and delivery.sku) or delivery.gtin or delivery.pack_code:
        return delivery
    line = connection.execute(
        select(pack.c.code, supplier.c.code.label("supplier"))
        .join(purchase_line, purchase_line.c.pack_id == pack.c.id)
        .join(purchase_order, purchase_order.c.id == purchase_line.c.purchase_id)
        .join(supplier, supplier.c.id == pack.c.supplier_id)
        .join(item, item.c.id == pack.c.item_id)
        .where(purchase_order.c.ref == delivery.purchase, item.c.sku == delivery.sku)
        .order_by(purchase_line.c.id)
        .limit(1)
    ).one_or_none()
    if line is None or delivery.supplier not in ("", line.supplier):
        return delivery
    return replace(delivery, pack_code=line.code, supplier=line.supplier)


def expected_on(connection: Connection, skus: Sequence[str]) -> list[str]:
    """Which of these items are still open on an order that was sent: booked beside it, the order
    would go on waiting, and be counted as on the way."""
    undone = select(entry.c.reverses).where(entry.c.reverses.is_not(None))
    come = (
        select(receipt.c.purchase_line_id, func.sum(receipt.c.packs).label("packs"))
        .where(receipt.c.entry_id.not_in(undone))
        .group_by(receipt.c.purchase_line_id)
        .subquery()
    )
    wanted = purchase_line.c.packs - purchase_line.c.cancelled_packs
    rows = connection.execute(
        select(item.c.sku, purchase_order.c.ref)
        .join(pack, pack.c.item_id == item.c.id)
        .join(purchase_line, purchase_line.c.pack_id == pack.c.id)
        .join(purchase_order, purchase_order.c.id == purchase_line.c.purchase_id)
        .outerjoin(come, come.c.purchase_line_id == purchase_line.c.id)
        .where(
            item.c.sku.in_(list(dict.fromkeys(skus))),
            purchase_order.c.state.in_(WAITING),
            wanted > func.coalesce(come.c.packs, 0),
        )
        .order_by(item.c.sku, purchase_order.c.id)
    ).all()
    return [
        f"{sku} is still open on {ref}: if this came on it, take it back and name that purchase."
        for sku, ref in dict.fromkeys((row.sku, row.ref) for row in rows)
    ]

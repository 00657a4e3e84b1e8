"""Labels for what is in the book: lots, containers, shelves and slots, items.

What a label says is laid out in ``stock.exchange.labels``; here it is looked up. A lot's label
carries the GTIN of the pack it came in where one is tied, else the item's own code.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Final, Literal

from sqlalchemy import Connection, Row, select

from stock.book.opening import Book
from stock.book.tables import balance, barcode, container, item, lot, pack, place, receipt
from stock.errors import Refused, Unknown
from stock.exchange.labels import Label, lot_label, own_label
from stock.shop.finding import find
from stock.units import format_amount

LabelKind = Literal["lot", "container", "place", "item"]
LABEL_KINDS: Final[tuple[LabelKind, ...]] = ("lot", "container", "place", "item")
MOST_LABELS: Final = 5_000


def labels_for(
    book: Book,
    kind: LabelKind,
    codes: Sequence[str],
    *,
    on: date,
    lot_code: str = "",
    count: int = 1,
) -> list[Label]:
    """Labels of these things, ``count`` of each.

    Args:
        kind: ``lot`` (codes are items; ``lot_code`` keeps to one lot, else all on hand),
            ``container``, ``place`` (shelves and slots) or ``item``.
        codes: Their codes; none: all there are (containers: all not empty).

    Raises:
        Unknown: No such thing.
        Refused: Nothing to label, or a code no label can hold.
    """
    if not 1 <= count <= MOST_LABELS:
        raise Refused(f"{count} labels of each were asked for; expected 1 to {MOST_LABELS:,}.")
    with book.reading() as connection:
        try:
            if kind == "lot":
                made = _lots(connection, codes, on, lot_code)
            else:
                make = {"container": _containers, "place": _places, "item": _items}[kind]
                made = make(connection, codes, on)
        except ValueError as error:
            raise Refused(f"{error}.") from None
    if not made:
        raise Refused("There is nothing to label.")
    if len(made) * count > MOST_LABELS:
        raise Refused(f"{len(made) * count:,} labels at once; expected {MOST_LABELS:,} at most.")
    return [label for label in made for _ in range(count)]


def _lots(connection: Connection, codes: Sequence[str], on: date, lot_code: str) -> list[Label]:
    made = []
    for sku in codes or _skus_with_lots(connection):
        known = find(connection, item, item.c.sku, sku, "item")
        query = select(lot).where(lot.c.item_id == known.id).order_by(lot.c.id)
        rows = connection.execute(query.where(lot.c.code == lot_code) if lot_code else query).all()
        if lot_code and not rows:
            raise Unknown(f"lot of {sku}", lot_code)
        if not lot_code:
            rows = [row for row in rows if _is_held(connection, row.id)]
        made += [_lot(connection, known, row, on) for row in rows]
    return made


def _lot(connection: Connection, known: Row[Any], row: Row[Any], on: date) -> Label:
    gtin = connection.scalar(
        select(barcode.c.gtin)
        .join(pack, pack.c.id == barcode.c.pack_id)
        .join(receipt, receipt.c.pack_id == pack.c.id)
        .where(receipt.c.lot_id == row.id)
        .order_by(barcode.c.id)
        .limit(1)
    )
    return lot_label(
        on=on,
        name=known.name or known.sku,
        lot=row.code,
        gtin=gtin or "",
        sku=known.sku,
        expires=row.sealed_expiry,
        lines=[known.sku, *([f"Property of {row.owner}"] if row.owner else [])],
    )


def _skus_with_lots(connection: Connection) -> list[str]:
    return list(
        connection.scalars(
            select(item.c.sku)
            .join(balance, balance.c.item_id == item.c.id)
            .where(balance.c.amount > 0)
            .distinct()
            .order_by(item.c.sku)
        )
    )


def _is_held(connection: Connection, lot_id: int) -> bool:
    held = select(balance.c.id).where(balance.c.lot_id == lot_id, balance.c.amount > 0).limit(1)
    return connection.scalar(held) is not None


def _containers(connection: Connection, codes: Sequence[str], on: date) -> list[Label]:
    query = (
        select(container, item.c.sku, item.c.name, item.c.unit, lot.c.code.label("lot_code"))
        .join(item, item.c.id == container.c.item_id)
        .join(lot, lot.c.id == container.c.lot_id)
        .order_by(container.c.id)
    )
    if codes:
        for code in codes:
            find(connection, container, container.c.code, code, "container")
        query = query.where(container.c.code.in_(list(codes)))
    else:
        query = query.where(container.c.state != "empty")
    made = []
    for row in connection.execute(query):
        lines = [f"{row.code}", f"Lot {row.lot_code}", format_amount(row.capacity, row.unit)]
        if row.opened_on:
            lines.append(f"Opened {row.opened_on}")
        if row.effective_expiry:
            lines.append(f"Use by {row.effective_expiry}")
        title = row.name or row.sku
        made.append(own_label("container", row.code, on=on, title=title, lines=lines))
    return made


def _places(connection: Connection, codes: Sequence[str], on: date) -> list[Label]:
    query = (
        select(place, item.c.sku)
        .outerjoin(item, item.c.id == place.c.item_id)
        .where(place.c.kind.in_(("shelf", "slot", "quarantine")))
        .order_by(place.c.code)
    )
    if codes:
        for code in codes:
            found = find(connection, place, place.c.code, code, "place")
            if found.kind not in ("shelf", "slot", "quarantine"):
                raise Refused(f"{code} is no shelf or slot; only these get a label.")
        query = query.where(place.c.code.in_(list(codes)))
    made = []
    for row in connection.execute(query):
        lines = []
        if row.kind == "slot":
            lines.append(f"Slot, channel {row.channel}" if row.channel else "Slot")
        if row.sku:
            lines.append(f"Takes {row.sku}")
        if row.min_celsius is not None and row.max_celsius is not None:
            lines.append(f"{row.min_celsius:g} to {row.max_celsius:g} °C")
        made.append(own_label("place", row.code, on=on, title=row.code, lines=lines))
    return made


def _items(connection: Connection, codes: Sequence[str], on: date) -> list[Label]:
    query = select(item).order_by(item.c.sku)
    if codes:
        for code in codes:
            find(connection, item, item.c.sku, code, "item")
        query = query.where(item.c.sku.in_(list(codes)))
    return [
        own_label("item", row.sku, on=on, title=row.name or row.sku, lines=[row.sku])
        for row in connection.execute(query)
    ]

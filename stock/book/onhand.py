"""What is on hand: now from the balances, on a past day from the movements up to it.

Amounts are integers of thousandths. Only places that hold stock count (shelf, slot, quarantine).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, func, literal, select, union_all

from stock.book.catalogue import HOLDING_KINDS
from stock.book.statements import ON_HAND, as_day, asked
from stock.book.tables import container, item, lot, movement, place


class OnHand(NamedTuple):
    """One lot (and container) at one place."""

    item: str
    name: str
    kind: str
    lot: str
    owner: str
    place: str
    place_kind: str
    container: str
    amount: int
    unit: str
    sealed_expiry: date | None
    effective_expiry: date | None

    def to_json(self) -> dict[str, Any]:
        """Amount in base units, dates ISO."""
        return {
            "item": self.item,
            "name": self.name,
            "lot": self.lot,
            "owner": self.owner,
            "place": self.place,
            "container": self.container or None,
            "amount": self.amount / 1000,
            "unit": self.unit,
            "sealed_expiry": self.sealed_expiry.isoformat() if self.sealed_expiry else None,
            "effective_expiry": (
                self.effective_expiry.isoformat() if self.effective_expiry else None
            ),
        }


def on_hand_rows(connection: Connection, day: date | None = None) -> list[OnHand]:
    """What every holding place holds, by item, lot and place; ``day``: at its end."""
    if day is None:
        return [
            OnHand._make((*row[:10], as_day(row[10]), as_day(row[11])))
            for row in asked(connection, ON_HAND)
        ]
    amounts = _at_end_of(day).subquery()
    rows: Iterable[Any] = connection.execute(
        select(
            item.c.sku,
            item.c.name,
            item.c.kind,
            lot.c.code,
            lot.c.owner,
            place.c.code,
            place.c.kind,
            func.coalesce(container.c.code, ""),
            amounts.c.amount,
            item.c.unit,
            lot.c.sealed_expiry,
            func.coalesce(container.c.effective_expiry, lot.c.sealed_expiry),
        )
        .select_from(amounts)
        .join(lot, lot.c.id == amounts.c.lot_id)
        .join(item, item.c.id == lot.c.item_id)
        .join(place, place.c.id == amounts.c.place_id)
        .outerjoin(container, container.c.id == amounts.c.container_id)
        .where(amounts.c.amount > 0)
        .order_by(item.c.sku, lot.c.sealed_expiry, lot.c.id, place.c.code, container.c.id)
    )
    # PostgreSQL sums whole numbers into decimals.
    return [OnHand._make((*row[:8], int(row[8]), *row[9:])) for row in rows]


def _at_end_of(day: date) -> Select[Any]:
    holding = select(place.c.id).where(place.c.kind.in_(HOLDING_KINDS))
    came = select(
        movement.c.to_place_id.label("place_id"),
        movement.c.lot_id,
        movement.c.to_container_id.label("container_id"),
        movement.c.amount,
    ).where(movement.c.day <= day, movement.c.to_place_id.in_(holding))
    went = select(
        movement.c.from_place_id.label("place_id"),
        movement.c.lot_id,
        movement.c.from_container_id.label("container_id"),
        (literal(-1) * movement.c.amount).label("amount"),
    ).where(movement.c.day <= day, movement.c.from_place_id.in_(holding))
    both = union_all(came, went).subquery()
    return select(
        both.c.place_id,
        both.c.lot_id,
        both.c.container_id,
        func.sum(both.c.amount).label("amount"),
    ).group_by(both.c.place_id, both.c.lot_id, both.c.container_id)

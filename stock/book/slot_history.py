"""What was in a slot, and when: on 3 March at 10:00, or its whole history.

The moment of an entry is its business day and the moment it was written. An entry written on
another day than it speaks of (an import, a note made the morning after) counts from the beginning
of its day, since nobody knows its hour. Undone entries do not count. Amounts are integers of
thousandths.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, Row, or_, select

from stock.book.tables import container, container_event, entry, item, lot, movement, place
from stock.book.undo import reversed_entries
from stock.errors import Refused, Unknown


@dataclass(frozen=True, slots=True)
class InSlot:
    """One container that was in a slot: how much of it, by the book, at that moment."""

    container: str
    item: str
    lot: str
    amount: int
    unit: str
    loaded_on: date
    opened_on: date | None
    effective_expiry: date | None

    def to_json(self) -> dict[str, Any]:
        """Amount in base units."""
        return {
            "container": self.container,
            "item": self.item,
            "lot": self.lot,
            "amount": self.amount / 1000,
            "unit": self.unit,
            "loaded_on": self.loaded_on.isoformat(),
            "opened_on": self.opened_on.isoformat() if self.opened_on else None,
            "effective_expiry": (
                self.effective_expiry.isoformat() if self.effective_expiry else None
            ),
        }


@dataclass(frozen=True, slots=True)
class Stay:
    """One stay of a container in a slot; ``until`` is None while it is there."""

    container: str
    item: str
    lot: str
    since: date
    until: date | None
    in_entry: int
    out_entry: int | None

    def to_json(self) -> dict[str, Any]:
        """Days ISO."""
        return {
            "container": self.container,
            "item": self.item,
            "lot": self.lot,
            "since": self.since.isoformat(),
            "until": self.until.isoformat() if self.until else None,
            "in_entry": self.in_entry,
            "out_entry": self.out_entry,
        }


def slot_at(connection: Connection, code: str, moment: datetime) -> list[InSlot]:
    """What the slot held at ``moment`` (aware of its zone), oldest container first.

    Raises:
        Unknown: No such slot.
    """
    if moment.tzinfo is None:
        raise Refused("A moment needs a time zone.")
    slot_id = _slot(connection, code)
    local = moment.tzinfo
    events = [
        event
        for event in _events(connection, slot_id)
        if _happened(event.day, event.at, moment, local)
    ]
    now: dict[int, Row[Any]] = {}
    for event in events:
        if event.state == "loaded" and event.place_id == slot_id:
            now.setdefault(event.container_id, event)
        else:
            now.pop(event.container_id, None)
    amounts: dict[int | None, int] = defaultdict(int)
    for leg in connection.execute(
        select(
            movement.c.from_place_id,
            movement.c.from_container_id,
            movement.c.to_place_id,
            movement.c.to_container_id,
            movement.c.amount,
            entry.c.day,
            entry.c.at,
        )
        .join(entry, entry.c.id == movement.c.entry_id)
        .where(
            or_(movement.c.from_place_id == slot_id, movement.c.to_place_id == slot_id),
            entry.c.reverses.is_(None),
            entry.c.id.not_in(reversed_entries()),
        )
    ):
        if not _happened(leg.day, leg.at, moment, local):
            continue
        if leg.from_place_id == slot_id:
            amounts[leg.from_container_id] -= leg.amount
        if leg.to_place_id == slot_id:
            amounts[leg.to_container_id] += leg.amount
    return [
        InSlot(
            event.code,
            event.sku,
            event.lot,
            amounts[container_id],
            event.unit,
            event.day,
            event.opened_on,
            event.effective_expiry,
        )
        for container_id, event in sorted(now.items())
    ]


def slot_story(connection: Connection, code: str) -> list[Stay]:
    """Every stay of a container in the slot, oldest first.

    Raises:
        Unknown: No such slot.
    """
    slot_id = _slot(connection, code)
    there: dict[int, Row[Any]] = {}
    stays: list[Stay] = []
    for event in _events(connection, slot_id):
        loaded = event.state == "loaded" and event.place_id == slot_id
        if loaded:
            there.setdefault(event.container_id, event)
        elif event.container_id in there:
            began = there.pop(event.container_id)
            stays.append(_stay(began, event))
    stays += [_stay(began, None) for began in there.values()]
    return sorted(stays, key=lambda stay: (stay.since, stay.in_entry))


def _stay(began: Row[Any], ended: Row[Any] | None) -> Stay:
    return Stay(
        began.code,
        began.sku,
        began.lot,
        began.day,
        ended.day if ended is not None else None,
        began.entry_id,
        ended.entry_id if ended is not None else None,
    )


def _slot(connection: Connection, code: str) -> int:
    found: int | None = connection.scalar(
        select(place.c.id).where(place.c.code == code, place.c.kind == "slot")
    )
    if found is None:
        raise Unknown("slot", code)
    return found


def _events(connection: Connection, slot_id: int) -> list[Row[Any]]:
    """Live events of every container that ever was in the slot, in the order of the book."""
    ever = select(container_event.c.container_id).where(container_event.c.place_id == slot_id)
    return list(
        connection.execute(
            select(
                container_event,
                container.c.code,
                item.c.sku,
                item.c.unit,
                lot.c.code.label("lot"),
                entry.c.day,
                entry.c.at,
            )
            .join(entry, entry.c.id == container_event.c.entry_id)
            .join(container, container.c.id == container_event.c.container_id)
            .join(item, item.c.id == container.c.item_id)
            .join(lot, lot.c.id == container.c.lot_id)
            .where(
                container_event.c.container_id.in_(ever),
                entry.c.reverses.is_(None),
                entry.c.id.not_in(reversed_entries()),
            )
            .order_by(container_event.c.id)
        )
    )


def _happened(day: date, at: datetime, moment: datetime, local: Any) -> bool:
    """Whether an entry of that day, written at ``at``, had happened by ``moment``."""
    on = moment.date()
    if day != on:
        return day < on
    written = at.astimezone(local)
    return written.date() != day or written <= moment

"""Undoing an entry: the opposite entry is posted, once, or a reason is given why not.

Nothing is deleted. An entry may be undone as long as nothing later rests on it: what it brought is
still where it put it, its containers have not been touched since, and nobody has weighed, dipped
or counted there since (such a reading set the amount to what was really there, whatever came
before). Amounts are integers of thousandths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Row, Select, and_, or_, select

from stock.book.containers import container_now
from stock.book.posting import Posting
from stock.book.tables import container_event, entry, movement, reading
from stock.errors import CannotUndo, Unknown
from stock.units import format_amount

Legs = Sequence[Row[Any]]

RELABELLED = "relabel"
"""Kind of the entry that corrects a lot's date: put right by another one, never undone."""


@dataclass(frozen=True, slots=True)
class Undone:
    """The entry that took another back."""

    entry: int
    undid: int
    kind: str
    day: date


def reversed_entries() -> Select[tuple[int | None]]:
    """Ids of entries that were undone, for ``not_in``."""
    return select(entry.c.reverses).where(entry.c.reverses.is_not(None))


def undo(posting: Posting, entry_id: int, day: date, *, note: str = "") -> Undone:
    """Post the opposite of an entry on ``day`` (never before the entry's own day).

    Raises:
        Unknown: No such entry.
        CannotUndo: It was undone already, is itself an undo, or later entries rest on it.
    """
    connection = posting.connection
    known = connection.execute(select(entry).where(entry.c.id == entry_id)).one_or_none()
    if known is None:
        raise Unknown("entry", str(entry_id))
    legs = connection.execute(
        select(movement).where(movement.c.entry_id == entry_id).order_by(movement.c.id.desc())
    ).all()
    posting.hold({leg.item_id for leg in legs})
    _refuse_a_second_time(posting, known)
    _refuse_when_measured_since(posting, entry_id, legs)
    restored = _events_to_restore(posting, entry_id)
    _refuse_when_containers_left(posting, entry_id, legs, set(restored))
    _refuse_when_used_since(posting, entry_id, legs)
    on = max(day, known.day)
    undo_id = posting.entry("undo", on, note=note, reverses=entry_id)
    for leg in legs:
        posting.move(
            undo_id,
            on,
            leg.item_id,
            leg.lot_id,
            leg.amount,
            posting.places[leg.to_place_id],
            posting.places[leg.from_place_id],
            from_container=leg.to_container_id,
            to_container=leg.from_container_id,
        )
    for container_id, before in restored.items():
        posting.add(
            container_event,
            entry_id=undo_id,
            container_id=container_id,
            state=before.state if before else "empty",
            opened_on=before.opened_on if before else None,
            effective_expiry=before.effective_expiry if before else None,
            place_id=before.place_id if before else None,
        )
    return Undone(undo_id, entry_id, known.kind, on)


def _refuse_a_second_time(posting: Posting, known: Row[Any]) -> None:
    if known.reverses is not None:
        raise CannotUndo(
            known.id, f"it is itself the undo of entry {known.reverses}; post the thing anew."
        )
    if known.kind == RELABELLED:
        raise CannotUndo(known.id, "it corrected a date; correct the date again instead.")
    by = posting.connection.scalar(select(entry.c.id).where(entry.c.reverses == known.id))
    if by is not None:
        raise CannotUndo(known.id, f"entry {by} undid it already.")


def _refuse_when_measured_since(posting: Posting, entry_id: int, legs: Legs) -> None:
    """A later weighing, dip or count at a place and item (or container) it touched stands."""
    touched = []
    for leg in legs:
        for place_id, container_id in (
            (leg.from_place_id, leg.from_container_id),
            (leg.to_place_id, leg.to_container_id),
        ):
            if posting.places[place_id].holds:
                at_place = and_(reading.c.place_id == place_id, reading.c.item_id == leg.item_id)
                touched.append(at_place)
                if container_id is not None:
                    touched.append(reading.c.container_id == container_id)
    if not touched:
        return
    later = posting.connection.execute(
        select(entry.c.id, entry.c.kind, entry.c.day)
        .join(reading, reading.c.entry_id == entry.c.id)
        .where(
            reading.c.level.is_not(None),
            entry.c.id > entry_id,
            entry.c.id.not_in(reversed_entries()),
            or_(*touched),
        )
        .order_by(entry.c.id.desc())
        .limit(1)
    ).one_or_none()
    if later is not None:
        raise CannotUndo(
            entry_id,
            f"entry {later.id} ({later.kind}, {later.day}) measured what was there since; "
            f"undo that first.",
        )


def _events_to_restore(posting: Posting, entry_id: int) -> dict[int, Row[Any] | None]:
    """By container with an event in this entry: the live event before it, if any.

    Raises:
        CannotUndo: A later live event stands on one of these containers.
    """
    connection = posting.connection
    touched = connection.scalars(
        select(container_event.c.container_id)
        .where(container_event.c.entry_id == entry_id)
        .distinct()
    ).all()
    before: dict[int, Row[Any] | None] = dict.fromkeys(touched)
    if not touched:
        return before
    live = connection.execute(
        select(container_event, entry.c.kind, entry.c.day)
        .join(entry, entry.c.id == container_event.c.entry_id)
        .where(
            container_event.c.container_id.in_(touched),
            entry.c.reverses.is_(None),
            entry.c.id.not_in(reversed_entries()),
        )
        .order_by(container_event.c.id)
    ).all()
    seen: set[int] = set()
    for event in live:
        if event.entry_id == entry_id:
            seen.add(event.container_id)
        elif event.container_id in seen:
            code = container_now(posting, event.container_id).code
            raise CannotUndo(
                entry_id,
                f"container {code} was touched since by entry {event.entry_id} "
                f"({event.kind}, {event.day}); undo that first.",
            )
        else:
            before[event.container_id] = event
    return before


def _refuse_when_containers_left(
    posting: Posting, entry_id: int, legs: Legs, restored: set[int]
) -> None:
    """Nothing may flow back into a container that is no longer where it was drawn from."""
    for leg in legs:
        where = posting.places[leg.from_place_id]
        if leg.from_container_id is None or leg.from_container_id in restored or not where.holds:
            continue
        one = container_now(posting, leg.from_container_id)
        if one.place_id != where.id or one.state == "empty":
            raise CannotUndo(
                entry_id,
                f"container {one.code} is no longer in {where.code} (it is {one.state}); "
                f"undo what moved it first.",
            )


def _refuse_when_used_since(posting: Posting, entry_id: int, legs: Legs) -> None:
    """What it brought must still be there; else the entries that took it are named."""
    needed: dict[tuple[int, int, int, int | None], int] = {}
    for leg in legs:
        if posting.places[leg.to_place_id].holds:
            key = (leg.item_id, leg.to_place_id, leg.lot_id, leg.to_container_id)
            needed[key] = needed.get(key, 0) + leg.amount
        if posting.places[leg.from_place_id].holds:
            key = (leg.item_id, leg.from_place_id, leg.lot_id, leg.from_container_id)
            needed[key] = needed.get(key, 0) - leg.amount
    for (item_id, place_id, lot_id, container_id), amount in needed.items():
        left = posting.held_at(place_id, lot_id, container_id)
        if amount <= left:
            continue
        sku, unit = posting.names(item_id)
        users = posting.connection.execute(
            select(entry.c.id, entry.c.kind, entry.c.day)
            .join(movement, movement.c.entry_id == entry.c.id)
            .where(
                movement.c.lot_id == lot_id,
                movement.c.from_place_id == place_id,
                movement.c.from_container_id.is_not_distinct_from(container_id),
                entry.c.id != entry_id,
                entry.c.reverses.is_(None),
                entry.c.id.not_in(reversed_entries()),
            )
            .group_by(entry.c.id, entry.c.kind, entry.c.day)
            .order_by(entry.c.id.desc())
            .limit(3)
        ).all()
        named = ", ".join(f"{row.id} ({row.kind}, {row.day})" for row in users)
        raise CannotUndo(
            entry_id,
            f"{posting.places[place_id].code} holds {format_amount(left, unit)} of {sku}, it "
            f"brought {format_amount(amount, unit)}; used since by entry {named}. "
            f"Undo those first.",
        )

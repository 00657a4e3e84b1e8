"""Containers: which states may follow which, what is loaded where, events appended.

A container exists for what is opened or loaded. Its events are append-only; the state columns of
its row repeat the last one (written by ``pending``).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

from sqlalchemy import select

from stock.book.posting import Posting
from stock.book.tables import container, container_event
from stock.errors import Refused

FOLLOWS: Final[dict[str | None, frozenset[str]]] = {
    None: frozenset({"sealed", "loaded", "opened", "quarantined"}),
    "sealed": frozenset({"sealed", "loaded", "opened", "empty", "quarantined"}),
    "loaded": frozenset({"loaded", "opened", "empty", "quarantined"}),  # loaded: a date corrected
    "opened": frozenset({"loaded", "opened", "empty", "quarantined"}),
    "quarantined": frozenset({"opened", "empty", "quarantined"}),
    "empty": frozenset(),
}
"""Which state may come after which; an undo may restore any state that was."""


@dataclass(frozen=True, slots=True)
class Container:
    """A container as it stands, this posting's own events counted."""

    id: int
    code: str
    item_id: int
    lot_id: int
    pack_id: int | None
    capacity: int
    unusable_rest: int
    tare_mg: int | None
    state: str
    opened_on: date | None
    effective_expiry: date | None
    place_id: int | None


def container_now(posting: Posting, container_id: int) -> Container:
    """The container with that id, as it stands now."""
    names = Container.__dataclass_fields__
    added = posting.pending_row(container, container_id)
    if added is not None:
        facts = {name: added.get(name) for name in names}
    else:
        row = posting.connection.execute(
            select(*(container.c[name] for name in names)).where(container.c.id == container_id)
        ).one()
        facts = dict(row._mapping)
    for event in reversed(posting.pending(container_event)):
        if event["container_id"] == container_id:
            facts.update(
                {
                    name: event.get(name)
                    for name in ("state", "opened_on", "effective_expiry", "place_id")
                }
            )
            break
    return Container(**facts)  # type: ignore[arg-type]


def loaded_in(posting: Posting, place_id: int) -> list[Container]:
    """What is loaded in a slot, run dry or not, oldest first."""
    ids = set(
        posting.connection.scalars(
            select(container.c.id).where(
                container.c.place_id == place_id, container.c.state == "loaded"
            )
        )
    )
    ids.update(
        event["container_id"]
        for event in posting.pending(container_event)
        if event.get("place_id") == place_id
    )
    now = [container_now(posting, container_id) for container_id in sorted(ids)]
    return [one for one in now if one.state == "loaded" and one.place_id == place_id]


def set_state(
    posting: Posting,
    entry_id: int,
    one: Container,
    state: str,
    *,
    place_id: int | None,
    opened_on: date | None = None,
    effective_expiry: date | None = None,
) -> None:
    """Append an event that brings a container into ``state`` at a place.

    Dates not given stay as they are.

    Raises:
        Refused: That state cannot follow the one it is in.
    """
    if state not in FOLLOWS[one.state]:
        raise Refused(f"Container {one.code} is {one.state}; it cannot become {state}.")
    posting.add(
        container_event,
        entry_id=entry_id,
        container_id=one.id,
        state=state,
        opened_on=opened_on or one.opened_on,
        effective_expiry=effective_expiry or one.effective_expiry,
        place_id=place_id,
    )


def retire_dry(posting: Posting, entry_id: int, place_id: int, *, but: int | None = None) -> None:
    """Containers loaded in a slot that the book knows to be dry become empty."""
    for one in loaded_in(posting, place_id):
        posting.hold([one.item_id])
        if one.id != but and posting.held_at(place_id, one.lot_id, one.id) == 0:
            set_state(posting, entry_id, one, "empty", place_id=None)

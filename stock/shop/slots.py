"""Machine slots and open containers: putting ink in, drawing it out, noting overruns.

Shared by printing, upkeep and loading. Amounts are integers of thousandths. A draw never fails:
what a slot cannot give is an overrun, noted beside the entry, because what was printed was
printed whatever the book says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select

from stock.book.containers import container_now, retire_dry
from stock.book.drawing import Draw, blended, fefo
from stock.book.lots import effective_expiry
from stock.book.posting import Holding, Place, Posting
from stock.book.tables import container, container_event, item, overrun, pack
from stock.errors import Refused


@dataclass(frozen=True, slots=True)
class Overrun:
    """A draw that asked for more than the place held."""

    item: str
    place: str
    asked: int
    taken: int
    unit: str


def slots_of(posting: Posting, printer_id: int, channel: str) -> list[Place]:
    """The slots of a printer that carry ``channel``, by code."""
    found = [
        held
        for held in posting.places.values()
        if held.kind == "slot" and held.printer_id == printer_id and held.channel == channel
    ]
    return sorted(found, key=lambda held: held.code)


def put_in(
    posting: Posting,
    entry_id: int,
    day: date,
    held: Holding,
    amount: int,
    target: Place,
    *,
    state: str = "loaded",
    code: str = "",
    fresh: bool = False,
) -> int:
    """Move ``amount`` of a holding into ``target`` as a container and return its id.

    A sealed holding becomes a new container, opened on ``day``. An opened one keeps its own when it
    goes as a whole (unless ``fresh``); a part of it becomes a new one, opened when the old one
    was. What ran dry in a slot before becomes empty.
    """
    old = None if held.container_id is None else container_now(posting, held.container_id)
    if old is not None and amount == held.amount and not fresh:
        container_id, opened_on, expiry = old.id, old.opened_on, old.effective_expiry
    else:
        opened_on = day if old is None else old.opened_on
        life = posting.connection.scalar(
            select(item.c.open_life_days).where(item.c.id == held.item_id)
        )
        expiry = effective_expiry(held.sealed_expiry, opened_on, life)
        container_id = _new_container(
            posting, held, amount, target, code, opened_on=opened_on, effective_expiry=expiry
        )
    posting.move(
        entry_id,
        day,
        held.item_id,
        held.lot_id,
        amount,
        posting.places[held.place_id],
        target,
        from_container=held.container_id,
        to_container=container_id,
    )
    posting.add(
        container_event,
        entry_id=entry_id,
        container_id=container_id,
        state=state,
        opened_on=opened_on,
        effective_expiry=expiry,
        place_id=target.id,
    )
    if target.kind == "slot":
        retire_dry(posting, entry_id, target.id, but=container_id)
    return container_id


def _new_container(
    posting: Posting, held: Holding, amount: int, target: Place, code: str, **dates: date | None
) -> int:
    """A container of a holding; its state follows from the event appended for it."""
    made_from = None
    if held.container_id is None:
        made_from = posting.connection.execute(
            select(pack.c.id, pack.c.unusable_rest, pack.c.tare_mg)
            .where(pack.c.item_id == held.item_id, pack.c.amount == amount)
            .order_by(pack.c.preferred.desc(), pack.c.id)
            .limit(1)
        ).one_or_none()
    rest = made_from.unusable_rest if made_from else 0
    container_id = posting.add(
        container,
        code="",
        item_id=held.item_id,
        lot_id=held.lot_id,
        pack_id=made_from.id if made_from else None,
        capacity=amount,
        unusable_rest=rest or target.unusable_rest,
        tare_mg=made_from.tare_mg if made_from else None,
        state="sealed",
        **dates,
    )
    name_container(posting, container_id, code)
    return container_id


def name_container(posting: Posting, container_id: int, code: str) -> None:
    """Give a container just added its printed code (``K000123`` unless one is given).

    Raises:
        Refused: Another container has that code.
    """
    if code and posting.connection.scalar(select(container.c.id).where(container.c.code == code)):
        raise Refused(f"Container {code} is in the book already; give another code.")
    for row in reversed(posting.pending(container)):
        if row["id"] == container_id:
            row["code"] = code or f"K{container_id:06d}"
            return
    raise AssertionError("the container was not added in this posting")


def note_overrun(
    posting: Posting, entry_id: int, item_id: int, where: Place, asked: int, taken: int
) -> Overrun:
    """Keep an overrun beside its entry."""
    posting.hold([item_id])
    posting.add(
        overrun,
        entry_id=entry_id,
        item_id=item_id,
        place_id=where.id,
        asked=asked,
        taken=taken,
    )
    sku, unit = posting.names(item_id)
    return Overrun(sku, where.code, asked, taken, unit)


def move_draws(
    posting: Posting, entry_id: int, day: date, draws: Sequence[Draw], target: Place
) -> int:
    """Post draws to a place that holds nothing (printed, upkeep, waste) and return their sum."""
    for draw in draws:
        held = draw.holding
        posting.move(
            entry_id,
            day,
            held.item_id,
            held.lot_id,
            draw.amount,
            posting.places[held.place_id],
            target,
            from_container=held.container_id,
        )
    return sum(draw.amount for draw in draws)


def draw_from_slots(slots: Sequence[Place], posting: Posting, amount: int) -> list[Draw]:
    """Draws of up to ``amount`` from all that is in ``slots``, in proportion."""
    there = [held for slot in slots for held in posting.slot_holdings(slot.id)]
    return blended(there, amount)


def draw_from_shelf(
    posting: Posting,
    item_id: int,
    amount: int,
    *,
    day: date,
    owner: str = "",
    lot: str | None = None,
) -> list[Draw]:
    """Draws of up to ``amount`` from the shelves by FEFO, from lots received by ``day`` only."""
    shelves = {held.id for held in posting.places.values() if held.kind == "shelf"}
    there = [
        held
        for held in posting.holdings(item_id, shelves)
        if held.owner == owner and held.received_on <= day
    ]
    return fefo(there, amount, day=day, lot=lot)

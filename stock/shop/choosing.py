"""Choosing what an action is about: a place, an item, a lot, a container, how much of it.

First expired, first out unless the person names a lot or container; a choice that differs from
it is said in the entry's note. Amounts are integers of thousandths.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Row, insert, select

from stock.book.containers import Container, container_now
from stock.book.drawing import Draw, fefo
from stock.book.holding import Holding, Place
from stock.book.lots import blend_expiry
from stock.book.posting import Posting
from stock.book.tables import container, item, lot, pack, place, receipt
from stock.errors import NotEnough, Refused, Unknown
from stock.exchange.safe_text import trouble_in_code
from stock.shop.finding import find
from stock.units import format_amount


@dataclass(frozen=True, slots=True)
class Choice:
    """What the person named: an item and lot, or a container; where; how much (all when None)."""

    sku: str = ""
    lot: str = ""
    container: str = ""
    place: str = ""
    amount: int | None = None
    owner: str = ""


def find_place(posting: Posting, code: str, kinds: Collection[str], what: str) -> Place:
    """The place named ``code``, which must be of one of these kinds.

    Raises:
        Unknown: No such place.
        Refused: It is something else.
    """
    row = find(posting.connection, place, place.c.code, code, what)
    found = posting.places.get(row.id)
    if found is None or found.kind not in kinds:
        raise Refused(f"{code} is a {row.kind}, not a {what}.")
    return found


def add_shelf(posting: Posting, code: str) -> None:
    """Make a shelf of that name, unless there is a place of that name.

    Raises:
        Refused: Not a name a place can have.
    """
    code = code.strip()
    trouble = "nothing" if not code else trouble_in_code(code)
    if trouble:
        raise Refused(f"{code!r} cannot name a shelf; found {trouble}.")
    if any(known.code == code for known in posting.places.values()):
        return
    made = posting.connection.execute(insert(place).values(code=code, kind="shelf"))
    key = made.inserted_primary_key
    assert key is not None
    shelf_id = int(key[0])
    posting.places[shelf_id] = Place(shelf_id, code, "shelf", None, "", "", None, None, 0)


def find_item(posting: Posting, sku: str) -> Row[Any]:
    """The item named ``sku``, locked."""
    row = find(posting.connection, item, item.c.sku, sku, "item")
    posting.hold([row.id])
    return row


def find_container(posting: Posting, code: str) -> Container:
    """The container with that printed code; its item is locked."""
    row = find(posting.connection, container, container.c.code, code, "container")
    posting.hold([row.item_id])
    return container_now(posting, row.id)


def shelves(posting: Posting) -> set[int]:
    """Ids of all shelves."""
    return {held.id for held in posting.places.values() if held.kind == "shelf"}


def on_shelf(
    posting: Posting, item_id: int, day: date, *, owner: str = "", lot_code: str = ""
) -> list[Holding]:
    """What the shelves hold of an item that had arrived by ``day``."""
    return [
        held
        for held in posting.holdings(item_id, shelves(posting))
        if held.owner == owner
        and held.received_on <= day
        and (not lot_code or held.lot_code == lot_code)
    ]


def pack_size(posting: Posting, item_id: int, lot_id: int) -> int | None:
    """How much one unopened pack of a lot holds: as it was delivered, else the item's only pack."""
    delivered = posting.connection.scalar(
        select(pack.c.amount)
        .join(receipt, receipt.c.pack_id == pack.c.id)
        .where(receipt.c.lot_id == lot_id)
        .order_by(receipt.c.id.desc())
        .limit(1)
    )
    if delivered is not None:
        return int(delivered)
    sizes = posting.connection.scalars(
        select(pack.c.amount)
        .where(pack.c.item_id == item_id)
        .order_by(pack.c.preferred.desc(), pack.c.id)
    ).all()
    return int(sizes[0]) if sizes else None


def first_to_go(
    posting: Posting, sku: str, day: date, *, lot_code: str = "", container_code: str = ""
) -> tuple[Holding, list[str]]:
    """The holding to open or load next, and what to say about it.

    Raises:
        Refused: Nothing of it is on a shelf.
    """
    if container_code:
        one = find_container(posting, container_code)
        for held in posting.holdings(one.item_id, shelves(posting)):
            if held.container_id == one.id:
                return held, past_date(posting, held, day)
        raise Refused(f"Container {container_code} is not on a shelf (it is {one.state}).")
    known = find_item(posting, sku)
    there = on_shelf(posting, known.id, day)
    if not there:
        raise Refused(f"No {sku} is on a shelf on {day}; receive it first.")
    best = fefo(there, 1, day=day)[0].holding
    if not lot_code:
        return best, past_date(posting, best, day)
    chosen = [held for held in there if held.lot_code == lot_code]
    if not chosen:
        lots = sorted({held.lot_code for held in there})
        raise Unknown(f"shelved lot of {sku}", lot_code, lots[:3])
    held = fefo(chosen, 1, day=day)[0].holding
    notes = past_date(posting, held, day)
    if held.lot_code != best.lot_code:
        notes.append(f"lot {held.lot_code} was chosen by hand; {best.lot_code} expires first")
    return held, notes


def past_date(posting: Posting, held: Holding, day: date) -> list[str]:
    """What to say when goods past their date are used all the same: the person decides."""
    if held.last_day >= day:
        return []
    return [f"lot {held.lot_code} is past its date ({held.last_day}): {_risk(posting, held)}"]


def past_date_in_slot(posting: Posting, slot: Place, day: date) -> list[str]:
    """The same of what a slot holds; a tank's lots share the date of those that matter."""
    inside = posting.slot_holdings(slot.id)
    last = blend_expiry(inside)
    if last is None or last >= day:
        return []
    sku, _ = posting.names(inside[0].item_id)
    return [f"{slot.code} holds {sku} past its date ({last}): {_risk(posting, inside[0])}"]


def _risk(posting: Posting, held: Holding) -> str:
    kind = posting.connection.scalar(select(item.c.kind).where(item.c.id == held.item_id))
    settles = "settled pigment is the risk; " if kind == "ink" else ""
    return f"{settles}test before a paid job"


def chosen_draws(
    posting: Posting, choice: Choice, day: date, kinds: Collection[str] = ("shelf",)
) -> list[Draw]:
    """The draws a choice stands for, in full.

    Raises:
        Unknown: No such item, lot, container or place.
        NotEnough: Less is there than was asked for.
        Refused: The choice does not say enough.
    """
    if choice.amount is not None and choice.amount <= 0:
        raise Refused("The amount must be more than nothing.")
    where = {held.id for held in posting.places.values() if held.kind in kinds}
    if choice.place:
        where = {find_place(posting, choice.place, kinds, " or ".join(kinds)).id}
    if choice.container:
        one = find_container(posting, choice.container)
        there = [h for h in posting.holdings(one.item_id, where) if h.container_id == one.id]
        name = f"container {choice.container}"
    else:
        if not choice.sku:
            raise Refused("Say which item and lot, or which container.")
        known = find_item(posting, choice.sku)
        if choice.lot:
            _know_lot(posting, known, choice)
        there = [
            held
            for held in posting.holdings(known.id, where)
            if held.owner == choice.owner and (not choice.lot or held.lot_code == choice.lot)
        ]
        name = f"{choice.owner}'s {choice.sku}" if choice.owner else choice.sku
        name += f" lot {choice.lot}" if choice.lot else ""
    total = sum(held.amount for held in there)
    if total == 0:
        there_is = choice.place or f"any {' or '.join(kinds)}"
        raise Refused(f"There is nothing of {name} in {there_is}.")
    if not choice.container and not choice.lot and choice.amount is None:
        raise Refused(f"Say which lot of {choice.sku}, or how much of it.")
    asked = total if choice.amount is None else choice.amount
    if asked > total:
        sku, unit = posting.names(there[0].item_id)
        raise NotEnough(
            sku, _named(posting, where), format_amount(asked, unit), format_amount(total, unit)
        )
    return fefo(there, asked, day=day)


def _know_lot(posting: Posting, known: Row[Any], choice: Choice) -> None:
    lots: Sequence[str] = posting.connection.scalars(
        select(lot.c.code).where(lot.c.item_id == known.id, lot.c.owner == choice.owner)
    ).all()
    if choice.lot not in lots:
        raise Unknown(f"lot of {choice.sku}", choice.lot, list(lots)[-3:])


def _named(posting: Posting, places: Collection[int]) -> str:
    codes = sorted(posting.places[place_id].code for place_id in places)
    return ", ".join(codes[:3]) + (" …" if len(codes) > 3 else "")

"""Opening a canister, pouring part of it off, and mixing ready pretreat from concentrate.

Amounts are integers of thousandths. What is opened lives until opened on + open life; what is
poured off a container was opened when that was. A mix is a lot of its own that names its parents:
parts of water to one part of concentrate, measured in the item's own unit (water is not kept in
the book), and it may be used until its parents' dates or its own mix life, whichever is earlier.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Row, select

from stock.book.containers import container_now, set_state
from stock.book.drawing import Draw, fefo
from stock.book.holding import Holding, Place
from stock.book.lots import mixed_expiry
from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import lot, lot_parent
from stock.errors import NotEnough, Refused
from stock.shop.choosing import find_item, find_place, first_to_go, on_shelf, pack_size, past_date
from stock.shop.done import Done, done
from stock.shop.slots import put_in
from stock.units import format_amount

CHEMICALS = "gloves and goggles: see the safety data sheet before opening or pouring"


def open_pack(
    book: Book, sku: str, *, on: date, lot: str = "", code: str = "", who: str = "", note: str = ""
) -> Done:
    """Open one sealed pack on the shelf: its open life begins.

    Raises:
        Refused: No sealed pack of it is there.
    """

    def work(posting: Posting) -> Done:
        held, notes = _sealed(posting, sku, on, lot)
        entry_id = posting.entry("open", on, note=note)
        _open(posting, entry_id, on, held, code=code)
        return done(posting, entry_id, [*notes, CHEMICALS])

    return post(book, work, who=who)


@dataclass(frozen=True, slots=True)
class Decant:
    """How much to pour off: from an open container, or from a sealed pack of an item."""

    amount: int
    on: date
    container: str = ""
    sku: str = ""
    lot: str = ""
    code: str = ""
    to: str = ""
    note: str = ""


def decant(book: Book, wanted: Decant, *, who: str = "") -> Done:
    """Pour part of a container into a new one; a sealed pack is opened first.

    Raises:
        NotEnough: The container holds less.
        Refused: Nothing to pour from.
    """

    def work(posting: Posting) -> Done:
        if wanted.amount <= 0:
            raise Refused("The amount to pour off must be more than nothing.")
        if wanted.container:
            held, notes = first_to_go(posting, "", wanted.on, container_code=wanted.container)
        else:
            held, notes = _sealed(posting, wanted.sku, wanted.on, wanted.lot)
        source = posting.places[held.place_id]
        target = find_place(posting, wanted.to, ("shelf",), "shelf") if wanted.to else source
        entry_id = posting.entry("decant", wanted.on, note=wanted.note)
        if held.container_id is None:
            held = _open(posting, entry_id, wanted.on, held)
        if wanted.amount > held.amount:
            sku, unit = posting.names(held.item_id)
            name = container_now(posting, _container_of(held)).code
            raise NotEnough(
                sku,
                f"Container {name}",
                format_amount(wanted.amount, unit),
                format_amount(held.amount, unit),
            )
        _pour(posting, entry_id, wanted, held, target)
        return done(posting, entry_id, [*notes, CHEMICALS])

    return post(book, work, who=who)


def _sealed(posting: Posting, sku: str, day: date, lot_code: str) -> tuple[Holding, list[str]]:
    known = find_item(posting, sku)
    sealed = [
        held
        for held in on_shelf(posting, known.id, day, lot_code=lot_code)
        if held.container_id is None
    ]
    if not sealed:
        named = f"{sku} lot {lot_code}" if lot_code else sku
        raise Refused(f"No sealed pack of {named} is on a shelf.")
    held = fefo(sealed, 1, day=day)[0].holding
    return held, past_date(posting, held, day)


def _open(posting: Posting, entry_id: int, day: date, held: Holding, *, code: str = "") -> Holding:
    """Open one pack of a sealed holding where it stands; returns the new container's holding."""
    size = pack_size(posting, held.item_id, held.lot_id) or held.amount
    where = posting.places[held.place_id]
    container_id = put_in(
        posting, entry_id, day, held, min(size, held.amount), where, state="opened", code=code
    )
    return next(
        one
        for one in posting.holdings(held.item_id, {where.id})
        if one.container_id == container_id
    )


def _container_of(held: Holding) -> int:
    if held.container_id is None:
        raise AssertionError("the holding is still sealed")
    return held.container_id


def _pour(posting: Posting, entry_id: int, wanted: Decant, held: Holding, target: Place) -> None:
    old = container_now(posting, _container_of(held))
    emptied = wanted.amount == held.amount
    put_in(
        posting,
        entry_id,
        wanted.on,
        held,
        wanted.amount,
        target,
        state="opened",
        code=wanted.code,
        fresh=True,
    )
    if emptied:
        set_state(posting, entry_id, old, "empty", place_id=None)


@dataclass(frozen=True, slots=True)
class Mix:
    """A mix to make: so much ready mix, or from so much concentrate (one of the two)."""

    sku: str
    on: date
    ready: int | None = None
    concentrate: int | None = None
    concentrate_lot: str = ""
    code: str = ""
    to: str = "SHELF"
    note: str = ""


def mix(book: Book, wanted: Mix, *, who: str = "") -> Done:
    """Mix ready pretreat from concentrate and water: concentrate out, a new lot in.

    Raises:
        NotEnough: Less concentrate is on the shelves.
        Refused: The item is not mixed from anything, or its terms say too little.
    """
    return post(book, lambda posting: _mix(posting, wanted), who=who)


def _mix(posting: Posting, wanted: Mix) -> Done:
    made = find_item(posting, wanted.sku)
    base, ratio = _recipe(posting, made)
    concentrate, ready = _how_much(wanted, ratio)
    there = on_shelf(posting, base.id, wanted.on, lot_code=wanted.concentrate_lot)
    draws = fefo(there, concentrate, day=wanted.on)
    total = sum(draw.amount for draw in draws)
    if total < concentrate:
        raise NotEnough(
            base.sku,
            "The shelf",
            format_amount(concentrate, base.unit),
            format_amount(total, base.unit),
        )
    target = find_place(posting, wanted.to, ("shelf",), "shelf")
    entry_id = posting.entry("mix", wanted.on, note=wanted.note)
    mixing = posting.place("MIXING")
    parents: dict[int, int] = {}
    dates: list[date | None] = []
    for draw in draws:
        held, amount = draw.holding, draw.amount
        parents[held.lot_id] = parents.get(held.lot_id, 0) + amount
        for part in _opened_parts(posting, entry_id, wanted.on, draw):
            dates.append(part.holding.effective_expiry or part.holding.sealed_expiry)
            posting.move(
                entry_id,
                wanted.on,
                base.id,
                held.lot_id,
                part.amount,
                posting.places[part.holding.place_id],
                mixing,
                from_container=part.holding.container_id,
            )
    expiry = mixed_expiry(dates, wanted.on, made.mix_life_days)
    lot_id = posting.add(
        lot,
        item_id=made.id,
        code=wanted.code or _mix_code(posting, made.id, wanted.on),
        owner="",
        sealed_expiry=expiry,
        produced_on=wanted.on,
        received_on=wanted.on,
    )
    for parent_id, amount in parents.items():
        posting.add(
            lot_parent, lot_id=lot_id, parent_id=parent_id, entry_id=entry_id, amount=amount
        )
    posting.move(entry_id, wanted.on, made.id, lot_id, ready, mixing, target)
    until = f"use by {expiry}" if expiry else "no date is known for it"
    water = format_amount(ready - concentrate, made.unit)
    return done(posting, entry_id, [f"add {water} of distilled water; {until}", CHEMICALS])


def _recipe(posting: Posting, made: Row[Any]) -> tuple[Row[Any], float]:
    if not made.mixed_from or made.mix_ratio is None:
        raise Refused(f"{made.sku} is not mixed from anything: its item names no concentrate.")
    base = find_item(posting, made.mixed_from)
    if base.unit != made.unit:
        raise Refused(
            f"{made.sku} is kept in {made.unit}, {base.sku} in {base.unit}: a mix needs both in "
            f"one unit."
        )
    if made.mix_ratio < 0:
        raise Refused(f"{made.sku}: {made.mix_ratio:g} parts of water cannot be.")
    return base, float(made.mix_ratio)


def _how_much(wanted: Mix, ratio: float) -> tuple[int, int]:
    """(concentrate, ready) in thousandths; what is given stays exact."""
    if (wanted.ready is None) == (wanted.concentrate is None):
        raise Refused("Say how much ready mix to make, or how much concentrate to use.")
    if wanted.concentrate is not None:
        concentrate, ready = wanted.concentrate, round(wanted.concentrate * (1 + ratio))
    else:
        ready = wanted.ready or 0
        concentrate = round(ready / (1 + ratio))
    if concentrate <= 0 or ready <= 0:
        raise Refused("The amount to mix must be more than nothing.")
    return concentrate, ready


def _opened_parts(posting: Posting, entry_id: int, day: date, draw: Draw) -> Iterator[Draw]:
    """A draw from sealed stock: whole packs as they are, the last part from a pack opened then.

    Each part is to be moved before the next is asked for.
    """
    held = draw.holding
    if held.container_id is not None:
        yield draw
        return
    size = pack_size(posting, held.item_id, held.lot_id) or held.amount
    whole = draw.amount // size * size
    rest = draw.amount - whole
    if whole:
        yield Draw(held, whole)
    if rest:
        yield Draw(_open(posting, entry_id, day, held), rest)


def _mix_code(posting: Posting, item_id: int, day: date) -> str:
    taken = set(
        posting.connection.scalars(
            select(lot.c.code).where(lot.c.item_id == item_id, lot.c.code.like("MIX-%"))
        )
    )
    number = 1
    while (code := f"MIX-{day:%Y%m%d}-{number}") in taken:
        number += 1
    return code

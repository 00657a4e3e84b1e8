"""Slots: loading a cartridge, swapping one, unloading a part-used one, topping up a tank.

Amounts are integers of thousandths. A cartridge slot holds one container; a tank blends all that
was poured into it. Taking out a cartridge as *empty* is a measurement: what never comes out of it
(its unusable rest) was left, so everything else was used, whatever the book thought. It is kept
as a reading of kind ``swap`` (level: the rest; book level: what the book still had), from which
the printer's rates are calibrated.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from stock.book.containers import Container, loaded_in, set_state
from stock.book.holding import Holding, Place
from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import reading
from stock.errors import Refused
from stock.shop.choosing import find_item, find_place, first_to_go, pack_size
from stock.shop.done import Done, done
from stock.shop.slots import put_in
from stock.units import format_amount

Old = Literal["", "empty", "keep", "waste"]
"""What becomes of a cartridge taken out: run dry, kept part-used, thrown away; empty text: decide
by what the book still has in it."""

DRY_SHARE = 10
"""A cartridge with less than a tenth of its capacity left is taken as run dry when nobody says."""


@dataclass(frozen=True, slots=True)
class Load:
    """What goes into a slot: an item (FEFO, or this lot), or a part-used container.

    ``amount`` only for tanks (a part of a pack); ``old`` says what becomes of a cartridge that is
    in the slot.
    """

    slot: str
    on: date
    sku: str = ""
    lot: str = ""
    container: str = ""
    amount: int | None = None
    old: Old = ""
    note: str = ""
    source_ref: str | None = None


def load(book: Book, wanted: Load, *, who: str = "") -> Done:
    """Load a slot, swap its cartridge, or top up its tank.

    Raises:
        Unknown: No such slot, item, lot or container.
        Refused: Nothing of it on a shelf, the wrong item for that slot, or an old cartridge of
            which nobody said what becomes of it.
    """
    return post(book, lambda posting: post_load(posting, wanted), who=who)


def post_load(posting: Posting, wanted: Load) -> Done:
    """Append one load to a posting; see :func:`load`."""
    slot = find_place(posting, wanted.slot, ("slot",), "slot")
    posting.hold_places([slot.id])
    sku = wanted.sku or _usual_item(posting, slot)
    held, notes = first_to_go(
        posting, sku, wanted.on, lot_code=wanted.lot, container_code=wanted.container
    )
    _refuse_wrong_item(posting, slot, held)
    amount = _amount_to_load(posting, slot, held, wanted)
    tank = slot.feed == "tank"
    inside = [] if tank else loaded_in(posting, slot.id)
    by_hand = "; ".join([note for note in notes if "chosen by hand" in note])
    entry_id = posting.entry(
        "topup" if tank else "swap" if inside else "load",
        wanted.on,
        note="; ".join(filter(None, [wanted.note, by_hand])),
        source_ref=wanted.source_ref,
    )
    for one in inside:
        notes += _take_out(posting, entry_id, wanted.on, slot, one, wanted.old)
    put_in(posting, entry_id, wanted.on, held, amount, slot)
    notes += _over_the_brim(posting, slot)
    return done(posting, entry_id, notes)


def unload(
    book: Book,
    slot_code: str,
    *,
    on: date,
    old: Old = "keep",
    to: str = "SHELF",
    who: str = "",
    note: str = "",
) -> Done:
    """Take the cartridge out of a slot: kept part-used on a shelf, run dry, or thrown away.

    A tank can only be emptied to waste: a blend has no lot of its own to go back as.

    Raises:
        Refused: The slot is empty, or a tank was asked to go back to a shelf.
    """

    def work(posting: Posting) -> Done:
        slot = find_place(posting, slot_code, ("slot",), "slot")
        shelf = find_place(posting, to, ("shelf",), "shelf")
        posting.hold_places([slot.id])
        inside = loaded_in(posting, slot.id)
        if not inside:
            raise Refused(f"{slot.code} is empty.")
        if slot.feed == "tank" and old != "waste":
            raise Refused(
                f"{slot.code} is a tank: what is in it is a blend and cannot go back to a shelf. "
                f"Empty it to waste, or leave it."
            )
        entry_id = posting.entry("unload", on, note=note)
        notes = []
        for one in inside:
            notes += _take_out(posting, entry_id, on, slot, one, old, shelf)
        return done(posting, entry_id, notes)

    return post(book, work, who=who)


def _usual_item(posting: Posting, slot: Place) -> str:
    """The item a slot takes, when the person named none."""
    if slot.item_id is not None:
        posting.hold([slot.item_id])
        return posting.names(slot.item_id)[0]
    inside = posting.slot_holdings(slot.id)
    if inside:
        return posting.names(inside[0].item_id)[0]
    return ""


def _refuse_wrong_item(posting: Posting, slot: Place, held: Holding) -> None:
    sku, _ = posting.names(held.item_id)
    if slot.item_id is not None and slot.item_id != held.item_id:
        posting.hold([slot.item_id])
        raise Refused(f"{slot.code} takes {posting.names(slot.item_id)[0]}, not {sku}.")
    channel = find_item(posting, sku).channel
    if slot.channel and channel and slot.channel != channel:
        raise Refused(f"{slot.code} prints channel {slot.channel}; {sku} is channel {channel}.")
    others = {one.item_id for one in posting.slot_holdings(slot.id)} - {held.item_id}
    if slot.feed == "tank" and others:
        names = ", ".join(posting.names(other)[0] for other in others)
        raise Refused(f"{slot.code} holds {names}; {sku} cannot be blended with it.")


def _amount_to_load(posting: Posting, slot: Place, held: Holding, wanted: Load) -> int:
    sku, unit = posting.names(held.item_id)
    if wanted.amount is not None and slot.feed != "tank":
        raise Refused(f"{slot.code} takes a whole cartridge; give no amount.")
    if wanted.amount is not None:
        if not 0 < wanted.amount <= held.amount:
            raise Refused(
                f"Lot {held.lot_code} of {sku} has {format_amount(held.amount, unit)} on the "
                f"shelf; {format_amount(wanted.amount, unit)} was to be poured in."
            )
        return wanted.amount
    if held.container_id is not None:
        return held.amount
    size = pack_size(posting, held.item_id, held.lot_id)
    return held.amount if size is None else min(size, held.amount)


def _take_out(
    posting: Posting,
    entry_id: int,
    day: date,
    slot: Place,
    one: Container,
    old: Old,
    shelf: Place | None = None,
) -> list[str]:
    """Take a cartridge out, as the person says it is; returns notes."""
    posting.hold([one.item_id])
    left = posting.held_at(slot.id, one.lot_id, one.id)
    sku, unit = posting.names(one.item_id)
    if not old:
        if left > one.unusable_rest + one.capacity // DRY_SHARE:
            raise Refused(
                f"{slot.code} still holds {format_amount(left, unit)} of {sku} by the book: say "
                f"whether the old cartridge is empty, kept or thrown away (empty, keep, waste)."
            )
        old = "empty"
    if old == "keep" and left > 0:
        target = shelf or posting.place("SHELF")
        posting.move(
            entry_id,
            day,
            one.item_id,
            one.lot_id,
            left,
            slot,
            target,
            from_container=one.id,
            to_container=one.id,
        )
        set_state(posting, entry_id, one, "opened", place_id=target.id)
        return [f"container {one.code} is on {target.code} with {format_amount(left, unit)}"]
    if old == "empty":
        _post_run_dry(posting, entry_id, day, slot, one, left)
    elif left > 0:
        _to_waste(posting, entry_id, day, slot, one, left)
    set_state(posting, entry_id, one, "empty", place_id=None)
    if old == "keep":
        return [f"the book has nothing left in container {one.code}; weigh it if there is"]
    return ["waste ink: follow the data sheet and local rules, never down a drain"]


def _post_run_dry(
    posting: Posting, entry_id: int, day: date, slot: Place, one: Container, left: int
) -> None:
    """The rest is what a dry cartridge holds: the book is set to it, and it goes to waste."""
    rest = min(one.unusable_rest, one.capacity)
    correction = posting.place("CORRECTION")
    common = (entry_id, day, one.item_id, one.lot_id)
    if left > rest:
        posting.move(*common, left - rest, slot, correction, from_container=one.id)
    elif left < rest:
        posting.move(*common, rest - left, correction, slot, to_container=one.id)
    if rest:
        _to_waste(posting, entry_id, day, slot, one, rest)
    posting.add(
        reading,
        entry_id=entry_id,
        kind="swap",
        day=day,
        printer_id=slot.printer_id,
        place_id=slot.id,
        container_id=one.id,
        item_id=one.item_id,
        channel=slot.channel,
        level=rest,
        book_level=left,
    )


def _to_waste(
    posting: Posting, entry_id: int, day: date, slot: Place, one: Container, amount: int
) -> None:
    waste = posting.place("WASTE")
    posting.move(entry_id, day, one.item_id, one.lot_id, amount, slot, waste, from_container=one.id)


def _over_the_brim(posting: Posting, slot: Place) -> list[str]:
    if slot.capacity is None:
        return []
    inside = posting.slot_holdings(slot.id)
    total = sum(held.amount for held in inside)
    if total <= slot.capacity:
        return []
    unit = posting.names(inside[0].item_id)[1]
    return [
        f"Check {slot.code}: by the book it holds {format_amount(total, unit)}, more than its "
        f"{format_amount(slot.capacity, unit)}; dip it"
    ]

"""Goods that leave a shelf unprinted: quarantined, returned, scrapped, expired, moved.

Amounts are integers of thousandths. Each action takes a :class:`Choice` (a lot, or a container,
how much of it, where) and a reason, and posts one entry.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from stock.book.containers import container_now, set_state
from stock.book.drawing import Draw, blended
from stock.book.holding import Place
from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.errors import NotEnough, Refused
from stock.shop.choosing import Choice, add_shelf, chosen_draws, find_place
from stock.shop.done import Done, done
from stock.units import format_amount

DISPOSAL = "dispose of it by the data sheet (section 13) and local rules; never down a drain"


def quarantine(
    book: Book, choice: Choice, reason: str, *, on: date, who: str = "", source_ref: str = ""
) -> Done:
    """Set goods aside: they stay in the book but count for nothing until released.

    Raises:
        Refused: No reason, or nothing there.
    """

    def work(posting: Posting) -> Done:
        draws = chosen_draws(posting, choice, on, ("shelf", "slot"))
        return _carry(
            posting, "quarantine", draws, posting.place("QUARANTINE"), on, _said(reason), source_ref
        )

    return post(book, work, who=who)


def release(
    book: Book, choice: Choice, *, on: date, to: str = "SHELF", note: str = "", who: str = ""
) -> Done:
    """Bring quarantined goods back to a shelf."""

    def work(posting: Posting) -> Done:
        draws = chosen_draws(posting, choice, on, ("quarantine",))
        target = find_place(posting, to, ("shelf",), "shelf")
        return _carry(posting, "release", draws, target, on, note)

    return post(book, work, who=who)


def move(
    book: Book,
    choice: Choice,
    to: str,
    *,
    on: date,
    note: str = "",
    who: str = "",
    new_shelf: bool = False,
) -> Done:
    """Carry goods from one shelf to another; with ``new_shelf`` to one the book does not know yet.

    Raises:
        Refused: They are there already, or a new shelf's code is not one.
        Unknown: No such shelf.
    """

    def work(posting: Posting) -> Done:
        if new_shelf:
            add_shelf(posting, to)
        target = find_place(posting, to, ("shelf",), "shelf")
        draws = [
            draw for draw in chosen_draws(posting, choice, on) if draw.holding.place_id != target.id
        ]
        if not draws:
            raise Refused(f"That is on {to} already.")
        return _carry(posting, "move", draws, target, on, note)

    return post(book, work, who=who)


def return_to_supplier(
    book: Book, choice: Choice, reason: str, *, on: date, who: str = "", source_ref: str = ""
) -> Done:
    """Send goods back: from a shelf or out of quarantine.

    Raises:
        Refused: No reason, a customer's goods, or nothing there.
    """

    def work(posting: Posting) -> Done:
        if choice.owner:
            raise Refused("A customer's goods go back to the customer, not to a supplier.")
        draws = chosen_draws(posting, choice, on, ("shelf", "quarantine"))
        return _carry(
            posting, "return", draws, posting.place("RETURNED"), on, _said(reason), source_ref
        )

    return post(book, work, who=who)


def scrap(
    book: Book,
    choice: Choice,
    reason: str,
    *,
    on: date,
    spilled: bool = False,
    who: str = "",
    source_ref: str = "",
) -> Done:
    """Throw goods away (or note them spilled). A slot named as the place gives in proportion.

    Raises:
        Refused: No reason, or nothing there.
        NotEnough: Less is there.
    """

    def work(posting: Posting) -> Done:
        where = next((p for p in posting.places.values() if p.code == choice.place), None)
        if where is not None and where.kind == "slot" and not choice.container:
            draws = _of_slot(posting, where, choice.amount)
        else:
            draws = chosen_draws(posting, choice, on, ("shelf", "quarantine", "slot"))
        kind = "spill" if spilled else "scrap"
        return _carry(
            posting, kind, draws, posting.place("WASTE"), on, _said(reason), source_ref, [DISPOSAL]
        )

    return post(book, work, who=who)


def write_off_expired(
    book: Book, *, on: date, sku: str = "", lot: str = "", who: str = "", note: str = ""
) -> Done:
    """Write off the shop's goods past their date on shelves and in quarantine, in one entry.

    What is loaded in a machine is left and named: a date is a maker's margin, not a sudden end,
    and somebody has to take it out first. Customers' goods are never written off.
    """

    def work(posting: Posting) -> Done:
        from sqlalchemy import select

        from stock.book.tables import item
        from stock.shop.choosing import find_item

        ids = [find_item(posting, sku).id] if sku else posting.connection.scalars(select(item.c.id))
        posting.hold(list(ids))
        late = [
            held
            for item_id in sorted(posting.held_items())
            for held in posting.holdings(item_id)
            if held.last_day < on and not held.owner and (not lot or held.lot_code == lot)
        ]
        loaded = [h for h in late if posting.places[h.place_id].kind == "slot"]
        notes = [
            f"{posting.places[h.place_id].code} holds {posting.names(h.item_id)[0]} lot "
            f"{h.lot_code}, past its date ({h.last_day}); test it or take it out"
            for h in loaded
        ]
        draws = [Draw(h, h.amount) for h in late if h not in loaded]
        if not draws:
            return Done(None, "expire", on, (), tuple(notes))
        waste = posting.place("WASTE")
        return _carry(posting, "expire", draws, waste, on, note, "", [*notes, DISPOSAL])

    return post(book, work, who=who)


def _said(reason: str) -> str:
    if not reason.strip():
        raise Refused("Say why: the reason is kept with the entry.")
    return reason.strip()


def _of_slot(posting: Posting, slot: Place, amount: int | None) -> list[Draw]:
    there = posting.slot_holdings(slot.id)
    total = sum(held.amount for held in there)
    if not there:
        raise Refused(f"{slot.code} is empty.")
    if amount is not None and amount > total:
        sku, unit = posting.names(there[0].item_id)
        raise NotEnough(sku, slot.code, format_amount(amount, unit), format_amount(total, unit))
    return blended(there, total if amount is None else amount)


def _carry(
    posting: Posting,
    kind: str,
    draws: Sequence[Draw],
    target: Place,
    day: date,
    note: str = "",
    source_ref: str = "",
    notes: Sequence[str] = (),
) -> Done:
    """Move draws to ``target`` in one entry; containers keep their identity where stock is held."""
    entry_id = posting.entry(kind, day, note=note, source_ref=source_ref or None)
    for draw in draws:
        held = draw.holding
        source = posting.places[held.place_id]
        whole = draw.amount == held.amount
        if held.container_id is not None and target.holds and not whole:
            code = container_now(posting, held.container_id).code
            raise Refused(f"Container {code} goes as a whole; pour part of it off first (decant).")
        posting.move(
            entry_id,
            day,
            held.item_id,
            held.lot_id,
            draw.amount,
            source,
            target,
            from_container=held.container_id,
            to_container=held.container_id if target.holds else None,
        )
        if held.container_id is None:
            continue
        one = container_now(posting, held.container_id)
        if target.holds:
            state = "quarantined" if target.kind == "quarantine" else "opened"
            set_state(posting, entry_id, one, state, place_id=target.id)
        elif whole and source.kind != "slot":
            set_state(posting, entry_id, one, "empty", place_id=None)
    return done(posting, entry_id, notes)

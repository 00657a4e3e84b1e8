"""Maintenance done: supplies used up (wipers, caps, cleaning liquid), white shaken.

Amounts are integers of thousandths. A service happened whatever the shelf says: what was not on
it is noted as an overrun.
"""

from __future__ import annotations

from datetime import date

from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import printer, reading
from stock.errors import Refused
from stock.shop.choosing import find_item, find_place
from stock.shop.done import Done, done
from stock.shop.finding import find
from stock.shop.slots import draw_from_shelf, move_draws, note_overrun
from stock.units import format_amount, to_thousandths


def service_done(
    book: Book,
    sku: str,
    *,
    on: date,
    amount: int | None = None,
    printer_code: str = "",
    lot: str = "",
    who: str = "",
    note: str = "",
) -> Done:
    """Post a service with a maintenance supply; missing amount: what one service takes.

    Raises:
        Unknown: No such supply or printer.
        Refused: The item is no maintenance supply.
    """

    def work(posting: Posting) -> Done:
        supply = find_item(posting, sku)
        if supply.kind != "supply":
            raise Refused(f"{sku} is {supply.kind}, not a maintenance supply.")
        machine = None
        if printer_code:
            machine = find(posting.connection, printer, printer.c.code, printer_code, "printer")
        asked = to_thousandths(supply.amount_per_service) if amount is None else amount
        if asked <= 0:
            raise Refused(f"{sku}: say how much the service took.")
        entry_id = posting.entry("maintain", on, note=note)
        draws = draw_from_shelf(posting, supply.id, asked, day=on, lot=lot or None)
        taken = move_draws(posting, entry_id, on, draws, posting.place("UPKEEP"))
        notes = ["spent liquid and pads: data sheet section 13 and local rules decide"]
        if taken < asked:
            shelf = posting.place("SHELF")
            note_overrun(posting, entry_id, supply.id, shelf, asked, taken)
            notes.append(
                f"Count {sku}: the shelf gave {format_amount(taken, supply.unit)} of "
                f"{format_amount(asked, supply.unit)}"
            )
        posting.add(
            reading,
            entry_id=entry_id,
            kind="service",
            day=on,
            printer_id=machine.id if machine is not None else None,
            item_id=supply.id,
        )
        return done(posting, entry_id, notes)

    return post(book, work, who=who)


def shaken(book: Book, slot_code: str, *, on: date, who: str = "", note: str = "") -> Done:
    """Note that the white (or any ink) in a slot was shaken or stirred; nothing moves.

    Raises:
        Unknown: No such slot.
    """

    def work(posting: Posting) -> Done:
        slot = find_place(posting, slot_code, ("slot",), "slot")
        entry_id = posting.entry("shake", on, note=note)
        posting.add(
            reading,
            entry_id=entry_id,
            kind="shake",
            day=on,
            printer_id=slot.printer_id,
            place_id=slot.id,
            channel=slot.channel,
        )
        return done(posting, entry_id, [f"{slot.code} was shaken on {on}"])

    return post(book, work, who=who)

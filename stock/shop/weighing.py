"""Scale, dipstick, counter: what is really left, and the book set to it.

Amounts are integers of thousandths, masses grams. The difference between book and reading goes
to or comes from CORRECTION; the reading itself is kept (book level before, level found), and the
printer's rates are calibrated from it. A blend gives and takes in proportion.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import select

from stock.book.containers import Container
from stock.book.drawing import apportion, blended
from stock.book.holding import Place
from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import entry, item, printer, reading
from stock.book.undo import reversed_entries
from stock.errors import Refused
from stock.shop.choosing import find_container, find_place
from stock.shop.done import Done, done
from stock.shop.finding import find
from stock.shop.slots import move_draws
from stock.units import THOUSAND, format_amount

OVERFULL = 1.1
"""A reading above this share of what the container ever held is a wrong tare or unit."""


@dataclass(frozen=True, slots=True)
class Weighing:
    """One weighing: a slot or a container, what the scale showed, whether the tare is off it."""

    what: str
    grams: float
    on: date
    net: bool = False
    note: str = ""
    source_ref: str | None = None


def weigh(book: Book, weighing: Weighing, *, who: str = "") -> Done:
    """Set a slot or container to what the scale says: (grams − tare) ÷ density.

    Raises:
        Unknown: No such slot or container.
        Refused: Tare or density not known, or a mass that cannot be.
    """
    return post(book, lambda posting: post_weighing(posting, weighing), who=who)


def post_weighing(posting: Posting, weighing: Weighing) -> Done:
    """Append one weighing to a posting; see :func:`weigh`."""
    if not math.isfinite(weighing.grams) or weighing.grams < 0:
        raise Refused(f"{weighing.grams} g is not a mass.")
    where, inside = _measured(posting, weighing.what)
    tare_g = 0.0
    if not weighing.net:
        tares = [one.tare_mg for one in inside]
        if len(inside) > 1 or tares[0] is None:
            if where.feed == "tank":
                raise Refused(
                    f"{weighing.what} is a tank: dip it, or give the mass of the ink alone (net)."
                )
            raise Refused(
                f"The empty weight of what is in {weighing.what} is not known: give the mass of "
                f"the ink alone (net), or the tare of its pack."
            )
        tare_g = tares[0] / 1000
    net_g = weighing.grams - tare_g
    if net_g < 0:
        raise Refused(
            f"{weighing.what} weighs {weighing.grams:g} g, less than its empty weight "
            f"{tare_g:g} g: check the scale, or give the mass of the ink alone (net)."
        )
    level = _level_of_mass(posting, inside[0].item_id, net_g)
    return _set_level(
        posting,
        "weigh",
        where,
        inside,
        level,
        weighing.on,
        grams=weighing.grams,
        note=weighing.note,
        source_ref=weighing.source_ref,
    )


def dip(book: Book, slot_code: str, level: int, *, on: date, who: str = "", note: str = "") -> Done:
    """Set a slot to the level read on its dipstick or gauge.

    Raises:
        Refused: Not a slot, nothing in it, or more than it can hold.
    """

    def work(posting: Posting) -> Done:
        slot = find_place(posting, slot_code, ("slot",), "slot")
        where, inside = _measured(posting, slot.code)
        if level < 0 or (slot.capacity is not None and level > slot.capacity * OVERFULL):
            _, unit = posting.names(inside[0].item_id)
            most = "" if slot.capacity is None else f" of {format_amount(slot.capacity, unit)}"
            raise Refused(f"{slot.code}{most} cannot hold {format_amount(level, unit)}.")
        return _set_level(posting, "dip", where, inside, level, on, note=note)

    return post(book, work, who=who)


def _measured(posting: Posting, what: str) -> tuple[Place, list[Container]]:
    """Where it is, and the containers a reading of it speaks of (all of a tank's)."""
    from stock.book.containers import loaded_in

    place = next((p for p in posting.places.values() if p.code == what), None)
    if place is not None and place.kind == "slot":
        posting.slot_holdings(place.id)
        inside = loaded_in(posting, place.id)
        if not inside:
            raise Refused(f"{what} is empty by the book; load it first.")
        posting.hold({one.item_id for one in inside})
        return place, inside
    one = find_container(posting, what)
    if one.place_id is None or one.state == "empty":
        raise Refused(f"Container {what} is empty and gone by the book.")
    return posting.places[one.place_id], [one]


def _level_of_mass(posting: Posting, item_id: int, net_g: float) -> int:
    row = posting.connection.execute(
        select(item.c.sku, item.c.unit, item.c.density_g_per_ml).where(item.c.id == item_id)
    ).one()
    if row.unit == "g":
        return round(net_g * THOUSAND)
    if row.unit != "mL":
        raise Refused(f"{row.sku} is counted, not weighed.")
    if not row.density_g_per_ml:
        raise Refused(f"{row.sku} has no density in the book; a mass says nothing without it.")
    return round(net_g / float(row.density_g_per_ml) * THOUSAND)


def _set_level(
    posting: Posting,
    kind: str,
    where: Place,
    inside: Sequence[Container],
    level: int,
    day: date,
    *,
    grams: float | None = None,
    note: str = "",
    source_ref: str | None = None,
) -> Done:
    sku, unit = posting.names(inside[0].item_id)
    room = sum(one.capacity for one in inside)
    if where.feed != "tank" and level > room * OVERFULL:
        raise Refused(
            f"{format_amount(level, unit)} of {sku} would be in a container of "
            f"{format_amount(room, unit)}: check the empty weight and the unit."
        )
    ids = {one.id for one in inside}
    held = [
        holding
        for holding in posting.holdings(inside[0].item_id, {where.id})
        if holding.container_id in ids
    ]
    before = sum(holding.amount for holding in held)
    entry_id = posting.entry(kind, day, note=note, source_ref=source_ref)
    correction = posting.place("CORRECTION")
    if level < before:
        move_draws(posting, entry_id, day, blended(held, before - level), correction)
    elif level > before:
        gains = (
            [(h.lot_id, h.container_id, h.amount) for h in held]
            if held
            else [(inside[-1].lot_id, inside[-1].id, 1)]
        )
        parts = apportion([weight for _, _, weight in gains], level - before)
        for (lot_id, container_id, _), part in zip(gains, parts, strict=True):
            if part:
                posting.move(
                    entry_id,
                    day,
                    inside[0].item_id,
                    lot_id,
                    part,
                    correction,
                    where,
                    to_container=container_id,
                )
    posting.add(
        reading,
        entry_id=entry_id,
        kind=kind,
        day=day,
        printer_id=where.printer_id,
        place_id=where.id,
        container_id=inside[0].id if len(inside) == 1 else None,
        item_id=inside[0].item_id,
        channel=where.channel,
        grams=grams,
        level=level,
        book_level=before,
    )
    off = format_amount(abs(level - before), unit)
    said = f"{where.code} holds {format_amount(level, unit)} of {sku}; the book said "
    said += f"{format_amount(before, unit)}" + (
        "" if level == before else f", {off} {'less' if level < before else 'more'} than it thought"
    )
    return done(posting, entry_id, [said])


@dataclass(frozen=True, slots=True)
class Counter:
    """What a machine's counter shows: of one channel, or of the whole printer (pieces)."""

    printer: str
    value: float
    on: date
    channel: str = ""
    restarted: bool = False
    note: str = ""
    source_ref: str | None = None


def read_counter(book: Book, counter: Counter, *, who: str = "") -> Done:
    """Keep a counter reading; nothing moves.

    Raises:
        Unknown: No such printer.
        Refused: The counter ran backwards and nobody said it was restarted.
    """
    return post(book, lambda posting: post_counter(posting, counter), who=who)


def post_counter(posting: Posting, counter: Counter) -> Done:
    """Append one counter reading to a posting; see :func:`read_counter`."""
    if not math.isfinite(counter.value) or counter.value < 0:
        raise Refused(f"{counter.value} is not a counter reading.")
    machine = find(posting.connection, printer, printer.c.code, counter.printer, "printer")
    last = _last_counter(posting, machine.id, counter)
    if last is not None and counter.value < last and not counter.restarted:
        raise Refused(
            f"The counter of {counter.printer} {counter.channel} stood at {last:g}; "
            f"{counter.value:g} is less. Say so if it was restarted."
        )
    entry_id = posting.entry(
        "counter", counter.on, note=counter.note, source_ref=counter.source_ref
    )
    posting.add(
        reading,
        entry_id=entry_id,
        kind="counter",
        day=counter.on,
        printer_id=machine.id,
        channel=counter.channel,
        counter=counter.value,
    )
    since = "" if last is None else f", {counter.value - last:g} since the last reading"
    return done(
        posting, entry_id, [f"counter of {counter.printer} {counter.channel}".rstrip() + since]
    )


def _last_counter(posting: Posting, printer_id: int, counter: Counter) -> float | None:
    pending: list[dict[str, Any]] = [
        row
        for row in posting.pending(reading)
        if row["kind"] == "counter"
        and row.get("printer_id") == printer_id
        and row.get("channel", "") == counter.channel
        and row["day"] <= counter.on
    ]
    if pending:
        return float(max(pending, key=lambda row: row["day"])["counter"])
    return posting.connection.scalar(
        select(reading.c.counter)
        .join(entry, entry.c.id == reading.c.entry_id)
        .where(
            reading.c.kind == "counter",
            reading.c.printer_id == printer_id,
            reading.c.channel == counter.channel,
            reading.c.day <= counter.on,
            entry.c.id.not_in(reversed_entries()),
        )
        .order_by(reading.c.day.desc(), reading.c.id.desc())
        .limit(1)
    )

"""What print entries drew of which lots, and with what share of the blend.

Amounts are integers of thousandths; a share is of one item's amount in one entry, 0–1.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, or_, select

from stock.book.tables import item, movement, place, print_run
from stock.book.undo import reversed_entries


@dataclass(slots=True)
class Drawn:
    """So much of a lot; 0 when its share of the draw was less than a thousandth."""

    amount: int
    share: float
    unit: str


def draws_of_lots(connection: Connection, lots: Sequence[int]) -> dict[tuple[int, int], Drawn]:
    """By (print entry, lot): what these lots gave to prints, thin shares of blends included."""
    entries: set[int] = set(
        connection.scalars(
            select(movement.c.entry_id)
            .join(print_run, print_run.c.entry_id == movement.c.entry_id)
            .where(movement.c.lot_id.in_(lots))
            .distinct()
        )
    )
    slots = connection.scalars(
        select(movement.c.to_place_id)
        .join(place, place.c.id == movement.c.to_place_id)
        .where(movement.c.lot_id.in_(lots), place.c.kind == "slot")
        .distinct()
    ).all()
    entries |= _entries_drawing_on(connection, slots)
    wanted = set(lots)
    return {
        key: draw for key, draw in draws_of_entries(connection, entries).items() if key[1] in wanted
    }


def _entries_drawing_on(connection: Connection, slots: Sequence[int]) -> set[int]:
    """Live print entries that drew from one of these slots."""
    if not slots:
        return set()
    return set(
        connection.scalars(
            select(print_run.c.entry_id)
            .join(movement, movement.c.entry_id == print_run.c.entry_id)
            .where(
                movement.c.from_place_id.in_(slots),
                print_run.c.entry_id.not_in(reversed_entries()),
            )
            .distinct()
        )
    )


def draws_of_entries(connection: Connection, entries: set[int]) -> dict[tuple[int, int], Drawn]:
    """By (entry, lot): amounts and shares of print entries, by the blend each slot held then."""
    if not entries:
        return {}
    legs: list[Row[Any]] = []
    for part in in_parts(sorted(entries)):
        legs += connection.execute(
            select(movement, item.c.unit, place.c.kind)
            .join(item, item.c.id == movement.c.item_id)
            .join(place, place.c.id == movement.c.from_place_id)
            .where(movement.c.entry_id.in_(part))
            .order_by(movement.c.id)
        ).all()
    draws: dict[tuple[int, int], Drawn] = {}
    totals: dict[tuple[int, int], int] = defaultdict(int)
    items: dict[tuple[int, int], int] = {}
    for leg in legs:
        totals[(leg.entry_id, leg.item_id)] += leg.amount
        known = draws.setdefault((leg.entry_id, leg.lot_id), Drawn(0, 0.0, leg.unit))
        known.amount += leg.amount
        items[(leg.entry_id, leg.lot_id)] = leg.item_id
    for key, draw in draws.items():
        draw.share = draw.amount / totals[(key[0], items[key])]
    slots = {leg.from_place_id for leg in legs if leg.kind == "slot"}
    for slot_id in slots:
        firsts: dict[int, tuple[int, str]] = {}
        for leg in legs:
            if leg.from_place_id == slot_id:
                firsts.setdefault(leg.entry_id, (leg.id, leg.unit))
        for entry_id, unit, blend in _blends(connection, slot_id, firsts):
            whole = sum(blend.values())
            for lot_id, amount in blend.items():
                if (entry_id, lot_id) not in draws:
                    draws[(entry_id, lot_id)] = Drawn(0, amount / whole, unit)
    return draws


def _blends(
    connection: Connection, slot_id: int, firsts: dict[int, tuple[int, str]]
) -> Iterable[tuple[int, str, dict[int, int]]]:
    """(entry, unit, amount by lot) of a slot just before each entry first drew on it."""
    by_movement = {
        movement_id: (entry_id, unit) for entry_id, (movement_id, unit) in firsts.items()
    }
    inside: dict[int, int] = defaultdict(int)
    rows = connection.execute(
        select(
            movement.c.id,
            movement.c.lot_id,
            movement.c.from_place_id,
            movement.c.to_place_id,
            movement.c.amount,
        )
        .where(or_(movement.c.from_place_id == slot_id, movement.c.to_place_id == slot_id))
        .order_by(movement.c.id)
    )
    for row in rows:
        if row.id in by_movement:
            entry_id, unit = by_movement[row.id]
            yield entry_id, unit, {lot_id: held for lot_id, held in inside.items() if held > 0}
        if row.from_place_id == slot_id:
            inside[row.lot_id] -= row.amount
        if row.to_place_id == slot_id:
            inside[row.lot_id] += row.amount


def in_parts(ids: Sequence[int], size: int = 500) -> Iterable[Sequence[int]]:
    """``ids`` in lists short enough for one query."""
    for start in range(0, len(ids), size):
        yield ids[start : start + size]

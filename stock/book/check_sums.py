"""The sums of the book, made again from its movements alone."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import CompoundSelect, Connection, func, select, union_all

from stock.book.catalogue import HOLDING_KINDS
from stock.book.finding import MOST_SHOWN, Finding
from stock.book.tables import balance, entry, movement, place, reading, receipt


def legs() -> CompoundSelect[tuple[int, int, int, int | None, int]]:
    """Every movement seen from the places that hold stock: in (+) and out (−)."""
    holding = select(place.c.id).where(place.c.kind.in_(HOLDING_KINDS))
    came = select(
        movement.c.id,
        movement.c.to_place_id.label("place_id"),
        movement.c.lot_id,
        movement.c.to_container_id.label("container_id"),
        movement.c.amount.label("amount"),
    ).where(movement.c.to_place_id.in_(holding))
    went = select(
        movement.c.id,
        movement.c.from_place_id,
        movement.c.lot_id,
        movement.c.from_container_id,
        -movement.c.amount,
    ).where(movement.c.from_place_id.in_(holding))
    return union_all(came, went)


def balances(connection: Connection) -> Iterator[Finding]:
    """Every balance is the sum of its movements; none is missing, none too many."""
    leg = legs().subquery()
    total = func.sum(leg.c.amount)
    key = (leg.c.place_id, leg.c.lot_id, leg.c.container_id)
    sums = {
        (place_id, lot_id, container_id): int(amount)
        for place_id, lot_id, container_id, amount in connection.execute(
            select(*key, total).group_by(*key).having(total != 0)
        )
    }
    shown = 0
    for row in connection.execute(select(balance).order_by(balance.c.id)):
        amount = sums.pop((row.place_id, row.lot_id, row.container_id), 0)
        if amount != row.amount and shown < MOST_SHOWN:
            shown += 1
            yield Finding("balance", "balance", row.id, str(row.amount), f"{amount} by movements")
    for (place_id, lot_id, container_id), amount in list(sums.items())[:MOST_SHOWN]:
        where = f"place {place_id}, lot {lot_id}"
        if container_id is not None:
            where += f", container {container_id}"
        yield Finding("balance", "balance", None, f"no row for {where}", f"{amount} by movements")


def never_below_nothing(connection: Connection) -> Iterator[Finding]:
    """No place ever gave what it did not have, at any movement of its history."""
    leg = legs().subquery()
    running = select(
        leg.c.id,
        leg.c.place_id,
        func.sum(leg.c.amount)
        .over(
            partition_by=(leg.c.place_id, leg.c.lot_id, leg.c.container_id),
            order_by=(leg.c.id, leg.c.amount.desc()),
            rows=(None, 0),
        )
        .label("left_there"),
    ).subquery()
    below = (
        select(running.c.id, running.c.place_id, running.c.left_there)
        .where(running.c.left_there < 0)
        .order_by(running.c.id)
        .limit(MOST_SHOWN)
    )
    for movement_id, place_id, left in connection.execute(below):
        yield Finding(
            "negative", "movement", movement_id, f"place {place_id} left at {left}", "0 or more"
        )


def deliveries(connection: Connection) -> Iterator[Finding]:
    """What receipts say came is what moved in from suppliers, entry by entry and lot by lot."""
    supplier = select(place.c.id).where(place.c.kind == "supplier")
    moved = {
        (entry_id, lot_id): int(amount)
        for entry_id, lot_id, amount in connection.execute(
            select(movement.c.entry_id, movement.c.lot_id, func.sum(movement.c.amount))
            .where(movement.c.from_place_id.in_(supplier))
            .group_by(movement.c.entry_id, movement.c.lot_id)
        )
    }
    said = connection.execute(
        select(
            receipt.c.entry_id,
            receipt.c.lot_id,
            func.sum(receipt.c.amount),
            func.max(receipt.c.id),
        ).group_by(receipt.c.entry_id, receipt.c.lot_id)
    )
    for entry_id, lot_id, amount, row_id in said:
        came = moved.pop((entry_id, lot_id), 0)
        if came != int(amount):
            yield Finding(
                "delivery", "receipt", row_id, str(int(amount)), f"{came} moved by entry {entry_id}"
            )
    for (entry_id, lot_id), amount in list(moved.items())[:MOST_SHOWN]:
        yield Finding(
            "delivery",
            "entry",
            entry_id,
            f"{amount} of lot {lot_id} from a supplier without a receipt",
            "a receipt",
        )


def measurements(connection: Connection) -> Iterator[Finding]:
    """A weighing, dip or count moved exactly what it found the book to be off by."""
    kinds = ("weigh", "dip", "count")
    correction = select(place.c.id).where(place.c.kind == "correction")
    off = {
        (entry_id, place_id, item_id): int(amount)
        for entry_id, place_id, item_id, amount in connection.execute(
            select(
                reading.c.entry_id,
                reading.c.place_id,
                reading.c.item_id,
                func.sum(reading.c.level - reading.c.book_level),
            )
            .where(reading.c.kind.in_(kinds), reading.c.level.is_not(None))
            .group_by(reading.c.entry_id, reading.c.place_id, reading.c.item_id)
        )
    }
    measuring = select(entry.c.id).where(entry.c.kind.in_(kinds))
    gain = (movement.c.entry_id, movement.c.to_place_id, movement.c.item_id)
    loss = (movement.c.entry_id, movement.c.from_place_id, movement.c.item_id)
    moved: dict[tuple[int, int, int], int] = {}
    for key, sign, other in (
        (gain, 1, movement.c.from_place_id),
        (loss, -1, movement.c.to_place_id),
    ):
        rows = connection.execute(
            select(*key, func.sum(movement.c.amount))
            .where(movement.c.entry_id.in_(measuring), other.in_(correction))
            .group_by(*key)
        )
        for entry_id, place_id, item_id, amount in rows:
            where = (entry_id, place_id, item_id)
            moved[where] = moved.get(where, 0) + sign * int(amount)
    for where in sorted(off.keys() | moved.keys()):
        if off.get(where, 0) != moved.get(where, 0):
            yield Finding(
                "measurement",
                "entry",
                where[0],
                f"{moved.get(where, 0)} corrected at place {where[1]}",
                f"{off.get(where, 0)} by its readings",
            )

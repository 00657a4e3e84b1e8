"""The story the book tells: undos that mirror, containers where they say, days that can be."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import timedelta

from sqlalchemy import Connection, and_, func, or_, select

from stock.book.catalogue import HOLDING_KINDS
from stock.book.containers import FOLLOWS
from stock.book.finding import MOST_SHOWN, Finding
from stock.book.pending import PROJECTED
from stock.book.tables import (
    balance,
    container,
    container_event,
    entry,
    lot,
    lot_parent,
    movement,
    place,
    print_run,
)


def same_item(connection: Connection) -> Iterator[Finding]:
    """Lots, containers, balances and movements that name one another name the same item."""
    to_box, from_box = container.alias("to_box"), container.alias("from_box")
    wrong = {
        "movement": select(movement.c.id)
        .join(lot, lot.c.id == movement.c.lot_id)
        .where(lot.c.item_id != movement.c.item_id),
        "balance": select(balance.c.id)
        .join(lot, lot.c.id == balance.c.lot_id)
        .outerjoin(container, container.c.id == balance.c.container_id)
        .where(
            or_(
                lot.c.item_id != balance.c.item_id,
                and_(container.c.id.is_not(None), container.c.lot_id != balance.c.lot_id),
            )
        ),
        "container": select(container.c.id)
        .join(lot, lot.c.id == container.c.lot_id)
        .where(lot.c.item_id != container.c.item_id),
    }
    boxed = (
        select(movement.c.id)
        .outerjoin(to_box, to_box.c.id == movement.c.to_container_id)
        .outerjoin(from_box, from_box.c.id == movement.c.from_container_id)
        .where(
            or_(
                to_box.c.lot_id != movement.c.lot_id,
                from_box.c.lot_id != movement.c.lot_id,
            )
        )
    )
    for table, query in [*wrong.items(), ("movement", boxed)]:
        for row_id in connection.scalars(query.limit(MOST_SHOWN)):
            yield Finding("item", table, row_id, "an item or lot its parts do not share", "one")


def reversals(connection: Connection) -> Iterator[Finding]:
    """An undo mirrors the entry it takes back, movement by movement, and is not itself undone."""
    taken_back = entry.alias("taken_back")
    pairs = connection.execute(
        select(
            entry.c.id,
            entry.c.reverses,
            entry.c.day,
            taken_back.c.day.label("first_day"),
            taken_back.c.reverses.label("first_reverses"),
        )
        .join(taken_back, taken_back.c.id == entry.c.reverses)
        .where(entry.c.reverses.is_not(None))
    ).all()
    legs = _legs_of_undos(connection)
    for pair in pairs:
        if pair.first_reverses is not None or pair.reverses >= pair.id:
            yield Finding("undo", "entry", pair.id, f"it undoes {pair.reverses}", "an entry before")
        if pair.day < pair.first_day:
            yield Finding("undo", "entry", pair.id, f"day {pair.day}", f"{pair.first_day} or later")
        mirrored = Counter(
            (item, lot_id, there, box_there, here, box_here, amount)
            for item, lot_id, here, box_here, there, box_there, amount in legs.get(pair.id, ())
        )
        if mirrored != Counter(legs.get(pair.reverses, ())):
            yield Finding(
                "undo", "entry", pair.id, "other movements", f"the mirror of entry {pair.reverses}"
            )


Leg = tuple[int, int, int, int | None, int, int | None, int]


def _legs_of_undos(connection: Connection) -> dict[int, list[Leg]]:
    undone = select(entry.c.reverses).where(entry.c.reverses.is_not(None))
    undoing = select(entry.c.id).where(entry.c.reverses.is_not(None))
    legs: dict[int, list[Leg]] = {}
    rows = connection.execute(
        select(
            movement.c.entry_id,
            movement.c.item_id,
            movement.c.lot_id,
            movement.c.from_place_id,
            movement.c.from_container_id,
            movement.c.to_place_id,
            movement.c.to_container_id,
            movement.c.amount,
        ).where(or_(movement.c.entry_id.in_(undone), movement.c.entry_id.in_(undoing)))
    )
    for row in rows:
        legs.setdefault(row[0], []).append(tuple(row[1:]))
    return legs


def containers(connection: Connection) -> Iterator[Finding]:
    """State columns repeat the last event, states follow one another, stock is where they say."""
    events: dict[int, list[tuple[object, ...]]] = {}
    for row in connection.execute(
        select(
            container_event.c.container_id,
            *(container_event.c[name] for name in PROJECTED),
            entry.c.reverses,
        )
        .join(entry, entry.c.id == container_event.c.entry_id)
        .order_by(container_event.c.id)
    ):
        events.setdefault(row[0], []).append(tuple(row[1:]))
    for row in connection.execute(
        select(container.c.id, *(container.c[name] for name in PROJECTED))
    ):
        story = events.get(row.id, [])
        now = tuple(row[1:])
        if not story or story[-1][:-1] != now:
            last = story[-1][0] if story else "nothing"
            yield Finding("container", "container", row.id, str(row.state), f"{last} by its events")
        before: str | None = None
        for event in story:
            state, undoes = str(event[0]), event[-1] is not None
            if not undoes and state not in FOLLOWS[before]:
                yield Finding(
                    "container", "container", row.id, f"{before} became {state}", "a state allowed"
                )
            before = None if undoes and state == "empty" else state
    yield from _stock_of_containers(connection)
    yield from _one_cartridge(connection)


KIND_OF_STATE = {
    "sealed": "shelf",
    "opened": "shelf",
    "loaded": "slot",
    "quarantined": "quarantine",
}


def _stock_of_containers(connection: Connection) -> Iterator[Finding]:
    rows = connection.execute(
        select(
            container.c.id,
            container.c.state,
            container.c.place_id,
            balance.c.place_id.label("stock_at"),
            place.c.kind,
        )
        .join(balance, balance.c.container_id == container.c.id)
        .join(place, place.c.id == balance.c.place_id)
    )
    for row in rows:
        if row.place_id != row.stock_at or KIND_OF_STATE.get(row.state) != row.kind:
            yield Finding(
                "container",
                "container",
                row.id,
                f"{row.state} at place {row.place_id}, its stock at place {row.stock_at}",
                "its stock where it is",
            )


def _one_cartridge(connection: Connection) -> Iterator[Finding]:
    crowded = connection.execute(
        select(place.c.id, func.count())
        .join(container, container.c.place_id == place.c.id)
        .where(place.c.feed == "cartridge", container.c.state == "loaded")
        .group_by(place.c.id)
        .having(func.count() > 1)
    )
    for place_id, count in crowded:
        yield Finding("container", "place", place_id, f"{count} cartridges loaded", "one at most")


def expiries(connection: Connection) -> Iterator[Finding]:
    """No container may be used longer than its lot's sealed date."""
    late = connection.execute(
        select(container.c.id, container.c.effective_expiry, lot.c.sealed_expiry)
        .join(lot, lot.c.id == container.c.lot_id)
        .where(
            container.c.state != "empty",
            lot.c.sealed_expiry.is_not(None),
            or_(
                container.c.effective_expiry.is_(None),
                container.c.effective_expiry > lot.c.sealed_expiry,
            ),
        )
        .limit(MOST_SHOWN)
    )
    for row_id, until, sealed in late:
        yield Finding("expiry", "container", row_id, str(until), f"{sealed} at the latest")


def mixes(connection: Connection) -> Iterator[Finding]:
    """The parents a mix names are the lots that went into it, amount by amount."""
    mixing = select(place.c.id).where(place.c.kind == "mixing")
    undoing = select(entry.c.id).where(entry.c.reverses.is_not(None))
    went = Counter(
        {
            (entry_id, lot_id): int(amount)
            for entry_id, lot_id, amount in connection.execute(
                select(movement.c.entry_id, movement.c.lot_id, func.sum(movement.c.amount))
                .where(movement.c.to_place_id.in_(mixing), movement.c.entry_id.not_in(undoing))
                .group_by(movement.c.entry_id, movement.c.lot_id)
            )
        }
    )
    named = Counter(
        {
            (entry_id, parent_id): int(amount)
            for entry_id, parent_id, amount in connection.execute(
                select(
                    lot_parent.c.entry_id, lot_parent.c.parent_id, func.sum(lot_parent.c.amount)
                ).group_by(lot_parent.c.entry_id, lot_parent.c.parent_id)
            )
        }
    )
    for key in sorted(went.keys() | named.keys()):
        if went[key] != named[key]:
            yield Finding(
                "mix", "entry", key[0], f"{named[key]} of lot {key[1]} named", f"{went[key]} moved"
            )


def prints(connection: Connection) -> Iterator[Finding]:
    """Every print entry has its run, every run its print entry."""
    rows = connection.execute(
        select(entry.c.id, entry.c.kind, print_run.c.id.label("run"))
        .select_from(entry)
        .outerjoin(print_run, print_run.c.entry_id == entry.c.id)
        .where(
            or_(
                and_(entry.c.kind == "print", print_run.c.id.is_(None)),
                and_(entry.c.kind != "print", print_run.c.id.is_not(None)),
            )
        )
        .limit(MOST_SHOWN)
    )
    for row in rows:
        yield Finding(
            "print", "entry", row.id, f"kind {row.kind}, run {row.run}", "a print with its run"
        )


def dates(connection: Connection) -> Iterator[Finding]:
    """Days that cannot be. Only a movement that disagrees with its own entry is damage."""
    for row_id, day, said in connection.execute(
        select(movement.c.id, movement.c.day, entry.c.day)
        .join(entry, entry.c.id == movement.c.entry_id)
        .where(movement.c.day != entry.c.day)
        .limit(MOST_SHOWN)
    ):
        yield Finding("date", "movement", row_id, str(day), f"its entry's day {said}")
    for row_id, day, at in connection.execute(
        select(entry.c.id, entry.c.day, entry.c.at)
        .where(entry.c.day > func.date(entry.c.at))
        .order_by(entry.c.id)
    ):
        if day > at.date() + timedelta(days=1):
            yield Finding(
                "date", "entry", row_id, str(day), f"no later than {at.date()}", damage=False
            )
    arrived = (
        select(movement.c.lot_id, func.min(movement.c.day).label("first_day"))
        .join(place, place.c.id == movement.c.from_place_id)
        .where(place.c.kind.not_in(HOLDING_KINDS))
        .group_by(movement.c.lot_id)
        .subquery()
    )
    early = (
        select(movement.c.id, movement.c.day, arrived.c.first_day)
        .join(arrived, arrived.c.lot_id == movement.c.lot_id)
        .where(movement.c.day < arrived.c.first_day)
        .order_by(movement.c.id)
        .limit(MOST_SHOWN)
    )
    for row_id, day, first in connection.execute(early):
        yield Finding(
            "date",
            "movement",
            row_id,
            str(day),
            f"{first}, when it arrived, or later",
            damage=False,
        )
    for row_id, produced, sealed in connection.execute(
        select(lot.c.id, lot.c.produced_on, lot.c.sealed_expiry)
        .where(lot.c.produced_on > lot.c.sealed_expiry)
        .limit(MOST_SHOWN)
    ):
        yield Finding(
            "date", "lot", row_id, f"made {produced}", f"before its expiry {sealed}", damage=False
        )
    for row_id, opened, first in connection.execute(
        select(container.c.id, container.c.opened_on, arrived.c.first_day)
        .join(arrived, arrived.c.lot_id == container.c.lot_id)
        .where(container.c.opened_on < arrived.c.first_day)
        .limit(MOST_SHOWN)
    ):
        yield Finding(
            "date",
            "container",
            row_id,
            f"opened {opened}",
            f"after {first}, when its lot arrived",
            damage=False,
        )

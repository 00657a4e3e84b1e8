"""Posting: entries and movements appended, balances kept, all in the caller's transaction.

A ``Posting`` holds the stock of the items it touches in memory, so that one delivery and an
import of a hundred thousand rows run through the same code; ``flush`` writes it all. Amounts are
integers of thousandths. Which lot to draw is decided in ``drawing``; what an action means is
decided in ``stock.shop``.

A balance row stands only where there is something: one that falls to nothing is removed, so that
reading what is on hand costs the same after ten years as after ten days. The columns of
``container`` that say its state follow its last event and are written here only.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from datetime import date, datetime
from typing import Any, TypeVar

from sqlalchemy import Connection, Table, select

from stock.book.holding import Holding, Key, Place
from stock.book.opening import Book
from stock.book.pending import Pending
from stock.book.statements import (
    HOLDINGS,
    ITEMS,
    ITEMS_OF_PLACES,
    PLACES,
    as_day,
    asked,
    change_balances,
    locking,
    remove_balances,
)
from stock.book.tables import balance, container, entry, lot, place
from stock.clock import now_utc
from stock.errors import NotEnough, Unknown
from stock.units import format_amount

__all__ = ["Holding", "Place", "Posting", "known_refs", "post"]

Result = TypeVar("Result")


def post(
    book: Book, work: Callable[[Posting], Result], *, who: str = "", at: datetime | None = None
) -> Result:
    """Run ``work`` on a fresh posting in one write transaction, and write what it appended.

    ``work`` may run more than once (see :meth:`Book.write`).
    """

    def writing(connection: Connection) -> Result:
        posting = Posting(connection, who=who, at=at or now_utc())
        result = work(posting)
        posting.flush()
        return result

    return book.write(writing)


class Posting:
    """One transaction's worth of entries and movements.

    Call :meth:`hold` with every item that will move before the first draw: it locks them in one
    fixed order and reads what is there. Call :meth:`flush` at the end.
    """

    def __init__(self, connection: Connection, *, who: str, at: datetime) -> None:
        self.connection = connection
        self.who = who
        self.at = at
        self._pending = Pending(connection)
        self._held: set[int] = set()
        self._holdings: dict[Key, Holding] = {}
        self._by_item: dict[int, dict[Key, Holding]] = {}
        self._by_place: dict[int, dict[Key, Holding]] = {}
        self._changed: dict[Key, Holding] = {}
        self._places_read: set[int] = set()
        self._sku: dict[int, tuple[str, str]] = {}
        self.places: dict[int, Place] = {row[0]: Place(*row) for row in asked(connection, PLACES)}
        self._place_by_code = {held.code: held for held in self.places.values()}

    def place(self, code: str) -> Place:
        """The place named ``code``."""
        found = self._place_by_code.get(code)
        if found is None:
            raise Unknown("place", code)
        return found

    def hold(self, item_ids: Collection[int]) -> None:
        """Lock these items (in id order) and read what all places hold of them.

        On PostgreSQL the lock is FOR NO KEY UPDATE: rows that merely name the item (an order line)
        can still be written by others.
        """
        wanted = sorted(set(item_ids) - self._held)
        if not wanted:
            return
        self._held.update(wanted)
        connection = self.connection
        for start in range(0, len(wanted), 500):
            part = wanted[start : start + 500]
            for item_id, sku, unit in asked(connection, locking(connection, ITEMS), part):
                self._sku[item_id] = (sku, unit)
            for row in asked(connection, HOLDINGS, part):
                held = Holding(*row[:8], *map(as_day, row[8:]))
                held.written = held.amount
                self._keep(held)

    def hold_places(self, place_ids: Collection[int]) -> None:
        """Lock these slots (in id order), before items: two stations must not load one slot."""
        if self.connection.dialect.name == "postgresql":
            locked = select(place.c.id).where(place.c.id.in_(list(place_ids))).order_by(place.c.id)
            self.connection.execute(locked.with_for_update(key_share=True)).all()

    def _keep(self, holding: Holding) -> None:
        """Know a holding; the lists of what is there hold it only while something is."""
        self._holdings[holding.key] = holding
        self._by_item.setdefault(holding.item_id, {})[holding.key] = holding
        self._by_place.setdefault(holding.place_id, {})[holding.key] = holding

    def _set(self, holding: Holding, amount: int) -> None:
        key = holding.key
        if amount == 0:
            del self._by_item[holding.item_id][key]
            del self._by_place[holding.place_id][key]
        elif holding.amount == 0:
            self._keep(holding)
        holding.amount = amount
        self._changed[key] = holding

    def holdings(self, item_id: int, place_ids: Collection[int] | None = None) -> list[Holding]:
        """What is held of an item now (this posting's own movements counted), amounts above 0."""
        self.hold([item_id])
        return [
            held
            for held in self._by_item.get(item_id, {}).values()
            if place_ids is None or held.place_id in place_ids
        ]

    def slot_holdings(self, place_id: int) -> list[Holding]:
        """What is in one slot, oldest container first; its items are locked."""
        if place_id not in self._places_read:
            self._places_read.add(place_id)
            # Read again once locked: another station may have put in another item meanwhile.
            while missing := self._items_in([place_id]) - self._held:
                self.hold(missing)
        found = self._by_place.get(place_id, {}).values()
        return sorted(found, key=lambda held: (held.container_id or 0, held.lot_id))

    def hold_together(self, item_ids: Collection[int], place_ids: Sequence[int] = ()) -> None:
        """Lock these items and what is in these places at once, so that the order stays fixed.

        Whoever draws from several slots and shelves calls this first: two stations that lock the
        same items in turn, each in its own order, would wait for one another.
        """
        usual = (self.places[place_id].item_id for place_id in place_ids)
        known = {item_id for item_id in usual if item_id is not None}
        self.hold({*item_ids, *known, *self._items_in(place_ids)})

    def _items_in(self, place_ids: Sequence[int]) -> set[int]:
        if not place_ids:
            return set()
        return {row[0] for row in asked(self.connection, ITEMS_OF_PLACES, place_ids)}

    def held_at(self, place_id: int, lot_id: int, container_id: int | None) -> int:
        """How much one place holds of one lot and container; its item must be held."""
        held = self._holdings.get((place_id, lot_id, container_id))
        return held.amount if held else 0

    def names(self, item_id: int) -> tuple[str, str]:
        """(sku, unit) of an item held by this posting."""
        return self._sku[item_id]

    def held_items(self) -> frozenset[int]:
        """Ids of the items this posting has locked."""
        return frozenset(self._held)

    def lot_code(self, lot_id: int) -> str:
        """The code of a lot, written or not."""
        for held in self._holdings.values():
            if held.lot_id == lot_id:
                return held.lot_code
        return self._lot_facts(lot_id)[0]

    def pending(self, table: Table) -> list[dict[str, Any]]:
        """Rows of ``table`` added and not yet written."""
        return self._pending.rows(table)

    def pending_row(self, table: Table, row_id: int) -> dict[str, Any] | None:
        """The row with that id, if it was added and is not yet written."""
        return self._pending.row(table, row_id)

    def new_id(self, table: Table) -> int:
        """The next primary key of ``table``, taken ahead so that rows can name one another."""
        return self._pending.new_id(table)

    def add(self, table: Table, **values: Any) -> int:
        """Append a row (written by :meth:`flush`) and return its id.

        A row that no other names gets its id as it is written; 0 is returned for it.
        """
        return self._pending.add(table, values)

    def entry(
        self,
        kind: str,
        day: date,
        *,
        note: str = "",
        source_ref: str | None = None,
        reverses: int | None = None,
    ) -> int:
        """Begin an entry: one thing that happened on a business day."""
        return self.add(
            entry,
            kind=kind,
            day=day,
            at=self.at,
            who=self.who,
            note=note,
            source_ref=source_ref,
            reverses=reverses,
        )

    def move(
        self,
        entry_id: int,
        day: date,
        item_id: int,
        lot_id: int,
        amount: int,
        source: Place,
        target: Place,
        *,
        from_container: int | None = None,
        to_container: int | None = None,
    ) -> None:
        """Append one movement and keep the balances.

        Raises:
            NotEnough: ``source`` holds less than ``amount`` of that lot and container.
        """
        if amount <= 0:
            raise ValueError(f"a movement moves more than nothing, not {amount}")
        if item_id not in self._held:
            self.hold([item_id])
        if source.holds:
            held = self._holdings.get((source.id, lot_id, from_container))
            left = held.amount if held else 0
            if held is None or left < amount:
                sku, unit = self._sku[item_id]
                raise NotEnough(
                    sku, source.code, format_amount(amount, unit), format_amount(left, unit)
                )
            self._set(held, left - amount)
        if target.holds:
            held = self._holdings.get((target.id, lot_id, to_container))
            if held is None:
                held = self._new_holding(target.id, item_id, lot_id, to_container)
            self._set(held, held.amount + amount)
        self._pending.legs.append(
            (
                entry_id,
                day,
                item_id,
                lot_id,
                source.id,
                from_container,
                target.id,
                to_container,
                amount,
            )
        )

    def _new_holding(
        self, place_id: int, item_id: int, lot_id: int, container_id: int | None
    ) -> Holding:
        held = Holding(None, place_id, item_id, lot_id, container_id, 0, *self._lot_facts(lot_id))
        held.effective_expiry = self._container_expiry(container_id)
        self._holdings[held.key] = held
        return held

    def _lot_facts(self, lot_id: int) -> tuple[str, str, date | None, date]:
        row = self._pending.row(lot, lot_id)
        if row is not None:
            return row["code"], row.get("owner", ""), row.get("sealed_expiry"), row["received_on"]
        facts = select(lot.c.code, lot.c.owner, lot.c.sealed_expiry, lot.c.received_on)
        found = self.connection.execute(facts.where(lot.c.id == lot_id)).one()
        return found.code, found.owner, found.sealed_expiry, found.received_on

    def _container_expiry(self, container_id: int | None) -> date | None:
        if container_id is None:
            return None
        row = self._pending.row(container, container_id)
        if row is not None:
            expiry: date | None = row.get("effective_expiry")
            return expiry
        return self.connection.scalar(
            select(container.c.effective_expiry).where(container.c.id == container_id)
        )

    def flush(self) -> None:
        """Write all rows and balances. The posting may go on afterwards."""
        gone, changed = self._changed_balances()
        if gone:
            remove_balances(self.connection, gone)
        self._pending.write()
        if changed:
            change_balances(self.connection, changed)

    def _changed_balances(self) -> tuple[list[int], list[tuple[int, int]]]:
        """Balance rows to remove, and (difference, row) to change; new ones join the rows to
        write."""
        gone: list[int] = []
        changed: list[tuple[int, int]] = []
        for held in sorted(self._changed.values(), key=lambda held: (held.item_id, held.id or 0)):
            if held.id is None and held.amount > 0:
                held.id = self.add(
                    balance,
                    place_id=held.place_id,
                    item_id=held.item_id,
                    lot_id=held.lot_id,
                    container_id=held.container_id,
                    amount=held.amount,
                )
            elif held.id is not None and held.amount == 0:
                gone.append(held.id)
                held.id = None
            elif held.id is not None and held.amount != held.written:
                changed.append((held.amount - held.written, held.id))
            held.written = held.amount
        self._changed.clear()
        return gone, changed


def known_refs(connection: Connection, refs: Collection[str]) -> set[str]:
    """Which of these source references the book has already."""
    found: set[str] = set()
    wanted = list(refs)
    for start in range(0, len(wanted), 500):
        part = wanted[start : start + 500]
        found.update(
            ref
            for ref in connection.scalars(
                select(entry.c.source_ref).where(entry.c.source_ref.in_(part))
            )
            if ref is not None
        )
    return found

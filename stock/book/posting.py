"""Posting: entries and movements appended, balances kept, all in the caller's transaction.

A ``Posting`` holds the stock of the items it touches in memory, so that one delivery and an
import of a hundred thousand rows run through the same code; ``flush`` writes it all. Amounts are
integers of thousandths. Which lot to draw is decided in ``drawing``; what an action means is
decided in ``stock.shop``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, Table, bindparam, func, insert, select, text, update

from stock.book.catalogue import HOLDING_KINDS
from stock.book.tables import balance, container, entry, item, lot, movement, place
from stock.errors import NotEnough, Unknown
from stock.units import format_amount


@dataclass(frozen=True, slots=True)
class Place:
    """A place of the book."""

    id: int
    code: str
    kind: str
    printer_id: int | None
    channel: str
    feed: str
    item_id: int | None
    capacity: int | None
    unusable_rest: int

    @property
    def holds(self) -> bool:
        """Whether stock can be here (shelf, slot, quarantine)."""
        return self.kind in HOLDING_KINDS


@dataclass(slots=True)
class Holding:
    """What one place holds of one lot and container. ``id`` is None until it is written."""

    id: int | None
    place_id: int
    item_id: int
    lot_id: int
    container_id: int | None
    amount: int
    lot_code: str = ""
    owner: str = ""
    sealed_expiry: date | None = None
    received_on: date = date.min
    effective_expiry: date | None = None
    written: int = 0

    @property
    def key(self) -> tuple[int, int, int | None]:
        """(place, lot, container)."""
        return self.place_id, self.lot_id, self.container_id

    @property
    def last_day(self) -> date:
        """Last day of use, for sorting: no date at all sorts last."""
        return self.effective_expiry or self.sealed_expiry or date.max


class Posting:
    """One transaction's worth of entries and movements.

    Call :meth:`hold` with every item that will move before the first draw: it locks them in one
    fixed order and reads what is there. Call :meth:`flush` at the end.
    """

    def __init__(self, connection: Connection, *, who: str, at: datetime) -> None:
        self.connection = connection
        self.who = who
        self.at = at
        self._ids: dict[str, list[int]] = {}
        self._rows: list[tuple[Table, list[dict[str, Any]]]] = []
        self._by_table: dict[str, list[dict[str, Any]]] = {}
        self._held: set[int] = set()
        self._holdings: dict[tuple[int, int, int | None], Holding] = {}
        self._by_item: dict[int, list[Holding]] = {}
        self._by_place: dict[int, list[Holding]] = {}
        self._places_read: set[int] = set()
        self._sku: dict[int, tuple[str, str]] = {}
        self.places: dict[int, Place] = {
            row.id: Place(*row)
            for row in connection.execute(
                select(
                    place.c.id,
                    place.c.code,
                    place.c.kind,
                    place.c.printer_id,
                    place.c.channel,
                    place.c.feed,
                    place.c.item_id,
                    place.c.capacity,
                    place.c.unusable_rest,
                )
            )
        }
        self._place_by_code = {held.code: held for held in self.places.values()}

    def place(self, code: str) -> Place:
        """The place named ``code``."""
        found = self._place_by_code.get(code)
        if found is None:
            raise Unknown("place", code)
        return found

    def hold(self, item_ids: Collection[int]) -> None:
        """Lock these items (in id order) and read what all places hold of them."""
        wanted = sorted(set(item_ids) - self._held)
        if not wanted:
            return
        self._held.update(wanted)
        for start in range(0, len(wanted), 500):
            part = wanted[start : start + 500]
            names = select(item.c.id, item.c.sku, item.c.unit).where(item.c.id.in_(part))
            if self.connection.dialect.name == "postgresql":
                names = names.order_by(item.c.id).with_for_update()
            for row in self.connection.execute(names):
                self._sku[row.id] = (row.sku, row.unit)
            held = (
                select(
                    balance.c.id,
                    balance.c.place_id,
                    balance.c.item_id,
                    balance.c.lot_id,
                    balance.c.container_id,
                    balance.c.amount,
                    lot.c.code,
                    lot.c.owner,
                    lot.c.sealed_expiry,
                    lot.c.received_on,
                    container.c.effective_expiry,
                )
                .join(lot, lot.c.id == balance.c.lot_id)
                .outerjoin(container, container.c.id == balance.c.container_id)
                .where(balance.c.item_id.in_(part))
            )
            found: Any
            for found in self.connection.execute(held):
                holding = Holding(*found)
                holding.written = holding.amount
                self._keep(holding)

    def _keep(self, holding: Holding) -> None:
        self._holdings[holding.key] = holding
        self._by_item.setdefault(holding.item_id, []).append(holding)
        self._by_place.setdefault(holding.place_id, []).append(holding)

    def holdings(self, item_id: int, place_ids: Collection[int] | None = None) -> list[Holding]:
        """What is held of an item now (this posting's own movements counted), amounts above 0."""
        self.hold([item_id])
        return [
            held
            for held in self._by_item.get(item_id, ())
            if held.amount > 0 and (place_ids is None or held.place_id in place_ids)
        ]

    def slot_holdings(self, place_id: int) -> list[Holding]:
        """What is in one slot, oldest container first; its items are locked."""
        if place_id not in self._places_read:
            self._places_read.add(place_id)
            items = self.connection.scalars(
                select(balance.c.item_id).where(balance.c.place_id == place_id).distinct()
            )
            self.hold(list(items))
        found = [held for held in self._by_place.get(place_id, ()) if held.amount > 0]
        return sorted(found, key=lambda held: (held.container_id or 0, held.lot_id))

    def names(self, item_id: int) -> tuple[str, str]:
        """(sku, unit) of an item held by this posting."""
        return self._sku[item_id]

    def pending(self, table: Table) -> list[dict[str, Any]]:
        """Rows of ``table`` added and not yet written."""
        return self._by_table.get(table.name, [])

    def new_id(self, table: Table) -> int:
        """The next primary key of ``table``, taken ahead so that rows can name one another."""
        free = self._ids.get(table.name)
        if not free:
            free = self._ids[table.name] = self._take_ids(table)
        return free.pop()

    def _take_ids(self, table: Table) -> list[int]:
        block = 200 if table.name in self._ids else 8
        if self.connection.dialect.name == "postgresql":
            sequence = text(
                f"SELECT nextval(pg_get_serial_sequence('{table.name}', 'id')) "
                "FROM generate_series(1, :block)"
            )
            return sorted(self.connection.scalars(sequence, {"block": block}), reverse=True)
        last = max(
            self.connection.scalar(select(func.max(table.c.id))) or 0,
            max((row["id"] for row in self._by_table.get(table.name, ())), default=0),
        )
        return list(range(last + block, last, -1))

    def add(self, table: Table, **values: Any) -> int:
        """Append a row (written by :meth:`flush`, in the order tables were first used)."""
        rows = self._by_table.get(table.name)
        if rows is None:
            rows = self._by_table[table.name] = []
            self._rows.append((table, rows))
        row_id = self.new_id(table)
        rows.append({"id": row_id, **values})
        return row_id

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
        self.hold([item_id])
        if source.holds:
            held = self._holdings.get((source.id, lot_id, from_container))
            left = held.amount if held else 0
            if held is None or left < amount:
                sku, unit = self._sku[item_id]
                raise NotEnough(
                    sku, source.code, format_amount(amount, unit), format_amount(left, unit)
                )
            held.amount -= amount
        if target.holds:
            held = self._holdings.get((target.id, lot_id, to_container))
            if held is None:
                held = self._new_holding(target.id, item_id, lot_id, to_container)
            held.amount += amount
        self.add(
            movement,
            entry_id=entry_id,
            day=day,
            item_id=item_id,
            lot_id=lot_id,
            from_place_id=source.id,
            from_container_id=from_container,
            to_place_id=target.id,
            to_container_id=to_container,
            amount=amount,
        )

    def _new_holding(
        self, place_id: int, item_id: int, lot_id: int, container_id: int | None
    ) -> Holding:
        held = Holding(None, place_id, item_id, lot_id, container_id, 0, *self._lot_facts(lot_id))
        held.effective_expiry = self._container_expiry(container_id)
        self._keep(held)
        return held

    def _lot_facts(self, lot_id: int) -> tuple[str, str, date | None, date]:
        for row in reversed(self._by_table.get("lot", [])):
            if row["id"] == lot_id:
                return (
                    row["code"],
                    row.get("owner", ""),
                    row.get("sealed_expiry"),
                    row["received_on"],
                )
        facts = select(lot.c.code, lot.c.owner, lot.c.sealed_expiry, lot.c.received_on)
        found = self.connection.execute(facts.where(lot.c.id == lot_id)).one()
        return found.code, found.owner, found.sealed_expiry, found.received_on

    def _container_expiry(self, container_id: int | None) -> date | None:
        if container_id is None:
            return None
        for row in reversed(self._by_table.get("container", [])):
            if row["id"] == container_id:
                expiry: date | None = row.get("effective_expiry")
                return expiry
        return self.connection.scalar(
            select(container.c.effective_expiry).where(container.c.id == container_id)
        )

    def flush(self) -> None:
        """Write all rows and balances. The posting may go on afterwards."""
        for table, rows in self._in_order():
            if rows:
                for uniform in _same_columns(rows):
                    self.connection.execute(insert(table), uniform)
                rows.clear()
        self._write_balances()

    def _in_order(self) -> list[tuple[Table, list[dict[str, Any]]]]:
        """Parents before children, whatever order the caller added them in."""
        rank = {"lot": 0, "entry": 1, "container": 2}
        return sorted(self._rows, key=lambda pair: rank.get(pair[0].name, 3))

    def _write_balances(self) -> None:
        changed: list[dict[str, Any]] = []
        for held in sorted(self._holdings.values(), key=lambda h: (h.item_id, h.id or 0)):
            if held.id is None and held.amount > 0:
                held.id = self.add(
                    balance,
                    place_id=held.place_id,
                    item_id=held.item_id,
                    lot_id=held.lot_id,
                    container_id=held.container_id,
                    amount=held.amount,
                )
            elif held.id is not None and held.amount != held.written:
                changed.append({"row": held.id, "delta": held.amount - held.written})
            held.written = held.amount
        rows = self._by_table.get("balance")
        if rows:
            self.connection.execute(insert(balance), rows)
            rows.clear()
        if changed:
            self.connection.execute(
                update(balance)
                .where(balance.c.id == bindparam("row"))
                .values(amount=balance.c.amount + bindparam("delta")),
                changed,
            )


def _same_columns(rows: Sequence[dict[str, Any]]) -> Iterable[list[dict[str, Any]]]:
    """Rows grouped by the columns they name, for executemany; order kept within a group."""
    groups: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for row in rows:
        groups.setdefault(tuple(row), []).append(row)
    return groups.values()


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

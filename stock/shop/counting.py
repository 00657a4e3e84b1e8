"""Counting: a blind sheet out, counts in, differences posted with their reason.

Amounts are integers of thousandths. The sheet says what lies where, never how much, so that nobody
counts what the book expects. One sheet is one entry; every counted row is kept as a reading, also
where it agreed, so that nothing before it can be undone unnoticed.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import func, select

from stock.book.drawing import fefo
from stock.book.holding import Holding, Place
from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import (
    balance,
    container,
    entry,
    item,
    lot,
    movement,
    pack,
    place,
    reading,
    receipt,
)
from stock.book.undo import reversed_entries
from stock.errors import Refused, Unknown
from stock.shop.choosing import find_container, find_item, find_place
from stock.shop.slots import move_draws
from stock.units import THOUSAND, format_amount, from_thousandths, parse_amount

COUNTED_KINDS = ("shelf", "quarantine")


@dataclass(frozen=True, slots=True)
class SheetLine:
    """What to count: an item's lot (or container) at a place; never how much the book expects.

    ``pack`` is what one unopened pack of that lot holds (thousandths); 0 where it is not known.
    """

    place: str
    item: str
    name: str
    lot: str
    container: str
    owner: str
    unit: str
    pack: int = 0

    def amount(self, text: str) -> int:
        """A figure as it was typed: in the line's unit, or in unopened packs, as ``2p``.

        Raises:
            ValueError: Neither, or packs of something that came in none.
        """
        packs = re.fullmatch(r"([0-9]{1,6}) *(?:p|packs?)", text.strip(), re.IGNORECASE)
        if packs is None:
            return parse_amount(text, self.unit)  # type: ignore[arg-type]
        if not self.pack:
            raise ValueError(f"no pack of {self.item} is known: type it in {self.unit}")
        return int(packs[1]) * self.pack

    def to_json(self) -> dict[str, str]:
        """As the columns of a sheet."""
        return {
            "place": self.place,
            "item": self.item,
            "name": self.name,
            "lot": self.lot,
            "container": self.container,
            "owner": self.owner,
            "unit": self.unit,
        }


def count_sheet(
    book: Book, *, places: Collection[str] = (), kinds: Collection[str] = ()
) -> list[SheetLine]:
    """The blind sheet of these places (all shelves when none) and item kinds (all when none)."""
    pack_of_lot = (
        select(pack.c.amount)
        .join(receipt, receipt.c.pack_id == pack.c.id)
        .where(receipt.c.lot_id == lot.c.id)
        .order_by(receipt.c.id.desc())
        .limit(1)
        .scalar_subquery()
    )
    query = (
        select(
            place.c.code,
            item.c.sku,
            item.c.name,
            lot.c.code,
            container.c.code,
            lot.c.owner,
            item.c.unit,
            pack_of_lot,
        )
        .select_from(balance)
        .join(place, place.c.id == balance.c.place_id)
        .join(item, item.c.id == balance.c.item_id)
        .join(lot, lot.c.id == balance.c.lot_id)
        .outerjoin(container, container.c.id == balance.c.container_id)
        .where(place.c.kind.in_(COUNTED_KINDS))
        .order_by(place.c.code, item.c.sku, lot.c.code, container.c.code)
    )
    if places:
        query = query.where(place.c.code.in_(list(places)))
    if kinds:
        query = query.where(item.c.kind.in_(list(kinds)))
    with book.reading() as connection:
        return [
            SheetLine(where, sku, name, code, box or "", owner, unit, 0 if box else size or 0)
            for where, sku, name, code, box, owner, unit, size in connection.execute(query)
        ]


@dataclass(frozen=True, slots=True)
class CountRow:
    """One counted row: all of an item at a place, one lot of it, or one container."""

    place: str
    sku: str
    counted: int
    lot: str = ""
    container: str = ""
    owner: str = ""


@dataclass(frozen=True, slots=True)
class Difference:
    """What the book said and what was counted."""

    place: str
    item: str
    lot: str
    container: str
    book: int
    counted: int
    unit: str

    def to_json(self) -> dict[str, Any]:
        """Amounts in base units."""
        return {
            "place": self.place,
            "item": self.item,
            "lot": self.lot,
            "container": self.container,
            "book": from_thousandths(self.book),
            "counted": from_thousandths(self.counted),
            "difference": from_thousandths(self.counted - self.book),
            "unit": self.unit,
        }

    def __str__(self) -> str:
        book, counted = format_amount(self.book, self.unit), format_amount(self.counted, self.unit)
        named = " ".join(filter(None, (self.place, self.item, self.lot, self.container)))
        return f"{named}: book {book}, counted {counted}"


@dataclass(frozen=True, slots=True)
class Counted:
    """The entry of a count sheet and its differences."""

    entry: int
    rows: int
    differences: tuple[Difference, ...]

    def to_json(self) -> dict[str, Any]:
        """Entry, how many rows agreed or not, the differences."""
        return {
            "entry": self.entry,
            "rows": self.rows,
            "differences": [difference.to_json() for difference in self.differences],
        }

    def __str__(self) -> str:
        return f"Entry {self.entry} (count): {self.rows} rows, {len(self.differences)} differ"


def count(
    book: Book,
    rows: Sequence[CountRow],
    reason: str,
    *,
    on: date,
    who: str = "",
    source_ref: str | None = None,
) -> Counted:
    """Set the book to what was counted; differences go to or come from CORRECTION.

    A row without a lot speaks of the whole item at that place: a shortage is taken first expired
    first, a surplus goes to the lot received last. A lot the book does not know is added without
    a date.

    Raises:
        Unknown: No such place, item or container.
        Refused: No rows, no reason, a place counted twice, or a part of a piece.
    """
    return post(
        book,
        lambda posting: post_count(posting, rows, reason, on=on, source_ref=source_ref),
        who=who,
    )


def post_count(
    posting: Posting,
    rows: Sequence[CountRow],
    reason: str,
    *,
    on: date,
    source_ref: str | None = None,
) -> Counted:
    """Append one count sheet to a posting; see :func:`count`."""
    if not rows:
        raise Refused("The count sheet has no rows.")
    if not reason.strip():
        raise Refused("Say why it was counted (month end, recount, …): it is kept with the entry.")
    _refuse_twice(rows)
    entry_id = posting.entry("count", on, note=reason.strip(), source_ref=source_ref)
    differences = []
    for row in rows:
        difference = _count_row(posting, entry_id, on, row)
        if difference.book != difference.counted:
            differences.append(difference)
    return Counted(entry_id, len(rows), tuple(differences))


def _refuse_twice(rows: Sequence[CountRow]) -> None:
    seen: set[tuple[str, str, str, str, str]] = set()
    by_item: dict[tuple[str, str, str], set[bool]] = {}
    for row in rows:
        key = (row.place, row.sku, row.owner, row.lot, row.container)
        if key in seen:
            named = " ".join(filter(None, (row.sku, row.lot, row.container)))
            raise Refused(f"{named} at {row.place} is counted twice; add the two rows up.")
        seen.add(key)
        whole = not row.lot and not row.container
        by_item.setdefault((row.place, row.sku, row.owner), set()).add(whole)
    for (where, sku, _), kinds in by_item.items():
        if len(kinds) > 1:
            raise Refused(
                f"{sku} at {where} is counted once as a whole and once by lot; keep one of the two."
            )


def _count_row(posting: Posting, entry_id: int, day: date, row: CountRow) -> Difference:
    where = find_place(posting, row.place, COUNTED_KINDS, "shelf")
    known = find_item(posting, row.sku)
    if row.counted < 0 or (known.unit == "each" and row.counted % THOUSAND):
        raise Refused(
            f"{row.sku} at {row.place}: {row.counted / THOUSAND:g} was counted; expected "
            f"{'whole pieces' if known.unit == 'each' else 'an amount'} of 0 or more."
        )
    box = find_container(posting, row.container) if row.container else None
    there = [
        held
        for held in posting.holdings(known.id, {where.id})
        if held.owner == row.owner
        and (not row.lot or held.lot_code == row.lot)
        and (box is None or held.container_id == box.id)
        and (box is not None or not row.lot or held.container_id is None)
    ]
    before = sum(held.amount for held in there) - _moved_since(posting, row, known.id, where, day)
    there = [held for held in there if held.received_on is None or held.received_on <= day]
    correction = posting.place("CORRECTION")
    if row.counted < before:
        draws = fefo(there, before - row.counted, day=day)
        move_draws(posting, entry_id, day, draws, correction)
    elif row.counted > before:
        lot_id, container_id = _gains(posting, row, known.id, day, there, box)
        posting.move(
            entry_id,
            day,
            known.id,
            lot_id,
            row.counted - before,
            correction,
            where,
            to_container=container_id,
        )
    _keep_reading(posting, entry_id, day, where, known.id, box, row.counted, before)
    return Difference(where.code, row.sku, row.lot, row.container, before, row.counted, known.unit)


def _moved_since(posting: Posting, row: CountRow, item_id: int, where: Place, day: date) -> int:
    """What came less what went after the day of the count: the book is compared as it stood then.

    Entries undone by now count for nothing, whenever they were undone. Only movements already in
    the book count; a container named in the row narrows it to that one.
    """
    coming = (movement.c.to_place_id == where.id, movement.c.to_container_id)
    going = (movement.c.from_place_id == where.id, movement.c.from_container_id)
    total = 0
    for sign, (at, box_id) in ((1, coming), (-1, going)):
        asked = (
            select(func.coalesce(func.sum(movement.c.amount), 0))
            .join(lot, lot.c.id == movement.c.lot_id)
            .join(entry, entry.c.id == movement.c.entry_id)
            .where(entry.c.reverses.is_(None), entry.c.id.not_in(reversed_entries()))
            .where(at, movement.c.item_id == item_id, movement.c.day > day)
            .where(lot.c.owner == row.owner)
        )
        if row.lot:
            asked = asked.where(lot.c.code == row.lot)
        if row.container:
            asked = asked.join(container, container.c.id == box_id).where(
                container.c.code == row.container
            )
        elif row.lot:
            asked = asked.where(box_id.is_(None))
        total += sign * int(posting.connection.scalar(asked) or 0)
    return total


def _gains(
    posting: Posting, row: CountRow, item_id: int, day: date, there: list[Holding], box: Any
) -> tuple[int, int | None]:
    """(lot, container) a surplus goes to."""
    if box is not None:
        if box.item_id != item_id:
            raise Unknown(f"container of {row.sku}", row.container)
        if box.state == "empty":
            raise Refused(f"Container {box.code} is empty and gone by the book; it was counted.")
        return box.lot_id, box.id
    sealed = [held for held in there if held.container_id is None]
    if sealed:
        newest = max(sealed, key=lambda held: (held.received_on, held.lot_id))
        return newest.lot_id, None
    code = row.lot or f"FOUND-{day:%Y%m%d}"
    for added in posting.pending(lot):
        if (added["item_id"], added["code"], added["owner"]) == (item_id, code, row.owner):
            return added["id"], None
    known = posting.connection.scalar(
        select(lot.c.id).where(
            lot.c.item_id == item_id, lot.c.code == code, lot.c.owner == row.owner
        )
    )
    if known is not None:
        return known, None
    return (
        posting.add(lot, item_id=item_id, code=code, owner=row.owner, received_on=day),
        None,
    )


def _keep_reading(
    posting: Posting,
    entry_id: int,
    day: date,
    where: Place,
    item_id: int,
    box: Any,
    counted: int,
    before: int,
) -> None:
    posting.add(
        reading,
        entry_id=entry_id,
        kind="count",
        day=day,
        place_id=where.id,
        container_id=box.id if box is not None else None,
        item_id=item_id,
        level=counted,
        book_level=before,
    )

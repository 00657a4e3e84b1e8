"""Items with what is on hand, machine slots with their levels."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from stock.book.catalogue import HOLDING_KINDS
from stock.book.lots import blend_expiry
from stock.book.onhand import OnHand
from stock.book.opening import Book
from stock.book.posting import Posting
from stock.book.tables import balance, container, item, lot, place, printer
from stock.clock import now_utc
from stock.shop.finding import find
from stock.shop.lookup import Lookup

if TYPE_CHECKING:
    from stock.plan.snapshot import Snapshot


@dataclass(frozen=True, slots=True)
class ItemRow:
    """One item: what shelves and slots hold, what is set aside (thousandths), the first date of
    what is on a shelf."""

    sku: str
    name: str
    kind: str
    unit: str
    on_shelf: int
    in_slots: int
    aside: int
    lots: int
    first_expiry: date | None

    @property
    def total(self) -> int:
        """On shelves and in slots together."""
        return self.on_shelf + self.in_slots


@dataclass(frozen=True, slots=True)
class ItemFacts:
    """What an item is: its kind and unit, and what it is mixed from (empty: nothing)."""

    sku: str
    name: str
    kind: str
    unit: str
    mixed_from: str


def facts_of_item(book: Book, sku: str) -> ItemFacts:
    """What ``sku`` is.

    Raises:
        Unknown: No such item.
    """
    with book.reading() as connection:
        row = find(connection, item, item.c.sku, sku, "item")
    return ItemFacts(row.sku, row.name, row.kind, row.unit, row.mixed_from)


def lots_of_item(book: Book, sku: str) -> list[OnHand]:
    """What every place holds of one item, first expired first; a tank's lots share its date."""
    query = (
        select(
            *(item.c.sku, item.c.name, item.c.kind, lot.c.code, lot.c.owner, place.c.code),
            *(place.c.kind, func.coalesce(container.c.code, ""), balance.c.amount, item.c.unit),
            lot.c.sealed_expiry,
            func.coalesce(container.c.effective_expiry, lot.c.sealed_expiry),
        )
        .select_from(balance)
        .join(item, item.c.id == balance.c.item_id)
        .join(lot, lot.c.id == balance.c.lot_id)
        .join(place, place.c.id == balance.c.place_id)
        .outerjoin(container, container.c.id == balance.c.container_id)
        .where(item.c.sku == sku, balance.c.amount > 0, place.c.kind.in_(HOLDING_KINDS))
        .order_by(lot.c.sealed_expiry, lot.c.id, place.c.code, container.c.id)
    )
    with book.reading() as connection:
        rows = [OnHand._make(row) for row in connection.execute(query)]
        tanks = connection.execute(
            select(place.c.id, place.c.code).where(
                place.c.feed == "tank", place.c.code.in_({row.place for row in rows})
            )
        ).all()
        posting = Posting(connection, who="", at=now_utc())
        dates = {tank.code: blend_expiry(posting.slot_holdings(tank.id)) for tank in tanks}
    return [
        row._replace(effective_expiry=dates[row.place]) if row.place in dates else row
        for row in rows
    ]


@dataclass(frozen=True, slots=True)
class SlotRow:
    """One machine slot: what it takes and holds (thousandths), until when."""

    slot: str
    printer: str
    channel: str
    feed: str
    item: str
    unit: str
    level: int
    capacity: int
    unusable_rest: int
    lots: tuple[str, ...]
    effective_expiry: date | None

    @property
    def share(self) -> float:
        """How full it is, 0 to 1."""
        return min(1.0, self.level / self.capacity) if self.capacity else 0.0


def slots_now(book: Book) -> list[SlotRow]:
    """Every slot, by printer and code."""
    with book.reading() as connection:
        posting = Posting(connection, who="", at=now_utc())
        rows = connection.execute(
            select(
                place.c.id,
                place.c.code,
                place.c.channel,
                place.c.feed,
                place.c.capacity,
                place.c.unusable_rest,
                printer.c.code.label("printer"),
                item.c.sku,
                item.c.unit,
            )
            .join(printer, printer.c.id == place.c.printer_id)
            .outerjoin(item, item.c.id == place.c.item_id)
            .where(place.c.kind == "slot")
            .order_by(printer.c.code, place.c.code)
        ).all()
        found = []
        for row in rows:
            inside = posting.slot_holdings(row.id)
            sku, unit = row.sku or "", row.unit or "mL"
            if inside:
                sku, unit = posting.names(inside[0].item_id)
            level = sum(held.amount for held in inside)
            found.append(
                SlotRow(
                    row.code,
                    row.printer,
                    row.channel,
                    row.feed,
                    sku,
                    unit,
                    level,
                    row.capacity or level,
                    row.unusable_rest,
                    tuple(dict.fromkeys(held.lot_code for held in inside)),
                    blend_expiry(inside) if inside else None,
                )
            )
        return found


def item_codes(book: Book) -> list[str]:
    """Every item's code, for completion."""
    with book.reading() as connection:
        return list(connection.scalars(select(item.c.sku).order_by(item.c.sku)))


def item_of_gtin(book: Book, gtin: str) -> tuple[str, bool] | None:
    """(item code, whether its lots carry dates) of a GTIN; None when it is tied to nothing."""
    with book.reading() as connection:
        chosen = Lookup(connection).pack_by_gtin(gtin)
        if chosen is None:
            return None
        row = connection.execute(
            select(item.c.sku, item.c.kind, item.c.shelf_life_days).where(
                item.c.id == chosen.item_id
            )
        ).one()
        return row.sku, row.kind in ("ink", "pretreat") or row.shelf_life_days is not None


def slot_doubts(snapshot: Snapshot) -> dict[str, float]:
    """How unsure the level of each slot is: standard deviation, base units."""
    doubts: dict[str, float] = {}
    for held in snapshot.stock:
        if held.place_kind == "slot":
            doubts[held.place] = (doubts.get(held.place, 0.0) ** 2 + held.amount_sd**2) ** 0.5
    return doubts

"""Items with what is on hand, machine slots with their levels."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import case, func, select

from stock.book.lots import blend_expiry
from stock.book.opening import Book
from stock.book.posting import Posting
from stock.book.tables import balance, container, item, lot, place, printer
from stock.clock import now_utc
from stock.shop.lookup import Lookup


@dataclass(frozen=True, slots=True)
class ItemRow:
    """One item: what shelves and slots hold, what is set aside, the first date (thousandths)."""

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


def items_on_hand(book: Book, *, like: str = "", kind: str = "") -> list[ItemRow]:
    """Every item by code, whether or not there is any; ``like`` looks in code and name."""

    def part(which: str) -> Any:
        return func.coalesce(func.sum(case((place.c.kind == which, balance.c.amount))), 0)

    query = (
        select(
            item.c.sku,
            item.c.name,
            item.c.kind,
            item.c.unit,
            part("shelf"),
            part("slot"),
            part("quarantine"),
            func.count(func.distinct(balance.c.lot_id)),
            func.min(func.coalesce(container.c.effective_expiry, lot.c.sealed_expiry)),
        )
        .outerjoin(balance, (balance.c.item_id == item.c.id) & (balance.c.amount > 0))
        .outerjoin(lot, lot.c.id == balance.c.lot_id)
        .outerjoin(place, place.c.id == balance.c.place_id)
        .outerjoin(container, container.c.id == balance.c.container_id)
        .group_by(item.c.id, item.c.sku, item.c.name, item.c.kind, item.c.unit)
        .order_by(item.c.sku)
    )
    if like:
        wanted = f"%{like.lower()}%"
        query = query.where(
            func.lower(item.c.sku).like(wanted) | func.lower(item.c.name).like(wanted)
        )
    if kind:
        query = query.where(item.c.kind == kind)
    with book.reading() as connection:
        return [
            ItemRow(
                *(row[0], row[1], row[2], row[3]),
                *(int(row[4]), int(row[5]), int(row[6]), int(row[7])),
                row[8],
            )
            for row in connection.execute(query)
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


def slot_doubts_now(book: Book, day: date) -> dict[str, float]:
    """How unsure the level of each slot is by now: standard deviation, base units."""
    from stock.shop.planning import snapshot_of

    doubts: dict[str, float] = {}
    for held in snapshot_of(book, day).stock:
        if held.place_kind == "slot":
            doubts[held.place] = (doubts.get(held.place, 0.0) ** 2 + held.amount_sd**2) ** 0.5
    return doubts

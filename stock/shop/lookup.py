"""Rows of the catalogue by the names files use, read once for a whole import or one at a time."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Column, Connection, Row, Table, select

from stock.book.tables import artwork, barcode, item, lot, pack, printer, purchase_order, supplier
from stock.errors import Unknown
from stock.shop.finding import near_misses


class Lookup:
    """Finds catalogue rows by name and remembers them.

    Args:
        whole: Read each table whole on first use: right for a file of many rows.
    """

    def __init__(self, connection: Connection, *, whole: bool = False) -> None:
        self.connection = connection
        self.whole = whole
        self._rows: dict[str, dict[Any, Row[Any]]] = {}
        self._read: set[str] = set()
        self._packs: dict[int, list[Row[Any]]] = {}
        self._by_gtin: dict[str, Row[Any]] | None = None
        self._lots: dict[tuple[int, str, str], Row[Any]] | None = None

    def _find(self, table: Table, column: Column[Any], name: str) -> Row[Any] | None:
        known = self._rows.setdefault(table.name, {})
        if self.whole and table.name not in self._read:
            self._read.add(table.name)
            place = list(table.c).index(column)
            known.update({row[place]: row for row in self.connection.execute(select(table))})
        if name not in known and not self.whole:
            row = self.connection.execute(select(table).where(column == name)).one_or_none()
            if row is not None:
                known[name] = row
        return known.get(name)

    def near(self, table: Table, column: Column[Any], name: str) -> list[str]:
        """Names in the table that look like ``name``."""
        known = self.connection.scalars(select(column).limit(20_000)).all()
        return near_misses(name, known)

    def find(self, table: Table, column: Column[Any], name: str, what: str) -> Row[Any]:
        """The row of that name.

        Raises:
            Unknown: There is none; near misses are suggested.
        """
        row = self._find(table, column, name)
        if row is None:
            raise Unknown(what, name, self.near(table, column, name))
        return row

    def item(self, sku: str) -> Row[Any]:
        """An item by sku."""
        return self.find(item, item.c.sku, sku, "item")

    def supplier(self, code: str) -> Row[Any]:
        """A supplier by code."""
        return self.find(supplier, supplier.c.code, code, "supplier")

    def printer(self, code: str) -> Row[Any]:
        """A printer by code."""
        return self.find(printer, printer.c.code, code, "printer")

    def artwork(self, code: str) -> Row[Any]:
        """An artwork by code."""
        return self.find(artwork, artwork.c.code, code, "artwork")

    def purchase(self, ref: str) -> Row[Any]:
        """A purchase order by reference."""
        return self.find(purchase_order, purchase_order.c.ref, ref, "purchase order")

    def packs(self, item_id: int) -> list[Row[Any]]:
        """An item's packs with their supplier's code, preferred ones first."""
        if item_id in self._packs:
            return self._packs[item_id]
        query = (
            select(pack, supplier.c.code.label("supplier"))
            .join(supplier, supplier.c.id == pack.c.supplier_id)
            .order_by(pack.c.preferred.desc(), pack.c.id)
        )
        if self.whole:
            if "pack" not in self._read:
                self._read.add("pack")
                for row in self.connection.execute(query):
                    self._packs.setdefault(row.item_id, []).append(row)
            return self._packs.setdefault(item_id, [])
        found = list(self.connection.execute(query.where(pack.c.item_id == item_id)))
        self._packs[item_id] = found
        return found

    def pack_by_gtin(self, gtin: str) -> Row[Any] | None:
        """The pack a GTIN is tied to; None when nobody tied it yet."""
        wanted = gtin.zfill(14)
        query = (
            select(pack, supplier.c.code.label("supplier"), barcode.c.gtin)
            .join(barcode, barcode.c.pack_id == pack.c.id)
            .join(supplier, supplier.c.id == pack.c.supplier_id)
        )
        if self.whole:
            if self._by_gtin is None:
                self._by_gtin = {row.gtin: row for row in self.connection.execute(query)}
            return self._by_gtin.get(wanted)
        return self.connection.execute(query.where(barcode.c.gtin == wanted)).one_or_none()

    def item_by_id(self, item_id: int) -> Row[Any]:
        """An item by id."""
        for row in self._rows.get("item", {}).values():
            if row.id == item_id:
                return row
        row = self.connection.execute(select(item).where(item.c.id == item_id)).one()
        self._rows.setdefault("item", {})[row.sku] = row
        return row

    def lot(self, item_id: int, code: str, owner: str) -> Row[Any] | None:
        """A lot by item, code and owner."""
        if self.whole:
            if self._lots is None:
                self._lots = {
                    (row.item_id, row.code, row.owner): row
                    for row in self.connection.execute(select(lot))
                }
            return self._lots.get((item_id, code, owner))
        return self.connection.execute(
            select(lot).where(lot.c.item_id == item_id, lot.c.code == code, lot.c.owner == owner)
        ).one_or_none()

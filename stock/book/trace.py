"""Trace: from a lot to every order it touched, from an order back to every lot that touched it.

A draw from a tank takes from each lot in proportion; a lot so thin that its share of a draw rounds
to no thousandth was in that print all the same. So what was in a slot is followed movement by
movement, in the order of the book, and every lot that was there is named with its share of the
blend. A mix leads on to its parents (back) and children (forward). Undone entries do not count.

Amounts are integers of thousandths; shares are of the item's amount in that draw, 0–1.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, Row, select

from stock.book.tables import (
    customer_order,
    entry,
    item,
    lot,
    lot_parent,
    order_line,
    print_run,
    printer,
    supplier,
)
from stock.book.trace_draws import Drawn, draws_of_entries, draws_of_lots, in_parts
from stock.book.undo import reversed_entries
from stock.errors import Unknown


@dataclass(frozen=True, slots=True)
class LotFacts:
    """A lot, where it came from, and the papers on file for it."""

    item: str
    kind: str
    lot: str
    owner: str
    supplier: str
    received_on: date
    sealed_expiry: date | None
    certificate: str
    certificate_expiry: date | None
    data_sheet: str

    def to_json(self) -> dict[str, Any]:
        """Stable keys, ISO dates."""
        return {
            "item": self.item,
            "kind": self.kind,
            "lot": self.lot,
            "owner": self.owner,
            "supplier": self.supplier,
            "received_on": self.received_on.isoformat(),
            "sealed_expiry": _iso(self.sealed_expiry),
            "certificate": self.certificate,
            "certificate_expiry": _iso(self.certificate_expiry),
            "data_sheet": self.data_sheet,
        }


@dataclass(frozen=True, slots=True)
class Touch:
    """A lot in one print run: how much of it, and its share of that item's draw.

    ``by_way_of`` names the mixes between the lot and the run, nearest to the lot first.
    """

    lot: LotFacts
    entry: int
    day: date
    order: str
    line: int | None
    customer: str
    printer: str
    good: int
    misprints: int
    amount: int
    unit: str
    share: float
    by_way_of: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Amount in base units, share 0–1."""
        return {
            "item": self.lot.item,
            "lot": self.lot.lot,
            "entry": self.entry,
            "day": self.day.isoformat(),
            "order": self.order,
            "line": self.line,
            "customer": self.customer,
            "printer": self.printer,
            "good": self.good,
            "misprints": self.misprints,
            "amount": self.amount / 1000,
            "unit": self.unit,
            "share": round(self.share, 6),
            "by_way_of": list(self.by_way_of),
        }


@dataclass(frozen=True, slots=True)
class Trace:
    """Everything found: the lots and the runs they touched."""

    lots: tuple[LotFacts, ...]
    touches: tuple[Touch, ...]

    @property
    def orders(self) -> tuple[str, ...]:
        """Orders touched, in the order they were printed."""
        return tuple(dict.fromkeys(touch.order for touch in self.touches if touch.order))

    def to_json(self) -> dict[str, Any]:
        """Lots with their papers, orders, and every touch."""
        return {
            "lots": [lot.to_json() for lot in self.lots],
            "orders": list(self.orders),
            "touches": [touch.to_json() for touch in self.touches],
        }


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def trace_lot(connection: Connection, code: str, sku: str = "") -> Trace:
    """Forward: which print runs and orders a lot code touched (all items' lots of that code).

    Raises:
        Unknown: No such lot.
    """
    wanted = select(lot.c.id).join(item, item.c.id == lot.c.item_id).where(lot.c.code == code)
    if sku:
        wanted = wanted.where(item.c.sku == sku)
    ids = list(connection.scalars(wanted))
    if not ids:
        raise Unknown("lot", f"{sku} {code}".strip())
    ways = _ways_forward(connection, ids)
    draws = draws_of_lots(connection, list(ways))
    facts = _facts(connection, ids)
    runs = _runs(connection, {entry_id for entry_id, _ in draws})
    touches = [
        _touch(facts[root], runs[entry_id], draw, way)
        for (entry_id, lot_id), draw in draws.items()
        if entry_id in runs
        for root, way in ways[lot_id]
    ]
    return Trace(tuple(facts.values()), tuple(sorted(touches, key=_when)))


def trace_order(connection: Connection, ref: str) -> Trace:
    """Back: every lot of ink, pretreat and blank that touched an order, and their papers.

    Raises:
        Unknown: No such order.
    """
    order_id = connection.scalar(select(customer_order.c.id).where(customer_order.c.ref == ref))
    if order_id is None:
        raise Unknown("order", ref)
    entries = set(
        connection.scalars(
            select(print_run.c.entry_id)
            .join(order_line, order_line.c.id == print_run.c.order_line_id)
            .where(
                order_line.c.order_id == order_id, print_run.c.entry_id.not_in(reversed_entries())
            )
        )
    )
    draws = draws_of_entries(connection, entries)
    drawn = {lot_id for _, lot_id in draws}
    ways = _ways_back(connection, drawn)
    facts = _facts(connection, [ancestor for found in ways.values() for ancestor, _ in found])
    runs = _runs(connection, entries)
    touches = [
        _touch(facts[ancestor], runs[entry_id], draw, way)
        for (entry_id, lot_id), draw in draws.items()
        for ancestor, way in ways[lot_id]
    ]
    return Trace(tuple(facts.values()), tuple(sorted(touches, key=_when)))


def _when(touch: Touch) -> tuple[Any, ...]:
    return touch.day, touch.entry, len(touch.by_way_of), touch.lot.item, touch.lot.lot


def _touch(facts: LotFacts, run: Row[Any], draw: Drawn, way: tuple[str, ...]) -> Touch:
    return Touch(
        facts,
        run.entry_id,
        run.day,
        run.ref or "",
        run.line,
        run.customer or "",
        run.printer or "",
        run.good,
        run.misprints,
        draw.amount,
        draw.unit,
        draw.share,
        way,
    )


def _parents(connection: Connection) -> list[Row[Any]]:
    child, parent = lot.alias("child"), lot.alias("parent")
    return list(
        connection.execute(
            select(lot_parent.c.lot_id, lot_parent.c.parent_id, child.c.code)
            .join(child, child.c.id == lot_parent.c.lot_id)
            .join(parent, parent.c.id == lot_parent.c.parent_id)
            .where(lot_parent.c.entry_id.not_in(reversed_entries()))
        )
    )


Ways = dict[int, list[tuple[int, tuple[str, ...]]]]


def _ways_forward(connection: Connection, roots: Sequence[int]) -> Ways:
    """By lot reached from ``roots`` through mixes: (root, the mixes between)."""
    children: dict[int, list[tuple[int, str]]] = defaultdict(list)
    for row in _parents(connection):
        children[row.parent_id].append((row.lot_id, row.code))
    ways: Ways = defaultdict(list)
    todo: list[tuple[int, int, tuple[str, ...]]] = [(root, root, ()) for root in roots]
    while todo:
        root, at, way = todo.pop()
        if any(known == root for known, _ in ways[at]):
            continue
        ways[at].append((root, way))
        todo.extend((root, child, (*way, code)) for child, code in children[at])
    return ways


def _ways_back(connection: Connection, lots: Iterable[int]) -> Ways:
    """By lot drawn: itself and its ancestors, with the mixes between."""
    parents: dict[int, list[tuple[int, str]]] = defaultdict(list)
    for row in _parents(connection):
        parents[row.lot_id].append((row.parent_id, row.code))
    ways: Ways = {}
    for drawn in lots:
        found: list[tuple[int, tuple[str, ...]]] = []
        todo: list[tuple[int, tuple[str, ...]]] = [(drawn, ())]
        while todo:
            at, way = todo.pop()
            if any(known == at for known, _ in found):
                continue
            found.append((at, way))
            todo.extend((parent, (code, *way)) for parent, code in parents[at])
        ways[drawn] = found
    return ways


def _runs(connection: Connection, entries: set[int]) -> dict[int, Row[Any]]:
    """Print runs by entry; undone ones are left out."""
    found: dict[int, Row[Any]] = {}
    for part in in_parts(sorted(entries)):
        rows = connection.execute(
            select(
                print_run.c.entry_id,
                entry.c.day,
                customer_order.c.ref,
                customer_order.c.customer,
                order_line.c.line,
                printer.c.code.label("printer"),
                print_run.c.good,
                print_run.c.misprints,
            )
            .join(entry, entry.c.id == print_run.c.entry_id)
            .outerjoin(order_line, order_line.c.id == print_run.c.order_line_id)
            .outerjoin(customer_order, customer_order.c.id == order_line.c.order_id)
            .outerjoin(printer, printer.c.id == print_run.c.printer_id)
            .where(print_run.c.entry_id.in_(part), print_run.c.entry_id.not_in(reversed_entries()))
        )
        found.update({row.entry_id: row for row in rows})
    return found


def _facts(connection: Connection, lots: Sequence[int]) -> dict[int, LotFacts]:
    found: dict[int, LotFacts] = {}
    for part in in_parts(sorted(set(lots))):
        rows = connection.execute(
            select(
                lot.c.id,
                item.c.sku,
                item.c.kind,
                lot.c.code,
                lot.c.owner,
                supplier.c.code,
                lot.c.received_on,
                lot.c.sealed_expiry,
                lot.c.certificate,
                lot.c.certificate_expiry,
                lot.c.data_sheet,
            )
            .join(item, item.c.id == lot.c.item_id)
            .outerjoin(supplier, supplier.c.id == lot.c.supplier_id)
            .where(lot.c.id.in_(part))
            .order_by(item.c.kind, item.c.sku, lot.c.code)
        )
        for row in rows:
            facts = list(row[1:])
            facts[4] = facts[4] or ""
            found[row[0]] = LotFacts(*facts)
    return found

"""What things cost: each lot by its deliveries, each item by what is here, else by its pack.

Prices are minor units per thousandth of the base unit (per µL, per mg, per thousandth of a piece).
A customer's garments cost nothing. A lot mixed on site costs what its concentrate cost; the water
is not kept in the book.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import Connection, func, select

from stock.book.tables import balance, item, lot, lot_parent, movement, pack, place, receipt
from stock.book.undo import reversed_entries

Basis = Literal["on hand", "list", "unknown"]


@dataclass(frozen=True, slots=True)
class ItemPrice:
    """Price of an item: minor units per thousandth, and where it comes from."""

    sku: str
    minor: float
    basis: Basis

    @property
    def per_unit_minor(self) -> float:
        """Minor units per base unit (mL, g, each)."""
        return self.minor * 1000


def lot_prices(connection: Connection) -> dict[int, float]:
    """Price by lot id: its deliveries' cost, a mix by its parents, else the item's pack price.

    Lots of which no price is known are missing; customers' lots cost 0.
    """
    listed = list_prices(connection)
    lots = connection.execute(select(lot.c.id, lot.c.item_id, lot.c.owner)).all()
    paid = {
        lot_id: float(cost) / float(amount)
        for lot_id, cost, amount in connection.execute(
            select(receipt.c.lot_id, func.sum(receipt.c.cost_minor), func.sum(receipt.c.amount))
            .where(receipt.c.cost_minor.is_not(None), receipt.c.entry_id.not_in(reversed_entries()))
            .group_by(receipt.c.lot_id)
        )
    }
    for row in lots:
        if row.owner:
            paid[row.id] = 0.0
    _price_mixes(connection, paid, {row.id: listed.get(row.item_id) for row in lots})
    for row in lots:
        price = listed.get(row.item_id)
        if row.id not in paid and price is not None:
            paid[row.id] = price
    return paid


def _price_mixes(
    connection: Connection, paid: dict[int, float], listed: dict[int, float | None]
) -> None:
    """A mix costs its parents' cost over what came out of the mixing."""
    parents: dict[int, list[tuple[int, int]]] = defaultdict(list)
    rows = connection.execute(
        select(lot_parent.c.lot_id, lot_parent.c.parent_id, lot_parent.c.amount)
        .where(lot_parent.c.entry_id.not_in(reversed_entries()))
        .order_by(lot_parent.c.lot_id)
    )
    for lot_id, parent_id, amount in rows:
        parents[lot_id].append((parent_id, int(amount)))
    if not parents:
        return
    made = {
        lot_id: int(amount)
        for lot_id, amount in connection.execute(
            select(movement.c.lot_id, func.sum(movement.c.amount))
            .join(place, place.c.id == movement.c.from_place_id)
            .where(place.c.kind == "mixing", movement.c.entry_id.not_in(reversed_entries()))
            .group_by(movement.c.lot_id)
        )
    }
    for lot_id in sorted(parents):
        cost = 0.0
        for parent_id, amount in parents[lot_id]:
            price = paid.get(parent_id)
            cost += amount * (price if price is not None else listed.get(parent_id) or 0.0)
        if made.get(lot_id):
            paid[lot_id] = cost / made[lot_id]


def list_prices(connection: Connection) -> dict[int, float]:
    """Price by item id from its packs, the preferred one first."""
    rows = connection.execute(
        select(pack.c.item_id, pack.c.price_minor, pack.c.amount).order_by(
            pack.c.preferred, pack.c.id.desc()
        )
    )
    return {item_id: price / amount for item_id, price, amount in rows if amount > 0}


def item_prices(connection: Connection) -> dict[int, ItemPrice]:
    """Price by item id: the average of what is on hand, else the pack's, else unknown (0)."""
    by_lot = lot_prices(connection)
    listed = list_prices(connection)
    value: dict[int, float] = defaultdict(float)
    amount: dict[int, float] = defaultdict(float)
    held = connection.execute(
        select(balance.c.item_id, balance.c.lot_id, balance.c.amount)
        .join(lot, lot.c.id == balance.c.lot_id)
        .where(lot.c.owner == "", balance.c.amount > 0)
    )
    for item_id, lot_id, there in held:
        if lot_id in by_lot:
            value[item_id] += by_lot[lot_id] * there
            amount[item_id] += there
    prices: dict[int, ItemPrice] = {}
    for item_id, sku in connection.execute(select(item.c.id, item.c.sku)):
        if amount[item_id] > 0:
            prices[item_id] = ItemPrice(sku, value[item_id] / amount[item_id], "on hand")
        elif item_id in listed:
            prices[item_id] = ItemPrice(sku, listed[item_id], "list")
        else:
            prices[item_id] = ItemPrice(sku, 0.0, "unknown")
    _price_ready_mixes(connection, prices)
    return prices


def _price_ready_mixes(connection: Connection, prices: dict[int, ItemPrice]) -> None:
    """A ready mix never bought and not on hand costs its share of concentrate."""
    by_sku = {price.sku: price for price in prices.values()}
    mixed = connection.execute(
        select(item.c.id, item.c.sku, item.c.mixed_from, item.c.mix_ratio).where(
            item.c.mixed_from != "", item.c.mix_ratio.is_not(None)
        )
    )
    for row in mixed:
        base = by_sku.get(row.mixed_from)
        if prices[row.id].basis == "unknown" and base is not None and base.basis != "unknown":
            prices[row.id] = ItemPrice(row.sku, base.minor / (1 + row.mix_ratio), base.basis)

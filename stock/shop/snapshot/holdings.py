"""What every place holds, in base units, with dates, value and how sure it is.

What never comes out counts as unusable from the day a pack arrives: of an opened container its own
rest, of sealed stock the rest of its packs, of a tank the tank's.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from typing import Any

from sqlalchemy import Connection, func, select

from stock.book.catalogue import HOLDING_KINDS
from stock.book.lots import blend_date
from stock.book.tables import balance, container, item, lot, movement, pack, place, receipt
from stock.plan.snapshot import StockLot
from stock.shop.prices import lot_prices
from stock.shop.recipes import Recipes
from stock.shop.snapshot.known_on import is_past
from stock.shop.snapshot.machines import Machines, slot_doubts

THOUSAND = 1000.0

Key = tuple[int, int, int, int | None]
"""(place, item, lot, container)."""


def stock_of(connection: Connection, machines: Machines, recipes: Recipes) -> tuple[StockLot, ...]:
    """What every holding place holds by the end of the machines' day.

    A ready mix is there twice: as itself, and as the concentrate in it (its lot named by
    :func:`within_mix`), so that mixing moves nothing in the planner's eyes.
    """
    day = machines.day
    amounts = _past_amounts(connection, day) if is_past(connection, day) else _amounts(connection)
    lots = {row.id: row for row in connection.execute(select(lot))}
    places = {row.id: row for row in connection.execute(select(place))}
    skus = {row.id: row.sku for row in connection.execute(select(item.c.id, item.c.sku))}
    containers = {
        row.id: row
        for row in connection.execute(
            select(
                container.c.id,
                container.c.code,
                container.c.effective_expiry,
                container.c.unusable_rest,
            )
        )
    }
    prices = lot_prices(connection)
    doubts = slot_doubts(connection, machines)
    rests = Rests(connection)
    tank_days = _tank_days(amounts, places, lots, containers)
    found: list[StockLot] = []
    for (place_id, item_id, lot_id, container_id), amount in amounts.items():
        here, of = places[place_id], lots[lot_id]
        inside = containers[container_id] if container_id is not None else None
        rest = rests.of(here, item_id, lot_id, inside, amount)
        found.append(
            StockLot(
                item=skus[item_id],
                lot=of.code,
                place=here.code,
                place_kind=here.kind,
                amount=amount / THOUSAND,
                amount_sd=doubts.pop(place_id, 0.0),
                container=inside.code if inside is not None else "",
                sealed_expiry=of.sealed_expiry,
                effective_expiry=tank_days.get(place_id, _last_day(of, inside)),
                unusable_rest=rest / THOUSAND,
                value_minor=amount * prices.get(lot_id, 0.0),
                owner=of.owner,
                printer=machines.codes.get(here.printer_id, ""),
                channel=here.channel,
            )
        )
    within = [_concentrate_in(held, recipes) for held in found]
    found += [held for held in within if held is not None]
    found.sort(key=lambda held: (held.item, held.lot, held.place, held.container))
    return tuple(found)


class Rests:
    """What never comes out: shares of sealed packs, rests of containers, rests of tanks."""

    def __init__(self, connection: Connection) -> None:
        self._by_pack: dict[int, float] = {}
        self._by_item: dict[int, float] = {}
        rows = connection.execute(
            select(pack.c.id, pack.c.item_id, pack.c.amount, pack.c.unusable_rest).order_by(
                pack.c.preferred, pack.c.id.desc()
            )
        )
        for pack_id, item_id, amount, rest in rows:
            share = min(rest / amount, 1.0) if amount > 0 else 0.0
            self._by_pack[pack_id] = self._by_item[item_id] = share
        packs = connection.execute(
            select(receipt.c.lot_id, func.max(receipt.c.pack_id))
            .where(receipt.c.pack_id.is_not(None))
            .group_by(receipt.c.lot_id)
        )
        self._pack_of: dict[int, int] = {row[0]: row[1] for row in packs}
        self._tank_left: dict[int, int] = {}

    def of(self, here: Any, item_id: int, lot_id: int, inside: Any | None, amount: int) -> int:
        """How much of ``amount`` (thousandths) there never comes out."""
        if here.kind == "slot" and here.feed == "tank":
            left = self._tank_left.setdefault(here.id, here.unusable_rest)
            rest = min(left, amount)
            self._tank_left[here.id] = left - rest
            return rest
        if inside is not None:
            return min(int(inside.unusable_rest), amount)
        pack_id = self._pack_of.get(lot_id)
        share = self._by_item.get(item_id, 0.0) if pack_id is None else self._by_pack[pack_id]
        return round(amount * share)


def _tank_days(
    amounts: Mapping[Key, int],
    places: Mapping[int, Any],
    lots: Mapping[int, Any],
    containers: Mapping[int, Any],
) -> dict[int, date | None]:
    """The last day of each tank: a blend has one date, whatever lots are in it."""
    inside: dict[int, list[tuple[int, date | None]]] = defaultdict(list)
    for (place_id, _, lot_id, container_id), amount in amounts.items():
        here = places[place_id]
        if here.kind == "slot" and here.feed == "tank":
            box = containers[container_id] if container_id is not None else None
            inside[place_id].append((amount, _last_day(lots[lot_id], box)))
    return {place_id: blend_date(parts) for place_id, parts in inside.items()}


def _last_day(of: Any, inside: Any | None) -> date | None:
    days = [of.sealed_expiry, inside.effective_expiry if inside is not None else None]
    known = [day for day in days if day is not None]
    return min(known) if known else None


def _amounts(connection: Connection) -> Mapping[Key, int]:
    rows = connection.execute(
        select(
            balance.c.place_id,
            balance.c.item_id,
            balance.c.lot_id,
            balance.c.container_id,
            balance.c.amount,
        )
        .where(balance.c.amount > 0)
        .order_by(balance.c.id)
    )
    return {(where, what, of, inside): amount for where, what, of, inside, amount in rows}


def _past_amounts(connection: Connection, day: date) -> Mapping[Key, int]:
    """Balances as they stood at the end of a past day, added up from the movements."""
    sums: dict[Key, int] = defaultdict(int)
    for side, inside, sign in (
        (movement.c.to_place_id, movement.c.to_container_id, 1),
        (movement.c.from_place_id, movement.c.from_container_id, -1),
    ):
        rows = connection.execute(
            select(side, movement.c.item_id, movement.c.lot_id, inside, func.sum(movement.c.amount))
            .join(place, place.c.id == side)
            .where(place.c.kind.in_(HOLDING_KINDS), movement.c.day <= day)
            .group_by(side, movement.c.item_id, movement.c.lot_id, inside)
        )
        for where, what, of, held_in, amount in rows:
            sums[where, what, of, held_in] += sign * int(amount)
    return {key: amount for key, amount in sorted(sums.items(), key=_by_id) if amount > 0}


def _by_id(entry: tuple[Key, int]) -> tuple[int, ...]:
    return tuple(-1 if part is None else part for part in entry[0])


def _concentrate_in(held: StockLot, recipes: Recipes) -> StockLot | None:
    """The concentrate in a lot of ready mix, as stock of the concentrate; None for other lots."""
    mix = recipes.of(held.item)
    if mix is None:
        return None
    return StockLot(
        item=mix.concentrate,
        lot=within_mix(held.lot, mix.ready),
        place=held.place,
        place_kind=held.place_kind,
        amount=held.amount * mix.share,
        amount_sd=held.amount_sd * mix.share,
        container=held.container,
        sealed_expiry=held.sealed_expiry,
        effective_expiry=held.effective_expiry,
        unusable_rest=held.unusable_rest * mix.share,
        owner=held.owner,
    )


WITHIN = " within "


def within_mix(lot_code: str, ready: str) -> str:
    """How the concentrate in a ready mix's lot is named."""
    return f"{lot_code}{WITHIN}{ready}"

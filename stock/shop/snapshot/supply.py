"""Items, stock, purchases on the way, offers and suppliers of the book, for the planner."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, func, select

from stock.book.tables import (
    balance,
    container,
    entry,
    item,
    lot,
    movement,
    pack,
    place,
    print_run,
    purchase_line,
    purchase_order,
    receipt,
    supplier,
)
from stock.clock import calendar_of, parse_weekdays
from stock.demand.known import ItemTerms
from stock.plan.snapshot import Offer, OnOrder, PriceBreak, StockLot, SupplierTerms

if TYPE_CHECKING:
    from stock.shop.snapshot.machines import Machines

THOUSAND = 1000.0


def undone_entries() -> Any:
    """Subquery of the entries that were taken back."""
    return select(entry.c.reverses).where(entry.c.reverses.is_not(None))


def items_of(connection: Connection, day: date) -> tuple[ItemTerms, ...]:
    """Every item with its terms; customers' garments come in as stock, not as items."""
    rows = connection.execute(select(item).order_by(item.c.sku)).all()
    serviced = _last_service(connection, day)
    made = {row.mixed_from for row in rows if row.mixed_from}
    return tuple(
        ItemTerms(
            sku=row.sku,
            kind=row.kind,
            unit=row.unit,
            name=row.name,
            family=_family(row),
            size=row.size,
            channel=row.channel,
            service=row.service,
            service_kind=row.service_kind,
            shortage_cost_minor=row.shortage_cost_minor,
            waste_risk=row.waste_risk,
            open_life_days=row.open_life_days,
            shelf_life_days=row.shelf_life_days,
            every_prints=row.every_prints,
            every_days=row.every_days,
            amount_per_service=row.amount_per_service,
            last_used_on=serviced.get(row.id, (None, 0.0))[0],
            prints_since_used=serviced.get(row.id, (None, 0.0))[1],
            reorder=row.reorder and not (row.mixed_from and row.sku not in made),
            replaces=row.replaces,
        )
        for row in rows
    )


def _family(row: Any) -> str:
    if row.kind != "blank":
        return ""
    return f"{row.style} / {row.colour}" if row.style or row.colour else row.sku


def _last_service(connection: Connection, day: date) -> dict[int, tuple[date | None, float]]:
    """Supplies on a schedule: (last used on, garments printed since)."""
    last = connection.execute(
        select(movement.c.item_id, func.max(movement.c.day))
        .join(item, item.c.id == movement.c.item_id)
        .join(place, place.c.id == movement.c.to_place_id)
        .where(
            item.c.kind == "supply",
            place.c.kind.in_(("upkeep", "printed")),
            movement.c.entry_id.not_in(undone_entries()),
        )
        .group_by(movement.c.item_id)
    ).all()
    since: dict[int, tuple[date | None, float]] = {}
    for item_id, used_on in last:
        printed = connection.scalar(
            select(func.sum(print_run.c.good + print_run.c.misprints))
            .join(entry, entry.c.id == print_run.c.entry_id)
            .where(entry.c.day > used_on, entry.c.day <= day, entry.c.id.not_in(undone_entries()))
        )
        since[item_id] = (used_on, float(printed or 0))
    return since


def unit_values(connection: Connection) -> dict[int, float]:
    """Cost of one thousandth of each lot, minor units, from what its deliveries cost."""
    rows = connection.execute(
        select(receipt.c.lot_id, func.sum(receipt.c.cost_minor), func.sum(receipt.c.amount))
        .where(receipt.c.cost_minor.is_not(None), receipt.c.entry_id.not_in(undone_entries()))
        .group_by(receipt.c.lot_id)
    )
    return {lot_id: float(cost) / float(amount) for lot_id, cost, amount in rows}


def stock_of(connection: Connection, machines: Machines) -> tuple[StockLot, ...]:
    """What every holding place holds, in base units."""
    value = unit_values(connection)
    listed = _list_values(connection)
    rows = connection.execute(
        select(
            balance.c.amount,
            balance.c.item_id,
            balance.c.lot_id,
            item.c.sku,
            lot.c.code.label("lot"),
            lot.c.owner,
            lot.c.sealed_expiry,
            place.c.code.label("place"),
            place.c.kind.label("place_kind"),
            place.c.channel,
            place.c.printer_id,
            container.c.code.label("container"),
            container.c.effective_expiry,
            container.c.unusable_rest,
        )
        .join(item, item.c.id == balance.c.item_id)
        .join(lot, lot.c.id == balance.c.lot_id)
        .join(place, place.c.id == balance.c.place_id)
        .outerjoin(container, container.c.id == balance.c.container_id)
        .where(balance.c.amount > 0)
        .order_by(item.c.sku, lot.c.id, place.c.code, balance.c.id)
    )
    return tuple(
        StockLot(
            item=row.sku,
            lot=row.lot,
            place=row.place,
            place_kind=row.place_kind,
            amount=row.amount / THOUSAND,
            container=row.container or "",
            sealed_expiry=row.sealed_expiry,
            effective_expiry=row.effective_expiry or row.sealed_expiry,
            unusable_rest=min(row.unusable_rest or 0, row.amount) / THOUSAND,
            value_minor=0.0
            if row.owner
            else row.amount * value.get(row.lot_id, listed.get(row.item_id, 0.0)),
            owner=row.owner,
            printer=machines.codes.get(row.printer_id, ""),
            channel=row.channel,
        )
        for row in rows
    )


def _list_values(connection: Connection) -> dict[int, float]:
    """Price per thousandth by item from its packs, for lots whose cost nobody wrote down."""
    rows = connection.execute(
        select(pack.c.item_id, pack.c.price_minor, pack.c.amount).order_by(
            pack.c.preferred, pack.c.id.desc()
        )
    )
    return {item_id: price / amount for item_id, price, amount in rows}


def _received_by_line(connection: Connection) -> dict[int, list[tuple[date, int]]]:
    """(day, packs) of each purchase line's deliveries."""
    come: dict[int, list[tuple[date, int]]] = defaultdict(list)
    rows = connection.execute(
        select(receipt.c.purchase_line_id, entry.c.day, receipt.c.packs)
        .join(entry, entry.c.id == receipt.c.entry_id)
        .where(receipt.c.purchase_line_id.is_not(None), entry.c.id.not_in(undone_entries()))
        .order_by(entry.c.day)
    )
    for line_id, day, packs in rows:
        come[line_id].append((day, packs))
    return come


def on_order_of(connection: Connection) -> tuple[OnOrder, ...]:
    """Open purchase lines: what is still to come."""
    come = _received_by_line(connection)
    rows = connection.execute(
        select(
            purchase_line.c.id,
            purchase_line.c.packs,
            purchase_line.c.cancelled_packs,
            purchase_line.c.promised_on.label("line_promised"),
            purchase_order.c.ref,
            purchase_order.c.state,
            purchase_order.c.created_on,
            purchase_order.c.sent_on,
            purchase_order.c.promised_on,
            item.c.sku,
            supplier.c.code.label("supplier"),
            pack.c.amount,
        )
        .join(purchase_order, purchase_order.c.id == purchase_line.c.purchase_id)
        .join(pack, pack.c.id == purchase_line.c.pack_id)
        .join(item, item.c.id == pack.c.item_id)
        .join(supplier, supplier.c.id == purchase_order.c.supplier_id)
        .where(purchase_order.c.state.in_(("draft", "sent", "part received")))
        .order_by(purchase_line.c.id)
    )
    found: list[OnOrder] = []
    for row in rows:
        open_packs = row.packs - row.cancelled_packs - sum(p for _, p in come.get(row.id, ()))
        if open_packs > 0:
            found.append(
                OnOrder(
                    purchase=row.ref,
                    item=row.sku,
                    supplier=row.supplier,
                    amount=open_packs * row.amount / THOUSAND,
                    ordered_on=row.sent_on or row.created_on,
                    promised_on=row.line_promised or row.promised_on,
                    sent=row.state != "draft",
                )
            )
    return tuple(found)


def offers_of(connection: Connection) -> tuple[Offer, ...]:
    """Every pack of every supplier."""
    rows = connection.execute(
        select(pack, item.c.sku, supplier.c.code.label("supplier"))
        .join(item, item.c.id == pack.c.item_id)
        .join(supplier, supplier.c.id == pack.c.supplier_id)
        .order_by(item.c.sku, pack.c.preferred.desc(), pack.c.id)
    )
    return tuple(
        Offer(
            item=row.sku,
            supplier=row.supplier,
            pack=row.code,
            amount=row.amount / THOUSAND,
            price_minor=float(row.price_minor),
            multiple=row.multiple,
            min_packs=row.min_packs,
            breaks=tuple(PriceBreak(int(start), float(price)) for start, price in row.breaks),
            breaks_kind=row.breaks_kind,
            shelf_life_days=row.shelf_life_days,
            preferred=row.preferred,
        )
        for row in rows
    )


def suppliers_of(
    connection: Connection, day: date, horizon_weeks: int
) -> tuple[SupplierTerms, ...]:
    """Suppliers with their terms, closed days and the lead times they have shown."""
    shown: dict[int, list[tuple[date, date, float, float]]] = defaultdict(list)
    come = _received_by_line(connection)
    rows = connection.execute(
        select(
            purchase_line.c.id,
            purchase_line.c.packs,
            pack.c.amount,
            purchase_order.c.supplier_id,
            purchase_order.c.sent_on,
            purchase_order.c.created_on,
        )
        .join(purchase_order, purchase_order.c.id == purchase_line.c.purchase_id)
        .join(pack, pack.c.id == purchase_line.c.pack_id)
        .where(purchase_order.c.state.in_(("closed", "part received")))
        .order_by(purchase_line.c.id)
    )
    for row in rows:
        deliveries = come.get(row.id, ())
        if deliveries:
            shown[row.supplier_id].append(
                (
                    row.sent_on or row.created_on,
                    deliveries[-1][0],
                    row.packs * row.amount / THOUSAND,
                    sum(packs for _, packs in deliveries) * row.amount / THOUSAND,
                )
            )
    last = day + timedelta(weeks=horizon_weeks + 26)
    years = range(day.year - 2, last.year + 1)
    return tuple(
        SupplierTerms(
            code=row.code,
            name=row.name,
            lead_days=row.lead_days,
            lead_sd_days=row.lead_sd_days,
            order_days=parse_weekdays(row.order_days),
            cut_off_hour=row.cut_off_hour,
            closed=calendar_of(
                closed=[date.fromisoformat(text) for text in row.closed],
                country=row.country,
                years=years,
            ).closed,
            order_cost_minor=float(row.order_cost_minor),
            line_cost_minor=float(row.line_cost_minor),
            minimum_minor=float(row.minimum_minor),
            freight_minor=float(row.freight_minor),
            free_freight_minor=float(row.free_freight_minor),
            lead_history=tuple(shown.get(row.id, ())),
        )
        for row in connection.execute(select(supplier).order_by(supplier.c.code))
    )

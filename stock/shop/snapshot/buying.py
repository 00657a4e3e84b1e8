"""Suppliers, offers and purchases of the book: what can be had, what is on the way, how it came.

Amounts are base units of what comes out of a pack, money is minor units. Stock comes by deliveries;
what a purchase file states as received counts as come only for lead times and for what is still
open.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from typing import Any

from sqlalchemy import Connection, func, select

from stock.book.tables import (
    entry,
    item,
    pack,
    purchase_line,
    purchase_order,
    receipt,
    supplier,
)
from stock.clock import calendar_of, parse_weekdays
from stock.plan.snapshot import Offer, OnOrder, PriceBreak, SupplierTerms
from stock.shop.snapshot.known_on import stands

THOUSAND = 1000.0
OLDEST_YEARS = 6
"""Lead times older than this tell nothing and need no holidays."""

Come = dict[int, list[tuple[date, int]]]
"""(day, packs) of each purchase line's deliveries, by line id."""


def deliveries_of(connection: Connection, day: date) -> Come:
    """Deliveries of purchase lines by the end of ``day``, earliest first."""
    come: Come = defaultdict(list)
    rows = connection.execute(
        select(receipt.c.purchase_line_id, entry.c.day, receipt.c.packs)
        .join(entry, entry.c.id == receipt.c.entry_id)
        .where(
            receipt.c.purchase_line_id.is_not(None),
            entry.c.day <= day,
            stands(receipt.c.entry_id),
        )
        .order_by(entry.c.day, receipt.c.id)
    )
    for line_id, when, packs in rows:
        come[line_id].append((when, packs))
    return come


def on_order_of(connection: Connection, day: date) -> tuple[OnOrder, ...]:
    """Open purchase lines as of ``day``: what is still to come."""
    come = deliveries_of(connection, day)
    rows = connection.execute(
        select(
            purchase_line.c.id,
            purchase_line.c.packs,
            purchase_line.c.cancelled_packs,
            purchase_line.c.promised_on.label("line_promised"),
            purchase_line.c.stated_received_on,
            purchase_line.c.stated_received_packs,
            purchase_order.c.ref,
            purchase_order.c.state,
            purchase_order.c.created_on,
            purchase_order.c.sent_on,
            purchase_order.c.closed_on,
            purchase_order.c.promised_on,
            item.c.sku,
            supplier.c.code.label("supplier"),
            (pack.c.amount - pack.c.unusable_rest).label("amount"),
        )
        .join(purchase_order, purchase_order.c.id == purchase_line.c.purchase_id)
        .join(pack, pack.c.id == purchase_line.c.pack_id)
        .join(item, item.c.id == pack.c.item_id)
        .join(supplier, supplier.c.id == purchase_order.c.supplier_id)
        .where(purchase_order.c.state != "cancelled", purchase_order.c.created_on <= day)
        .order_by(purchase_line.c.id)
    )
    found: list[OnOrder] = []
    for row in rows:
        if row.state == "closed" and (row.closed_on is None or row.closed_on <= day):
            continue
        booked = sum(packs for _, packs in come.get(row.id, ()))
        stated = 0
        if row.stated_received_on is not None and row.stated_received_on <= day:
            stated = row.packs if row.stated_received_packs is None else row.stated_received_packs
        open_packs = row.packs - row.cancelled_packs - max(booked, stated)
        if open_packs > 0:
            sent = row.sent_on is not None and row.sent_on <= day
            found.append(
                OnOrder(
                    purchase=row.ref,
                    item=row.sku,
                    supplier=row.supplier,
                    amount=open_packs * row.amount / THOUSAND,
                    ordered_on=row.sent_on if sent else row.created_on,
                    promised_on=row.line_promised or row.promised_on,
                    sent=sent,
                )
            )
    return tuple(found)


def newest_purchase_line(connection: Connection) -> int:
    """Number of the newest purchase line."""
    return int(connection.scalar(select(func.max(purchase_line.c.id))) or 0)


def offers_of(connection: Connection) -> tuple[Offer, ...]:
    """Every pack of every supplier, by what comes out of it."""
    rows = connection.execute(
        select(pack, item.c.sku, supplier.c.code.label("supplier"))
        .join(item, item.c.id == pack.c.item_id)
        .join(supplier, supplier.c.id == pack.c.supplier_id)
        .order_by(item.c.sku, pack.c.preferred.desc(), pack.c.id)
    )
    return tuple(offer_of(row, row.sku, row.supplier) for row in rows)


def offer_of(row: Any, sku: str, supplier_code: str) -> Offer:
    """A row of ``pack`` as the planner sees it."""
    return Offer(
        item=sku,
        supplier=supplier_code,
        pack=row.code,
        amount=(row.amount - row.unusable_rest) / THOUSAND,
        price_minor=float(row.price_minor),
        multiple=row.multiple,
        min_packs=row.min_packs,
        breaks=_breaks(row.breaks),
        breaks_kind=row.breaks_kind,
        shelf_life_days=row.shelf_life_days,
        preferred=row.preferred,
        unusable_rest=row.unusable_rest / THOUSAND,
    )


def suppliers_of(
    connection: Connection, day: date, horizon_weeks: int
) -> tuple[SupplierTerms, ...]:
    """Suppliers with their terms, closed days and the lead times they have shown by ``day``."""
    shown: dict[int, list[tuple[date, date, float, float]]] = defaultdict(list)
    come = deliveries_of(connection, day)
    rows = connection.execute(
        select(
            purchase_line.c.id,
            purchase_line.c.packs,
            purchase_line.c.stated_received_on,
            purchase_line.c.stated_received_packs,
            pack.c.amount,
            purchase_order.c.supplier_id,
            purchase_order.c.sent_on,
            purchase_order.c.created_on,
        )
        .join(purchase_order, purchase_order.c.id == purchase_line.c.purchase_id)
        .join(pack, pack.c.id == purchase_line.c.pack_id)
        .where(purchase_order.c.created_on <= day)
        .order_by(purchase_line.c.id)
    )
    for row in rows:
        deliveries = list(come.get(row.id, ()))
        stated_on = row.stated_received_on
        if not deliveries and stated_on is not None and stated_on <= day:
            stated = row.packs if row.stated_received_packs is None else row.stated_received_packs
            deliveries = [(stated_on, stated)]
        if deliveries:
            shown[row.supplier_id].append(
                (
                    row.sent_on or row.created_on,
                    deliveries[-1][0],
                    row.packs * row.amount / THOUSAND,
                    sum(packs for _, packs in deliveries) * row.amount / THOUSAND,
                )
            )
    first = min((placed for lines in shown.values() for placed, *_ in lines), default=day)
    last = day + timedelta(weeks=horizon_weeks + 26)
    years = range(max(first.year, day.year - OLDEST_YEARS), last.year + 1)
    return tuple(
        SupplierTerms(
            code=row.code,
            name=row.name,
            lead_days=row.lead_days,
            lead_sd_days=row.lead_sd_days,
            order_days=_order_days(row.order_days),
            cut_off_hour=row.cut_off_hour,
            closed=_closed_days(row.closed, row.country, years),
            order_cost_minor=float(row.order_cost_minor),
            line_cost_minor=float(row.line_cost_minor),
            minimum_minor=float(row.minimum_minor),
            freight_minor=float(row.freight_minor),
            free_freight_minor=float(row.free_freight_minor),
            lead_history=tuple(shown.get(row.id, ())),
        )
        for row in connection.execute(select(supplier).order_by(supplier.c.code))
    )


def _order_days(text: str) -> frozenset[int]:
    """Weekdays orders are taken on; none at all when the book holds what is no weekday.

    The plan leaves such a supplier out and says so.
    """
    try:
        return parse_weekdays(text)
    except ValueError:
        return frozenset()


def _closed_days(closed: object, country: str, years: range) -> frozenset[date]:
    """Closures and holidays; what is no day, or no country with known holidays, is left out."""
    days = set()
    for text in closed if isinstance(closed, list) else ():
        try:
            days.add(date.fromisoformat(str(text)))
        except ValueError:
            continue
    try:
        return calendar_of(closed=days, country=country, years=years).closed
    except ValueError:
        return frozenset(days)


def _breaks(steps: object) -> tuple[PriceBreak, ...]:
    """Price breaks as the book keeps them, [[from packs, price], …]."""
    return tuple(
        PriceBreak(int(step[0]), float(step[1]))
        for step in (steps if isinstance(steps, list) else ())
        if isinstance(step, list)
        and len(step) == 2
        and all(isinstance(n, int | float) for n in step)
    )

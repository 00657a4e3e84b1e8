"""Weekly use and the misprint record of the book, as the forecasts read them.

Series: an item's own use by its sku, base units; ``cm2:CHANNEL:PRINTER`` in cm² of full tone;
``prints:PRINTER`` in garments. Weeks are complete ISO weeks, oldest first. What a customer brought
is not the shop's use; what a one-off order took is not to be expected again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import ColumnElement, Connection, Select, and_, case, func, or_, select

from stock.book.catalogue import HOLDING_KINDS
from stock.book.tables import (
    customer_order,
    entry,
    item,
    lot,
    movement,
    order_line,
    overrun,
    place,
    print_run,
    printer,
)
from stock.clock import monday_of
from stock.demand.known import Bools, Floats, History, MisprintRecord
from stock.shop.snapshot.known_on import last_runs, stands, week_of
from stock.units import THOUSAND

MOST_WEEKS = 156
"""Three years of weekly history: enough for two seasons seen and compared."""

Series = dict[str, Floats]


def misprints_of(connection: Connection, day: date | None = None) -> tuple[MisprintRecord, ...]:
    """Pieces printed and spoiled by print location, by the end of ``day``."""
    query = (
        select(
            print_run.c.location,
            func.sum(print_run.c.good + print_run.c.misprints),
            func.sum(print_run.c.misprints),
        )
        .join(entry, entry.c.id == print_run.c.entry_id)
        .where(stands(print_run.c.entry_id))
        .group_by(print_run.c.location)
        .order_by(print_run.c.location)
    )
    if day is not None:
        query = query.where(entry.c.day <= day)
    rows = connection.execute(query)
    return tuple(MisprintRecord(where, float(done), float(bad)) for where, done, bad in rows)


def history_of(
    connection: Connection, day: date, last_run: Mapping[int, date] | None = None
) -> History:
    """Use by complete week before ``day``'s own.

    Items: what print runs took, misprints too, whether or not the book thought it was there;
    supplies also by upkeep and maintenance. A week is marked as stocked out for a garment of
    which none was left at its end while a line due by then was printed only later.

    Args:
        last_run: Day of each order line's last run, where the caller knows it already.
    """
    this_week = monday_of(day)
    first = connection.scalar(
        select(func.min(entry.c.day)).where(
            entry.c.kind.in_(("print", "maintain")), entry.c.day < this_week
        )
    )
    if first is None:
        empty = np.zeros((0, 0))
        return History((), np.array([], "datetime64[D]"), empty, empty.astype(bool))
    start = max(monday_of(first), this_week - timedelta(weeks=MOST_WEEKS))
    weeks = (this_week - start).days // 7
    series: Series = defaultdict(lambda: np.zeros(weeks))
    _item_use(connection, start, this_week, series)
    _driver_use(connection, start, this_week, series)
    keys = tuple(sorted(series))
    values = np.array([series[key] for key in keys]).reshape(len(keys), weeks)
    row_of = {key: row for row, key in enumerate(keys)}
    _before_it_existed(connection, start, row_of, values)
    short = np.zeros(values.shape, bool)
    runs = last_runs(connection) if last_run is None else last_run
    _ran_out(connection, start, this_week, row_of, short, runs)
    mondays = np.datetime64(start) + 7 * np.arange(weeks)
    return History(keys, mondays, values, short)


def _expected_again() -> ColumnElement[bool]:
    """The entry's order, if it has one, is not a one-off."""
    return or_(customer_order.c.one_off.is_(None), customer_order.c.one_off.is_(False))


def _with_order(query: Select[Any]) -> Select[Any]:
    return (
        query.outerjoin(print_run, print_run.c.entry_id == entry.c.id)
        .outerjoin(order_line, order_line.c.id == print_run.c.order_line_id)
        .outerjoin(customer_order, customer_order.c.id == order_line.c.order_id)
    )


def _item_use(connection: Connection, start: date, until: date, series: Series) -> None:
    week = week_of(connection, movement.c.day, start)
    used = (
        select(item.c.sku, week, func.sum(movement.c.amount))
        .join(entry, entry.c.id == movement.c.entry_id)
        .join(item, item.c.id == movement.c.item_id)
        .join(lot, lot.c.id == movement.c.lot_id)
        .join(place, place.c.id == movement.c.to_place_id)
    )
    spent = or_(
        and_(entry.c.kind.in_(("print", "trial")), place.c.kind.in_(("printed", "waste"))),
        and_(item.c.kind == "supply", place.c.kind == "upkeep"),
    )
    rows = connection.execute(
        _with_order(used)
        .where(
            spent,
            lot.c.owner == "",
            _expected_again(),
            movement.c.day >= start,
            movement.c.day < until,
            stands(entry.c.id),
        )
        .group_by(item.c.sku, week)
    )
    for sku, at, amount in rows:
        series[sku][at] += float(amount) / THOUSAND
    missed_week = week_of(connection, entry.c.day, start)
    missed = (
        select(item.c.sku, missed_week, func.sum(overrun.c.asked - overrun.c.taken))
        .join(overrun, overrun.c.item_id == item.c.id)
        .join(entry, entry.c.id == overrun.c.entry_id)
    )
    brought = and_(item.c.kind == "blank", func.coalesce(order_line.c.owner, "") != "")
    rows = connection.execute(
        _with_order(missed)
        .where(
            or_(entry.c.kind == "print", item.c.kind == "supply"),
            ~brought,
            _expected_again(),
            entry.c.day >= start,
            entry.c.day < until,
            stands(entry.c.id),
        )
        .group_by(item.c.sku, missed_week)
    )
    for sku, at, amount in rows:
        series[sku][at] += float(amount) / THOUSAND


def _driver_use(connection: Connection, start: date, until: date, series: Series) -> None:
    week = week_of(connection, entry.c.day, start)
    runs = connection.execute(
        select(
            printer.c.code,
            week,
            func.sum(print_run.c.good + print_run.c.misprints),
            func.sum(print_run.c.c_cm2),
            func.sum(print_run.c.m_cm2),
            func.sum(print_run.c.y_cm2),
            func.sum(print_run.c.k_cm2),
            func.sum(print_run.c.w_cm2),
        )
        .join(entry, entry.c.id == print_run.c.entry_id)
        .join(printer, printer.c.id == print_run.c.printer_id)
        .outerjoin(order_line, order_line.c.id == print_run.c.order_line_id)
        .outerjoin(customer_order, customer_order.c.id == order_line.c.order_id)
        .where(
            entry.c.day >= start,
            entry.c.day < until,
            _expected_again(),
            stands(entry.c.id),
        )
        .group_by(printer.c.code, week)
    )
    begun: dict[str, int] = {}
    for code, at, pieces, *areas in runs:
        begun[code] = min(begun.get(code, at), at)
        series[f"prints:{code}"][at] += float(pieces)
        for channel, area in zip("CMYKW", areas, strict=True):
            series[f"cm2:{channel}:{code}"][at] += float(area)
    for code, at in begun.items():
        for key in (f"prints:{code}", *(f"cm2:{channel}:{code}" for channel in "CMYKW")):
            series[key][:at] = np.nan


def _before_it_existed(
    connection: Connection, start: date, row_of: dict[str, int], values: Floats
) -> None:
    """Weeks before an item's first movement are unknown, not zero."""
    first = (
        select(movement.c.item_id, func.min(movement.c.day).label("day"))
        .group_by(movement.c.item_id)
        .subquery()
    )
    rows = connection.execute(
        select(item.c.sku, first.c.day).join(first, first.c.item_id == item.c.id)
    )
    for sku, began in rows:
        if sku in row_of:
            unknown = min(max((monday_of(began) - start).days // 7, 0), values.shape[1])
            values[row_of[sku], :unknown] = np.nan


def _ran_out(
    connection: Connection,
    start: date,
    until: date,
    row_of: dict[str, int],
    short: Bools,
    ended: Mapping[int, date],
) -> None:
    """Mark the weeks a garment's lines waited through while its shelf was empty at their end."""
    weeks = short.shape[1]
    waiting: dict[int, list[tuple[int, int]]] = defaultdict(list)
    lines = connection.execute(
        select(
            order_line.c.id,
            order_line.c.blank_id,
            order_line.c.due_on,
            customer_order.c.stage,
            customer_order.c.outcome_on,
        )
        .join(customer_order, customer_order.c.id == order_line.c.order_id)
        .where(
            order_line.c.owner == "",
            order_line.c.due_on >= start,
            order_line.c.due_on < until,
            customer_order.c.stage != "quote",
        )
    )
    for line_id, blank_id, due_on, stage, outcome_on in lines:
        done = ended.get(line_id) or outcome_on
        if done is None and stage in ("cancelled", "printed"):
            continue
        if done is not None and done <= due_on:
            continue
        last = weeks if done is None else min((done - start).days // 7, weeks)
        begun = max((due_on - start).days // 7, 0)
        if begun < last:
            waiting[blank_id].append((begun, last))
    if not waiting:
        return
    empty = _empty_at_week_end(connection, start, weeks, set(waiting))
    skus = {row.id: row.sku for row in connection.execute(select(item.c.id, item.c.sku))}
    for blank_id, spans in waiting.items():
        row = row_of.get(skus[blank_id])
        if row is None or blank_id not in empty:
            continue
        for begun, last in spans:
            short[row, begun:last] |= empty[blank_id][begun:last]


def _empty_at_week_end(
    connection: Connection, start: date, weeks: int, items: set[int]
) -> dict[int, npt.NDArray[np.bool_]]:
    """For each of these items, at the end of which weeks the shop's own stock was nothing."""
    net: dict[int, Floats] = defaultdict(lambda: np.zeros(weeks + 1))
    for side, sign in ((movement.c.to_place_id, 1), (movement.c.from_place_id, -1)):
        before = movement.c.day < start
        week = case((before, -1), else_=week_of(connection, movement.c.day, start))
        rows = connection.execute(
            select(movement.c.item_id, week, func.sum(movement.c.amount))
            .join(place, place.c.id == side)
            .join(lot, lot.c.id == movement.c.lot_id)
            .join(item, item.c.id == movement.c.item_id)
            .where(
                item.c.kind == "blank",
                lot.c.owner == "",
                place.c.kind.in_(HOLDING_KINDS),
                place.c.kind != "quarantine",
            )
            .group_by(movement.c.item_id, week)
        )
        for item_id, at, amount in rows:
            if item_id in items and at < weeks:
                net[item_id][at + 1] += sign * float(amount)
    return {item_id: np.cumsum(sums)[1:] < THOUSAND for item_id, sums in net.items()}

"""Orders and weekly use of the book, for the planner."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from typing import Any, Literal

import numpy as np
from sqlalchemy import Connection, func, select

from stock.book.tables import (
    customer_order,
    entry,
    item,
    movement,
    order_line,
    overrun,
    place,
    print_run,
    printer,
)
from stock.clock import monday_of
from stock.demand.known import (
    History,
    MisprintRecord,
    OrderLine,
    PastOrderLine,
    PieceUse,
)
from stock.shop.estimating import Estimator
from stock.shop.printing import pieces_printed
from stock.shop.snapshot.machines import Machines
from stock.shop.snapshot.supply import undone_entries

MOST_WEEKS = 156
"""Three years of weekly history: enough for two seasons seen and compared."""


def order_lines_of(
    connection: Connection, estimator: Estimator, machines: Machines, day: date
) -> tuple[OrderLine, ...]:
    """Order lines not yet fully printed or cancelled, each with its use per piece."""
    rows = connection.execute(
        select(
            order_line,
            customer_order.c.ref,
            customer_order.c.stage,
            customer_order.c.placed_on,
            customer_order.c.win_probability,
            customer_order.c.customer_kind,
            item.c.sku,
        )
        .join(customer_order, customer_order.c.id == order_line.c.order_id)
        .join(item, item.c.id == order_line.c.blank_id)
        .where(
            customer_order.c.stage.in_(("quote", "confirmed", "released")),
            customer_order.c.placed_on <= day,
        )
        .order_by(order_line.c.due_on, customer_order.c.ref, order_line.c.line)
    ).all()
    printed = pieces_printed(connection, [row.id for row in rows]) if rows else {}
    pretreat = _pretreat(connection)
    found: list[OrderLine] = []
    for row in rows:
        pieces = row.quantity - printed.get(row.id, 0)
        if pieces <= 0:
            continue
        at = row.printer_id if row.printer_id is not None else machines.default
        found.append(
            OrderLine(
                order=row.ref,
                line=row.line,
                stage=row.stage,
                placed_on=row.placed_on,
                due_on=row.due_on,
                pieces=float(pieces),
                location=row.location,
                win_probability=row.win_probability if row.stage == "quote" else 1.0,
                customer_kind=row.customer_kind,
                scheduled_on=row.scheduled_on,
                printer=machines.codes.get(at, ""),
                uses=_uses(row, estimator, machines, at, day, pretreat),
                owner=row.owner,
            )
        )
    return tuple(found)


def _pretreat(connection: Connection) -> str:
    """Sku of the ready pretreat prints draw from; concentrates are not sprayed."""
    concentrates = set(connection.scalars(select(item.c.mixed_from).where(item.c.mixed_from != "")))
    ready = connection.scalars(
        select(item.c.sku).where(item.c.kind == "pretreat", item.c.unit == "g").order_by(item.c.id)
    )
    return next((sku for sku in ready if sku not in concentrates), "")


def _uses(
    row: Any,
    estimator: Estimator,
    machines: Machines,
    printer_id: int | None,
    day: date,
    pretreat: str,
) -> tuple[PieceUse, ...]:
    use = estimator.line_use(row, day, printer_id)
    by_ink: dict[str, tuple[float, float]] = {}
    for channel, ml in use.ml.items():
        sku = machines.ink(printer_id, channel)
        if ml > 0 and sku:
            before = by_ink.get(sku, (0.0, 0.0))
            by_ink[sku] = (before[0] + ml, (before[1] ** 2 + use.ml_sd[channel] ** 2) ** 0.5)
    uses = [PieceUse(sku, ml, sd) for sku, (ml, sd) in by_ink.items()]
    if use.pretreat_g > 0 and pretreat:
        uses.append(PieceUse(pretreat, use.pretreat_g, use.pretreat_g_sd))
    if not row.owner:
        uses.append(PieceUse(row.sku, 1.0))
    return tuple(uses)


def past_lines_of(
    connection: Connection, estimator: Estimator, machines: Machines, day: date
) -> tuple[PastOrderLine, ...]:
    """Every order line placed by ``day``, with how it ended: what pick-up and win rates learn."""
    pretreat = _pretreat(connection)
    last_run = {
        row[0]: row[1]
        for row in connection.execute(
            select(print_run.c.order_line_id, func.max(entry.c.day))
            .join(entry, entry.c.id == print_run.c.entry_id)
            .where(print_run.c.order_line_id.is_not(None))
            .group_by(print_run.c.order_line_id)
        )
    }
    rows = connection.execute(
        select(
            order_line,
            item.c.sku,
            customer_order.c.ref,
            customer_order.c.stage,
            customer_order.c.placed_on,
            customer_order.c.was_quote,
            customer_order.c.outcome_on,
            customer_order.c.customer_kind,
            customer_order.c.one_off,
        )
        .join(customer_order, customer_order.c.id == order_line.c.order_id)
        .join(item, item.c.id == order_line.c.blank_id)
        .where(customer_order.c.placed_on <= day)
        .order_by(customer_order.c.placed_on, customer_order.c.id, order_line.c.line)
    )
    found: list[PastOrderLine] = []
    for row in rows:
        outcome: Literal["printed", "cancelled", "lost", "open"] = "open"
        if row.stage == "printed":
            outcome = "printed"
        elif row.stage == "cancelled":
            outcome = "lost" if row.was_quote else "cancelled"
        at = row.printer_id if row.printer_id is not None else machines.default
        found.append(
            PastOrderLine(
                order=row.ref,
                placed_on=row.placed_on,
                due_on=row.due_on,
                pieces=float(row.quantity),
                outcome=outcome,
                outcome_on=row.outcome_on or last_run.get(row.id),
                was_quote=row.was_quote,
                customer_kind=row.customer_kind,
                one_off=row.one_off,
                uses=_uses(row, estimator, machines, at, day, pretreat),
            )
        )
    return tuple(found)


def misprints_of(connection: Connection) -> tuple[MisprintRecord, ...]:
    """Pieces printed and spoiled by print location."""
    rows = connection.execute(
        select(
            print_run.c.location,
            func.sum(print_run.c.good + print_run.c.misprints),
            func.sum(print_run.c.misprints),
        )
        .where(print_run.c.entry_id.not_in(undone_entries()))
        .group_by(print_run.c.location)
        .order_by(print_run.c.location)
    )
    return tuple(MisprintRecord(where, float(done), float(bad)) for where, done, bad in rows)


def history_of(connection: Connection, day: date) -> History:
    """Weekly use by complete ISO week before ``day``'s own, oldest first.

    Items: what print runs took, misprints too, base units. Drivers: ``cm2:CHANNEL:PRINTER`` (cm²
    of full tone), ``prints:PRINTER`` (garments). A week in which a print asked for more than there
    was is marked as stocked out.
    """
    this_week = monday_of(day)
    first_run = connection.scalar(
        select(func.min(entry.c.day)).where(entry.c.kind == "print", entry.c.day < this_week)
    )
    if first_run is None:
        empty = np.zeros((0, 0))
        return History((), np.array([], "datetime64[D]"), empty, empty.astype(bool))
    start = max(monday_of(first_run), this_week - timedelta(weeks=MOST_WEEKS))
    weeks = (this_week - start).days // 7
    series: dict[str, np.ndarray[Any, Any]] = defaultdict(lambda: np.zeros(weeks))
    _item_use(connection, start, this_week, series)
    _driver_use(connection, start, this_week, series)
    keys = tuple(sorted(series))
    values = np.array([series[key] for key in keys]).reshape(len(keys), weeks)
    place_of = {key: row for row, key in enumerate(keys)}
    _before_it_existed(connection, start, weeks, place_of, values)
    short = np.zeros(values.shape, bool)
    rows = connection.execute(
        select(item.c.sku, entry.c.day)
        .join(overrun, overrun.c.item_id == item.c.id)
        .join(entry, entry.c.id == overrun.c.entry_id)
        .where(
            entry.c.day >= start,
            entry.c.day < this_week,
            item.c.kind == "blank",
            entry.c.id.not_in(undone_entries()),
        )
    )
    for sku, when in rows:
        if sku in place_of:
            short[place_of[sku], (when - start).days // 7] = True
    mondays = np.datetime64(start) + 7 * np.arange(weeks)
    return History(keys, mondays, values, short)


def _item_use(connection: Connection, start: date, until: date, series: dict[str, Any]) -> None:
    used = connection.execute(
        select(item.c.sku, movement.c.day, func.sum(movement.c.amount))
        .join(entry, entry.c.id == movement.c.entry_id)
        .join(item, item.c.id == movement.c.item_id)
        .join(place, place.c.id == movement.c.to_place_id)
        .where(
            entry.c.kind == "print",
            place.c.kind.in_(("printed", "waste")),
            movement.c.day >= start,
            movement.c.day < until,
            entry.c.id.not_in(undone_entries()),
        )
        .group_by(item.c.sku, movement.c.day)
    )
    for sku, when, amount in used:
        series[sku][(when - start).days // 7] += amount / 1000.0
    missed = connection.execute(
        select(item.c.sku, entry.c.day, overrun.c.asked - overrun.c.taken)
        .join(overrun, overrun.c.item_id == item.c.id)
        .join(entry, entry.c.id == overrun.c.entry_id)
        .where(
            entry.c.kind == "print",
            entry.c.day >= start,
            entry.c.day < until,
            entry.c.id.not_in(undone_entries()),
        )
    )
    for sku, when, amount in missed:
        series[sku][(when - start).days // 7] += amount / 1000.0


def _driver_use(connection: Connection, start: date, until: date, series: dict[str, Any]) -> None:
    runs = connection.execute(
        select(
            printer.c.code,
            entry.c.day,
            func.sum(print_run.c.good + print_run.c.misprints),
            func.sum(print_run.c.c_cm2),
            func.sum(print_run.c.m_cm2),
            func.sum(print_run.c.y_cm2),
            func.sum(print_run.c.k_cm2),
            func.sum(print_run.c.w_cm2),
        )
        .join(entry, entry.c.id == print_run.c.entry_id)
        .join(printer, printer.c.id == print_run.c.printer_id)
        .where(entry.c.day >= start, entry.c.day < until, entry.c.id.not_in(undone_entries()))
        .group_by(printer.c.code, entry.c.day)
    )
    for code, when, pieces, *areas in runs:
        week = (when - start).days // 7
        series[f"prints:{code}"][week] += float(pieces)
        for channel, area in zip("CMYKW", areas, strict=True):
            series[f"cm2:{channel}:{code}"][week] += float(area)


def _before_it_existed(
    connection: Connection,
    start: date,
    weeks: int,
    place_of: dict[str, int],
    values: np.ndarray[Any, Any],
) -> None:
    """Weeks before an item's first movement are unknown, not zero."""
    rows = connection.execute(
        select(item.c.sku, func.min(movement.c.day))
        .join(movement, movement.c.item_id == item.c.id)
        .group_by(item.c.sku)
    )
    for sku, first in rows:
        if sku in place_of:
            unknown = min(max((monday_of(first) - start).days // 7, 0), weeks)
            values[place_of[sku], :unknown] = np.nan

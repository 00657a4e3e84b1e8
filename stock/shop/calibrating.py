"""Rates from what the machines really drank: fitted, shown, kept from a day on; what to weigh next.

The book gives the intervals (``intervals``), ``stock.ink`` fits. Kept rates hold from their day;
earlier prints keep what they were posted with.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, delete, insert, select

from stock.book.opening import Book
from stock.book.tables import entry, movement, place, print_run, printer, rate, reading
from stock.errors import Unknown
from stock.ink.mode import Rate
from stock.shop.estimating import DEFAULT_MODE, Estimator
from stock.shop.imports.catalogue import BEGINNING
from stock.shop.intervals import (
    DIP_SD_SHARE,
    SWAP_SD_SHARE,
    WEIGH_SD_ML,
    Moment,
    intervals_of,
    printed_by,
)
from stock.shop.overruns import Explained, explain_overruns

if TYPE_CHECKING:
    from stock.ink.calibrate import ChannelFit
    from stock.ink.weigh_next import ItemState, Look, SlotState
    from stock.plan.snapshot import Snapshot

PAST_WEEKS = 8
"""Recent weeks whose mean stands for the days to come when a look's worth is judged."""

SHORT_SHARE = 0.2
"""Cost of a mL short for a week, as a share of its value, where no shortage cost is stated."""


@dataclass(frozen=True, eq=False)
class Calibration:
    """The fits of all channels, and the day kept rates hold from (None: nothing was kept).

    ``overruns`` are the newest ones of fitted channels, held against the fit.
    """

    fits: Sequence[ChannelFit]
    kept_from: date | None = None
    overruns: Sequence[Explained] = ()

    def to_json(self) -> list[dict[str, Any]]:
        """One row a printer, channel and mode, with the contract's keys."""
        from stock.ink.calibration_report import json_rows

        return json_rows(self.fits)

    def text(self) -> str:
        """For people."""
        from stock.ink.calibration_report import report_text

        told = [overrun.sentence() for overrun in self.overruns]
        return "\n".join([report_text(self.fits), *(["", *told] if told else [])])


def calibrate_book(
    book: Book, *, printer_code: str = "", keep_from: date | None = None
) -> Calibration:
    """Fit every channel of one printer, or of all; with ``keep_from`` the rates hold from then.

    Raises:
        Unknown: No such printer.
    """
    from stock.ink.calibrate import calibrate, rate_versions

    with book.reading() as connection:
        priors = _priors(connection, printer_code)
        fits = calibrate(intervals_of(connection, printer_code=printer_code), priors)
        overruns = explain_overruns(connection, fits)
        ids = {row.code: row.id for row in connection.execute(select(printer))}
    if keep_from is not None:
        rows = [
            {
                "printer_id": ids[version.printer],
                "channel": version.channel,
                "mode": version.mode,
                "valid_from": version.valid_from,
                "per_cm2_ul": version.rate.per_cm2_ul,
                "per_cm2_ul_sd": version.rate.per_cm2_ul_sd,
                "per_print_ml": version.rate.per_print_ml,
                "per_print_ml_sd": version.rate.per_print_ml_sd,
                "per_start_ml": version.rate.per_start_ml,
                "per_start_ml_sd": version.rate.per_start_ml_sd,
                "per_day_ml": version.rate.per_day_ml,
                "per_day_ml_sd": version.rate.per_day_ml_sd,
                "prior_share": version.rate.prior_share,
                "calibrated": version.rate.calibrated,
            }
            for version in rate_versions(fits, keep_from)
        ]
        book.write(lambda connection: _keep(connection, rows))
    return Calibration(fits, keep_from, overruns)


def _keep(connection: Connection, rows: Sequence[Mapping[str, Any]]) -> None:
    """Write rate versions; a second fit of the same day replaces the first."""
    for row in rows:
        connection.execute(
            delete(rate).where(
                rate.c.printer_id == row["printer_id"],
                rate.c.channel == row["channel"],
                rate.c.mode == row["mode"],
                rate.c.valid_from == row["valid_from"],
            )
        )
    if rows:
        connection.execute(insert(rate), list(rows))


def _priors(connection: Connection, printer_code: str) -> dict[tuple[str, str], dict[str, Rate]]:
    """By (printer, channel), the stated or prior rate of each mode the printer has used."""
    machines = connection.execute(select(printer).order_by(printer.c.code)).all()
    if printer_code:
        known = [row.code for row in machines]
        machines = [row for row in machines if row.code == printer_code]
        if not machines:
            raise Unknown("printer", printer_code, known[:3])
    estimator = Estimator(connection)
    priors: dict[tuple[str, str], dict[str, Rate]] = {}
    for machine in machines:
        modes = set(
            connection.scalars(
                select(print_run.c.mode).where(print_run.c.printer_id == machine.id).distinct()
            )
        ) or {DEFAULT_MODE}
        channels = connection.scalars(
            select(place.c.channel)
            .where(place.c.printer_id == machine.id, place.c.kind == "slot")
            .distinct()
        )
        for channel in sorted(channels):
            priors[machine.code, channel] = {
                estimator.mode(mode).code: estimator.rates(machine.id, mode, BEGINNING)[channel]
                for mode in sorted(modes)
            }
    return priors


def looks_worth_most(
    book: Book, day: date, *, printer_code: str = "", snapshot: Snapshot | None = None
) -> tuple[Look, ...]:
    """Which slot to weigh or dip next, the one worth most to this week's list first.

    ``snapshot`` is the one of ``day`` where it has been taken already.
    """
    from stock.ink.belief import prior_belief
    from stock.ink.weigh_next import weigh_next
    from stock.shop.planning import snapshot_of
    from stock.shop.views.stockroom import slots_now

    fits = calibrate_book(book, printer_code=printer_code).fits
    beliefs = {(fit.printer, fit.channel): fit.belief for fit in fits}
    levels = [row for row in slots_now(book) if row.level > 0]
    if printer_code:
        levels = [row for row in levels if row.printer == printer_code]
    with book.reading() as connection:
        slots = [_slot_state(connection, row, day) for row in levels]
        for row in levels:
            key = (row.printer, row.channel)
            if key not in beliefs:
                beliefs[key] = prior_belief(_priors(connection, row.printer)[key])
    snapshot = snapshot or snapshot_of(book, day)
    items = [_item_state(snapshot, sku) for sku in sorted({slot.item for slot in slots})]
    return weigh_next(slots, items, beliefs)


def next_look(book: Book, day: date, snapshot: Snapshot) -> Look | None:
    """The look worth most, if it could change the week's list; rates not yet known say nothing."""
    found = looks_worth_most(book, day, snapshot=snapshot)
    return found[0] if found and found[0].worth > 0 and found[0].chance >= 0.005 else None


def _slot_state(connection: Connection, row: Any, day: date) -> SlotState:
    """How well a slot's level is known, from its last look and what was printed since."""
    from stock.ink.interval import Use
    from stock.ink.weigh_next import SlotState

    slot = connection.execute(select(place).where(place.c.code == row.slot)).one()
    mates = connection.scalars(
        select(place.c.id).where(
            place.c.printer_id == slot.printer_id,
            place.c.channel == slot.channel,
            place.c.kind == "slot",
        )
    ).all()
    share = 1.0 / len(mates)
    looked, sd = _last_look(connection, slot)
    printed = printed_by(connection, slot.printer_id)
    now: Moment = (day, 2**62)
    covered, prints, starts = printed.between(looked, now, slot.channel)
    since = Use(
        {mode: area * share for mode, area in covered.items()},
        prints * share,
        starts * share,
        max((day - looked[0]).days, 0) * share,
    )
    begin: Moment = (day - timedelta(weeks=PAST_WEEKS), 0)
    covered, prints, starts = printed.between(begin, now, slot.channel)
    ahead = 14 / (7 * PAST_WEEKS) * share
    upcoming = Use(
        {mode: area * ahead for mode, area in covered.items()},
        prints * ahead,
        starts * ahead,
        14 * share,
    )
    tank = slot.feed == "tank"
    return SlotState(
        slot=row.slot,
        item=row.item,
        printer=row.printer,
        channel=row.channel,
        level_ml=row.level / 1000,
        look_sd_ml=sd,
        since=since,
        upcoming=upcoming,
        method="dip" if tank else "weigh",
        method_sd_ml=DIP_SD_SHARE * row.capacity / 1000 if tank else WEIGH_SD_ML,
        capacity_ml=slot.capacity / 1000 if slot.capacity else math.inf,
    )


def _last_look(connection: Connection, slot: Any) -> tuple[Moment, float]:
    """When a slot's level was last known, and how well (mL)."""
    undone = select(entry.c.reverses).where(entry.c.reverses.is_not(None))
    seen = connection.execute(
        select(reading.c.day, reading.c.entry_id, reading.c.kind)
        .where(
            reading.c.place_id == slot.id,
            reading.c.kind.in_(("weigh", "dip")),
            reading.c.entry_id.not_in(undone),
        )
        .order_by(reading.c.day.desc(), reading.c.entry_id.desc())
        .limit(1)
    ).one_or_none()
    loaded = connection.execute(
        select(movement.c.day, movement.c.entry_id, movement.c.amount)
        .where(movement.c.to_place_id == slot.id, movement.c.entry_id.not_in(undone))
        .order_by(movement.c.day.desc(), movement.c.entry_id.desc())
        .limit(1)
    ).one_or_none()
    size = (slot.capacity or (loaded.amount if loaded else 0)) / 1000
    if loaded is not None and slot.feed != "tank":
        at: Moment = (loaded.day, loaded.entry_id)
        if seen is None or (seen.day, seen.entry_id) < at:
            return at, SWAP_SD_SHARE * size
    if seen is not None:
        sd = WEIGH_SD_ML if seen.kind == "weigh" else DIP_SD_SHARE * size
        return (seen.day, seen.entry_id), sd
    if loaded is None:
        return (BEGINNING, 0), size
    return (loaded.day, loaded.entry_id), DIP_SD_SHARE * size


def _item_state(snapshot: Any, sku: str) -> ItemState:
    from stock.ink.weigh_next import ItemState

    shelf = sum(
        lot.amount
        for lot in snapshot.stock
        if lot.item == sku and lot.place_kind == "shelf" and not lot.owner
    )
    coming = sum(order.amount for order in snapshot.on_order if order.item == sku)
    offers = [offer for offer in snapshot.offers if offer.item == sku]
    pack = offers[0].amount if offers else 0.0
    value = offers[0].price_minor / pack if offers and pack else 1.0
    terms = next(item for item in snapshot.items if item.sku == sku)
    return ItemState(
        item=sku,
        spare_ml=shelf + coming,
        pack_ml=pack,
        short_per_ml=terms.shortage_cost_minor or SHORT_SHARE * value,
        over_per_ml=snapshot.settings.holding_per_week * value,
    )

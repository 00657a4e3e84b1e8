"""Printers of the book: which ink each slot takes, at which rates, with which daily upkeep."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np
from sqlalchemy import Connection, func, select

from stock.book.tables import balance, entry, item, movement, place, print_run, printer, reading
from stock.demand.known import History, Link, Upkeep
from stock.ink.mode import CHANNELS, Rate
from stock.shop.estimating import Estimator
from stock.shop.recipes import Recipes
from stock.shop.snapshot.known_on import stands


class Machines:
    """Printers with the ink of each channel and the rates believed on one day."""

    def __init__(self, connection: Connection, estimator: Estimator, day: date) -> None:
        self.day = day
        self.codes: dict[int | None, str] = {}
        self.ink_of: dict[tuple[int, str], str] = {}
        active: list[int] = []
        for row in connection.execute(select(printer).order_by(printer.c.id)):
            self.codes[row.id] = row.code
            if row.active:
                active.append(row.id)
        self.default: int | None = active[0] if active else None
        loaded = {
            row.place_id: row.sku
            for row in connection.execute(
                select(balance.c.place_id, item.c.sku)
                .join(item, item.c.id == balance.c.item_id)
                .join(place, place.c.id == balance.c.place_id)
                .where(place.c.kind == "slot", balance.c.amount > 0)
                .order_by(balance.c.id)
            )
        }
        slots = connection.execute(
            select(place.c.id, place.c.printer_id, place.c.channel, item.c.sku)
            .outerjoin(item, item.c.id == place.c.item_id)
            .where(place.c.kind == "slot", place.c.printer_id.is_not(None))
            .order_by(place.c.code)
        )
        for row in slots:
            sku = loaded.get(row.id) or row.sku
            if sku is not None:
                self.ink_of.setdefault((row.printer_id, row.channel), sku)
        self.mode_of = _usual_mode(connection, day)
        self.rates: dict[int, dict[str, Rate]] = {
            printer_id: estimator.rates(printer_id, self.mode_of.get(printer_id, ""), day)
            for printer_id in active
        }

    def ink(self, printer_id: int | None, channel: str) -> str:
        """Sku of the ink a printer draws for ``channel``; empty when it has no such slot."""
        at = printer_id if printer_id is not None else self.default
        return self.ink_of.get((at, channel), "") if at is not None else ""

    def fed(self) -> Iterable[tuple[str, str, str, Rate]]:
        """(printer code, channel, ink sku, rate) of every channel that has a slot."""
        for printer_id, rates in self.rates.items():
            for channel in CHANNELS:
                sku = self.ink_of.get((printer_id, channel))
                if sku and channel in rates:
                    yield self.codes[printer_id], channel, sku, rates[channel]


def _usual_mode(connection: Connection, day: date) -> dict[int, str]:
    """Each printer's mode of most pieces, whose laydown the weekly area is turned into ink by."""
    rows = connection.execute(
        select(print_run.c.printer_id, print_run.c.mode, func.sum(print_run.c.good))
        .join(entry, entry.c.id == print_run.c.entry_id)
        .where(
            print_run.c.printer_id.is_not(None),
            entry.c.day <= day,
            stands(print_run.c.entry_id),
        )
        .group_by(print_run.c.printer_id, print_run.c.mode)
        .order_by(print_run.c.printer_id, print_run.c.mode)
    )
    best: dict[int, tuple[int, str]] = {}
    for printer_id, mode, pieces in rows:
        if printer_id not in best or int(pieces) > best[printer_id][0]:
            best[printer_id] = (int(pieces), mode)
    return {printer_id: mode for printer_id, (_, mode) in best.items()}


def links_of(machines: Machines, history: History, recipes: Recipes) -> tuple[Link, ...]:
    """Ink follows printed area and prints, at today's rates; a concentrate follows its mixes."""
    links: list[Link] = []
    present = set(history.keys)
    for code, channel, sku, rate in machines.fed():
        area, prints = f"cm2:{channel}:{code}", f"prints:{code}"
        used = area in present and float(np.nansum(history.values[history.row(area)])) > 0
        if area in present:
            links.append(Link(sku, area, rate.per_cm2_ul / 1000.0, rate.per_cm2_ul_sd / 1000.0))
        if used and prints in present and rate.per_print_ml > 0:
            links.append(Link(sku, prints, rate.per_print_ml, rate.per_print_ml_sd))
    for mix in recipes.mixes:
        if mix.ready in present:
            links.append(Link(mix.concentrate, mix.ready, mix.share))
    for concentrate in dict.fromkeys(mix.concentrate for mix in recipes.mixes):
        if concentrate in present:
            links.append(Link(concentrate, concentrate, 1.0))
    return tuple(links)


def upkeep_of(machines: Machines, working_days: int) -> tuple[Upkeep, ...]:
    """What each ink loses per calendar day: cleaning and circulation, and a start each working day.

    ``working_days`` is how many days a week the shop works.
    """
    starts = working_days / 7
    return tuple(
        Upkeep(
            sku,
            rate.per_day_ml + starts * rate.per_start_ml,
            float(np.hypot(rate.per_day_ml_sd, starts * rate.per_start_ml_sd)),
            code,
        )
        for code, _, sku, rate in machines.fed()
        if rate.per_day_ml > 0 or rate.per_start_ml > 0
    )


def slot_doubts(connection: Connection, machines: Machines) -> dict[int, float]:
    """How unsure the book is of each slot's level, one standard deviation, base units, by place id.

    What was drawn since the slot was last weighed, dipped or given a fresh cartridge is known as
    well as the rates are: the printed part errs by the rate's share, upkeep by its own spread.
    A tank holds at least what was just filled in and at most what it can: it is no less sure than
    even chances between the two.
    """
    doubts: dict[int, float] = {}
    slots = connection.execute(
        select(
            place.c.id, place.c.printer_id, place.c.channel, place.c.feed, place.c.capacity
        ).where(place.c.kind == "slot", place.c.printer_id.is_not(None))
    ).all()
    for slot in slots:
        rate = machines.rates.get(slot.printer_id, {}).get(slot.channel)
        if rate is None:
            continue
        since = _last_sure(connection, slot.id, slot.feed, machines.day)
        if since is None:
            continue
        known = [(*since, 0.0)]
        if slot.feed == "tank" and slot.capacity:
            known += _after_filling(connection, slot.id, slot.capacity, since[0], machines.day)
        share = rate.per_cm2_ul_sd / rate.per_cm2_ul if rate.per_cm2_ul > 0 else 0.0
        doubts[slot.id] = min(
            float(
                np.hypot(
                    unsure,
                    np.hypot(
                        share * _printed(connection, slot.id, entry_id, machines.day),
                        max((machines.day - sure_on).days, 0) * rate.per_day_ml_sd,
                    ),
                )
            )
            for entry_id, sure_on, unsure in known
        )
    return doubts


def _printed(connection: Connection, place_id: int, entry_id: int, day: date) -> float:
    """What prints drew from a slot after ``entry_id``, base units."""
    drawn = connection.scalar(
        select(func.sum(movement.c.amount))
        .join(entry, entry.c.id == movement.c.entry_id)
        .where(
            movement.c.from_place_id == place_id,
            movement.c.entry_id > entry_id,
            movement.c.day <= day,
            entry.c.kind == "print",
            stands(movement.c.entry_id),
        )
    )
    return float(drawn or 0) / 1000


FILLINGS = 3
"""Newest fillings of a tank that are looked at: older ones say less than what was drawn since."""


def _after_filling(
    connection: Connection, place_id: int, capacity: int, after: int, day: date
) -> list[tuple[int, date, float]]:
    """(entry, day, spread of the level then) of a tank's newest fillings after entry ``after``."""
    filled = connection.execute(
        select(entry.c.id, entry.c.day, func.sum(movement.c.amount))
        .join(movement, movement.c.entry_id == entry.c.id)
        .where(
            movement.c.to_place_id == place_id,
            movement.c.from_place_id != place_id,
            entry.c.id > after,
            entry.c.day <= day,
            stands(entry.c.id),
        )
        .group_by(entry.c.id, entry.c.day)
        .order_by(entry.c.id.desc())
        .limit(FILLINGS)
    )
    return [
        (entry_id, filled_on, max(capacity - int(amount), 0) / 1000 / 12**0.5)
        for entry_id, filled_on, amount in filled
    ]


def _last_sure(
    connection: Connection, place_id: int, feed: str, day: date
) -> tuple[int, date] | None:
    """(entry, day) after which the slot's level was last known for sure."""
    measured = connection.execute(
        select(reading.c.entry_id, reading.c.day)
        .where(
            reading.c.place_id == place_id,
            reading.c.level.is_not(None),
            reading.c.day <= day,
            stands(reading.c.entry_id),
        )
        .order_by(reading.c.entry_id.desc())
        .limit(1)
    ).one_or_none()
    filled = (
        select(entry.c.id, entry.c.day)
        .join(movement, movement.c.entry_id == entry.c.id)
        .where(
            movement.c.to_place_id == place_id,
            movement.c.from_place_id != place_id,
            entry.c.kind.in_(("load", "swap", "topup")),
            entry.c.day <= day,
            stands(entry.c.id),
        )
    )
    newest = filled.order_by(entry.c.id.desc() if feed != "tank" else entry.c.id).limit(1)
    loaded = connection.execute(newest).first()
    found = [(row[0], row[1]) for row in (measured, loaded) if row is not None]
    return max(found) if found else None

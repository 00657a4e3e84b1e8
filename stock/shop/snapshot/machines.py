"""Printers of the book: which ink each slot takes, at which rates, with which daily upkeep."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np
from sqlalchemy import Connection, select

from stock.book.tables import balance, item, place, print_run, printer
from stock.demand.known import History, Link, Upkeep
from stock.ink.mode import CHANNELS, Rate
from stock.shop.estimating import Estimator


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
        self.mode_of = _usual_mode(connection)
        self.rates: dict[int, dict[str, Rate]] = {
            printer_id: estimator.rates(printer_id, self.mode_of.get(printer_id, ""), day)
            for printer_id in active
        }

    def ink(self, printer_id: int | None, channel: str) -> str:
        """Sku of the ink a printer draws for ``channel``; empty when it has no such slot."""
        at = printer_id if printer_id is not None else self.default
        return self.ink_of.get((at, channel), "") if at is not None else ""


def _usual_mode(connection: Connection) -> dict[int, str]:
    """Each printer's mode of most runs, whose laydown the weekly area is turned into ink by."""
    counted: dict[int, dict[str, int]] = {}
    for row in connection.execute(
        select(print_run.c.printer_id, print_run.c.mode, print_run.c.good).where(
            print_run.c.printer_id.is_not(None)
        )
    ):
        modes = counted.setdefault(row.printer_id, {})
        modes[row.mode] = modes.get(row.mode, 0) + row.good
    return {
        printer_id: max(modes, key=lambda code: modes[code])
        for printer_id, modes in counted.items()
    }


def _each(machines: Machines) -> Iterable[tuple[str, str, str, Rate]]:
    """(printer code, channel, ink sku, rate) of every fed channel."""
    for printer_id, rates in machines.rates.items():
        for channel in CHANNELS:
            sku = machines.ink_of.get((printer_id, channel))
            if sku and channel in rates:
                yield machines.codes[printer_id], channel, sku, rates[channel]


def links_of(machines: Machines, history: History) -> tuple[Link, ...]:
    """Ink follows printed area and prints, at today's rates."""
    links: list[Link] = []
    present = set(history.keys)
    for code, channel, sku, rate in _each(machines):
        area = f"cm2:{channel}:{code}"
        if area in present:
            links.append(Link(sku, area, rate.per_cm2_ul / 1000.0, rate.per_cm2_ul_sd / 1000.0))
        prints = f"prints:{code}"
        if (
            prints in present
            and rate.per_print_ml > 0
            and np.nansum(history.values[history.row(area)] if area in present else np.zeros(1)) > 0
        ):
            links.append(Link(sku, prints, rate.per_print_ml, rate.per_print_ml_sd))
    return tuple(links)


def upkeep_of(machines: Machines) -> tuple[Upkeep, ...]:
    """What each ink loses per calendar day to cleaning and circulation."""
    return tuple(
        Upkeep(sku, rate.per_day_ml, rate.per_day_ml_sd, code)
        for code, _, sku, rate in _each(machines)
        if rate.per_day_ml > 0
    )

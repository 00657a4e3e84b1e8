"""Overruns held against a fit: was the slot's level believed too low because the rates were off?

An overrun is a print whose estimate asked a slot for more than the book had there. Booked use
since the last time the level was known (load, top-up, weighing, dip) is set beside what the
fitted rates give for the same prints. Amounts are mL. Nothing here posts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, func, or_, select

from stock.book.tables import entry, item, movement, overrun, place, printer, reading
from stock.book.undo import reversed_entries
from stock.shop.imports.catalogue import BEGINNING
from stock.shop.intervals import Moment, printed_by

if TYPE_CHECKING:
    from stock.ink.calibrate import ChannelFit

MOST_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Explained:
    """One overrun beside a fit.

    Args:
        missing_ml: Asked for and not there.
        booked_ml: Booked out of the slot since its level was last known, with what was missing.
        fitted_ml: What the fitted rates give for the same prints and days.
        sd_ml: Standard deviation of that.
    """

    slot: str
    item: str
    on: date
    missing_ml: float
    booked_ml: float
    fitted_ml: float
    sd_ml: float

    @property
    def by_rates(self) -> bool:
        """Whether the fitted rates, give or take two standard deviations, leave nothing missing."""
        return self.booked_ml - self.fitted_ml + 2 * self.sd_ml >= self.missing_ml

    def sentence(self) -> str:
        """For people."""
        told = (
            f"overrun {self.on} at {self.slot}: {self.missing_ml:.1f} mL of {self.item} missing. "
            f"Since the level was last known {self.booked_ml:.1f} mL were booked; the fitted "
            f"rates give {self.fitted_ml:.1f} ± {self.sd_ml:.1f} mL"
        )
        if self.by_rates:
            return f"{told}, which explains it."
        return f"{told}, which does not explain it: look for a swap or a print nobody logged."


def explain_overruns(connection: Connection, fits: Sequence[ChannelFit]) -> list[Explained]:
    """The newest overruns of slots whose channel was fitted, newest first."""
    by_channel = {(fit.printer, fit.channel): fit for fit in fits if fit.residuals}
    rows = connection.execute(
        select(
            overrun.c.entry_id, overrun.c.asked, overrun.c.taken, overrun.c.place_id,
            place.c.code, place.c.channel, place.c.printer_id,
            printer.c.code.label("printer"), item.c.sku, entry.c.day,
        )
        .join(place, place.c.id == overrun.c.place_id)
        .join(printer, printer.c.id == place.c.printer_id)
        .join(item, item.c.id == overrun.c.item_id)
        .join(entry, entry.c.id == overrun.c.entry_id)
        .where(entry.c.id.not_in(reversed_entries()))
        .order_by(overrun.c.entry_id.desc())
        .limit(MOST_SHOWN)
    ).all()  # fmt: skip
    found = []
    for row in rows:
        fit = by_channel.get((row.printer, row.channel))
        if fit is not None:
            found.append(_explained(connection, fit, row))
    return found


def _explained(connection: Connection, fit: ChannelFit, row: Any) -> Explained:
    from stock.ink.interval import Use

    since = _last_known(connection, row)
    until: Moment = (row.day, row.entry_id)
    booked: Any = connection.scalar(
        select(func.coalesce(func.sum(movement.c.amount), 0))
        .join(entry, entry.c.id == movement.c.entry_id)
        .where(
            movement.c.from_place_id == row.place_id,
            movement.c.entry_id > since[1],
            movement.c.entry_id <= row.entry_id,
            entry.c.reverses.is_(None),
            entry.c.id.not_in(reversed_entries()),
        )
    )
    missing = (row.asked - row.taken) / 1000
    mates = connection.scalar(
        select(func.count()).where(
            place.c.printer_id == row.printer_id,
            place.c.channel == row.channel,
            place.c.kind == "slot",
        )
    )
    share = 1.0 / max(mates or 1, 1)
    covered, prints, starts = printed_by(connection, row.printer_id).between(
        since, until, row.channel
    )
    use = Use(
        {mode: area * share for mode, area in covered.items() if mode in fit.belief.modes},
        prints * share,
        starts * share,
        max((row.day - since[0]).days, 0) * share,
    )
    weights = fit.belief.row(use)
    variance = float(weights @ fit.belief.covariance @ weights)
    return Explained(
        row.code,
        row.sku,
        row.day,
        missing,
        float(booked or 0) / 1000 + missing,
        float(weights @ fit.belief.mean),
        math.sqrt(max(variance, 0.0)),
    )


def _last_known(connection: Connection, row: Any) -> Moment:
    """The last load, top-up, weighing or dip of the slot before the overrun."""
    looked = select(reading.c.entry_id).where(
        reading.c.place_id == row.place_id, reading.c.kind.in_(("weigh", "dip"))
    )
    filled = select(movement.c.entry_id).where(movement.c.to_place_id == row.place_id)
    known = connection.execute(
        select(entry.c.day, entry.c.id)
        .where(
            or_(entry.c.id.in_(looked), entry.c.id.in_(filled)),
            entry.c.id < row.entry_id,
            entry.c.reverses.is_(None),
            entry.c.id.not_in(reversed_entries()),
        )
        .order_by(entry.c.id.desc())
        .limit(1)
    ).one_or_none()
    return (known.day, known.id) if known is not None else (BEGINNING, 0)

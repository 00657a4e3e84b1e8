"""What a piece's share of upkeep costs: posted upkeep over the pieces it was shared by.

Money is minor units, days are calendar days. A printer's ink is shared by that printer's good
pieces, maintenance supplies from the shelf by all good pieces. Where no upkeep was posted, the
printer's daily rates stand in for it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import Connection, func, select

from stock.book.tables import entry, movement, place, print_run
from stock.book.undo import reversed_entries
from stock.shop.estimating import Estimator
from stock.shop.prices import ItemPrice, lot_prices
from stock.shop.snapshot.machines import Machines

WINDOW_DAYS = 91
"""Thirteen whole weeks: long enough to smooth a quiet week, short enough to follow the season."""


@dataclass(frozen=True, slots=True)
class UpkeepShare:
    """Upkeep of the window by printer, and the pieces that share it.

    ``posted``: from movements; else from the printer's rates. ``supplies_minor``: maintenance
    supplies of the whole shop.
    """

    ink_minor: Mapping[int, float]
    pieces: Mapping[int, int]
    supplies_minor: float
    posted: frozenset[int]

    def per_piece(
        self, printer_id: int | None, prints_per_day: float | None = None
    ) -> float | None:
        """Minor units per good piece of a printer (None: of the whole shop).

        ``prints_per_day`` stands in for the record; None when nobody can tell.
        """
        all_pieces = sum(self.pieces.values())
        if printer_id is None:
            ink, pieces = sum(self.ink_minor.values()), all_pieces
        else:
            ink, pieces = self.ink_minor.get(printer_id, 0.0), self.pieces.get(printer_id, 0)
        if prints_per_day is not None:
            return (ink + self.supplies_minor) / WINDOW_DAYS / prints_per_day
        if pieces <= 0:
            return None
        return ink / pieces + self.supplies_minor / all_pieces


def upkeep_share(
    connection: Connection,
    day: date,
    machines: Machines,
    estimator: Estimator,
    price_of: Mapping[str, ItemPrice],
) -> UpkeepShare:
    """Upkeep and pieces of the :data:`WINDOW_DAYS` days before ``day``."""
    first = day - timedelta(days=WINDOW_DAYS)
    prices = lot_prices(connection)
    ink: dict[int, float] = defaultdict(float)
    supplies = 0.0
    for printer_id, lot_id, amount in connection.execute(
        select(place.c.printer_id, movement.c.lot_id, func.sum(movement.c.amount))
        .join(place, place.c.id == movement.c.from_place_id)
        .where(
            movement.c.to_place_id.in_(select(place.c.id).where(place.c.kind == "upkeep")),
            movement.c.day >= first,
            movement.c.day < day,
            movement.c.entry_id.not_in(reversed_entries()),
        )
        .group_by(place.c.printer_id, movement.c.lot_id)
    ):
        cost = int(amount) * prices.get(lot_id, 0.0)
        if printer_id is None:
            supplies += cost
        else:
            ink[printer_id] += cost
    posted = frozenset(ink)
    for printer_id in machines.rates:
        if printer_id not in posted:
            ink[printer_id] = _by_rates(printer_id, day, machines, estimator, price_of)
    pieces = {
        printer_id: int(good)
        for printer_id, good in connection.execute(
            select(print_run.c.printer_id, func.sum(print_run.c.good))
            .join(entry, entry.c.id == print_run.c.entry_id)
            .where(
                print_run.c.printer_id.is_not(None),
                entry.c.day >= first,
                entry.c.day < day,
                entry.c.id.not_in(reversed_entries()),
            )
            .group_by(print_run.c.printer_id)
        )
    }
    return UpkeepShare(dict(ink), pieces, supplies, posted)


def _by_rates(
    printer_id: int,
    day: date,
    machines: Machines,
    estimator: Estimator,
    price_of: Mapping[str, ItemPrice],
) -> float:
    """Cost of the window's daily upkeep by the printer's rates, minor units."""
    cost = 0.0
    for channel, rate in estimator.rates(printer_id, "", day).items():
        price = price_of.get(machines.ink(printer_id, channel))
        if price is not None:
            cost += rate.per_day_ml * WINDOW_DAYS * price.per_unit_minor
    return cost

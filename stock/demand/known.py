"""What is known about demand: items, orders, past orders, weekly use and what drives it.

Amounts are float64 in the item's base unit (mL, g, each); days are calendar days. Frozen data
only: nothing here reads a book or a clock.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

ItemKind = Literal["ink", "pretreat", "blank", "supply"]
Stage = Literal["quote", "confirmed", "released"]


@dataclass(frozen=True, slots=True)
class ItemTerms:
    """One item as the planner sees it.

    Args:
        sku: The item's code.
        family: What its demand moves with (blanks: style and colour; else the sku).
        size: Size of a blank, else empty.
        channel: Ink channel, else empty.
        service: Target, 0–1; read as cycle service or fill rate by ``service_kind``.
        shortage_cost_minor: Cost of one base unit short for a week; 0: use ``service``.
        waste_risk: Largest accepted chance that some of an order expires unused.
        open_life_days: Days a container lives once opened; None: as long as sealed.
        shelf_life_days: Usual life of a new lot when delivered; None: does not expire.
        every_prints, every_days: Schedule of a maintenance supply, whichever comes first.
        last_used_on, prints_since_used: Where that schedule stands.
        reorder: False for discontinued and customer-owned items.
        replaces: Sku of an item whose history this one inherits.
    """

    sku: str
    kind: ItemKind
    unit: str
    name: str = ""
    family: str = ""
    size: str = ""
    channel: str = ""
    service: float = 0.95
    service_kind: Literal["cycle", "fill"] = "cycle"
    shortage_cost_minor: float = 0.0
    waste_risk: float = 0.10
    open_life_days: int | None = None
    shelf_life_days: int | None = None
    every_prints: float | None = None
    every_days: float | None = None
    amount_per_service: float = 1.0
    last_used_on: date | None = None
    prints_since_used: float = 0.0
    reorder: bool = True
    replaces: str = ""


@dataclass(frozen=True, slots=True)
class PieceUse:
    """What one piece of an order line takes of one item, mean and standard deviation."""

    item: str
    amount: float
    sd: float = 0.0


@dataclass(frozen=True, slots=True)
class OrderLine:
    """An order line not yet fully printed or cancelled.

    Args:
        pieces: Garments still to print.
        win_probability: Chance that a quote becomes an order; None: learn it. 1 for orders.
        location: Print location, for the misprint rate.
        uses: Per piece.
        owner: Customer who brings the garment, else empty: blanks of such lines are not needed.
    """

    order: str
    line: int
    stage: Stage
    placed_on: date
    due_on: date
    pieces: float
    location: str = ""
    win_probability: float | None = None
    customer_kind: str = ""
    scheduled_on: date | None = None
    printer: str = ""
    uses: tuple[PieceUse, ...] = ()
    owner: str = ""


@dataclass(frozen=True, slots=True)
class PastOrderLine:
    """An order line of the past, for pick-up, win rates and cancellation hazards.

    ``outcome``: printed, cancelled, lost (a quote not won) or open.
    """

    order: str
    placed_on: date
    due_on: date
    pieces: float
    outcome: Literal["printed", "cancelled", "lost", "open"]
    outcome_on: date | None = None
    was_quote: bool = False
    customer_kind: str = ""
    one_off: bool = False
    uses: tuple[PieceUse, ...] = ()


@dataclass(frozen=True, slots=True)
class MisprintRecord:
    """Pieces printed and pieces spoiled at one print location, in the shop's own record."""

    location: str
    printed: float
    misprints: float


@dataclass(frozen=True, eq=False)
class History:
    """Weekly use, one row per series; weeks are Mondays, oldest first, none left out.

    Args:
        keys: Series names. An item's own use is its sku; other drivers have a prefix
            (``cm2:``, ``prints:``, ``family:``).
        mondays: The weeks, ``datetime64[D]``, shape (weeks,).
        values: Use per week, shape (series, weeks); NaN before an item existed.
        stocked_out: Weeks in which the item ran out, same shape: such a week is a floor, not
            a measure.
    """

    keys: tuple[str, ...]
    mondays: npt.NDArray[np.datetime64]
    values: Floats
    stocked_out: Bools

    def row(self, key: str) -> int:
        """Position of series ``key``; raises ``KeyError`` when there is none."""
        return self._index()[key]

    def _index(self) -> dict[str, int]:
        index: dict[str, int] | None = self.__dict__.get("_rows")
        if index is None:
            index = {key: place for place, key in enumerate(self.keys)}
            object.__setattr__(self, "_rows", index)
        return index


@dataclass(frozen=True, slots=True)
class Link:
    """An item's use driven by a series: use = series × factor (mean, sd).

    Ink: series ``cm2:W:printer`` in cm² of full tone, factor in mL per cm². An item without a
    link is driven by the series of its own sku, factor 1. A blank is linked by its family.
    """

    item: str
    series: str
    factor: float
    factor_sd: float = 0.0


@dataclass(frozen=True, slots=True)
class Upkeep:
    """What an item loses per calendar day without printing (cleaning, circulation), base units."""

    item: str
    per_day: float
    per_day_sd: float = 0.0
    printer: str = ""

"""Everything the planner may know, frozen at one moment.

Amounts are float64 in the item's base unit (mL, g, each); money is in minor units of one
currency; days are calendar days unless a name says working days. The book's integers are turned
into these once, when the snapshot is taken. Nothing here reads a book or a clock.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Literal

import numpy as np

from stock.demand.known import (
    History,
    ItemTerms,
    Link,
    MisprintRecord,
    OrderLine,
    PastOrderLine,
    Upkeep,
)


@dataclass(frozen=True, slots=True)
class StockLot:
    """What one place holds of one lot (and container).

    ``usable`` is False in quarantine; ``effective_expiry`` is the last day it may be used (None:
    does not expire); ``unusable_rest`` will never come out of the container. ``owner`` names the
    customer whose property it is; empty: the shop's.
    """

    item: str
    lot: str
    place: str
    place_kind: Literal["shelf", "slot", "quarantine"]
    amount: float
    amount_sd: float = 0.0
    container: str = ""
    sealed_expiry: date | None = None
    effective_expiry: date | None = None
    unusable_rest: float = 0.0
    value_minor: float = 0.0
    owner: str = ""
    printer: str = ""
    channel: str = ""


@dataclass(frozen=True, slots=True)
class OnOrder:
    """An open purchase line: what is still to come, and when it was promised."""

    purchase: str
    item: str
    supplier: str
    amount: float
    ordered_on: date
    promised_on: date | None = None
    sent: bool = True


@dataclass(frozen=True, slots=True)
class PriceBreak:
    """From ``from_packs`` packs on, a pack costs ``price_minor``."""

    from_packs: int
    price_minor: float


@dataclass(frozen=True, slots=True)
class Offer:
    """One pack of one item from one supplier.

    ``amount`` is what comes out of a pack; ``unusable_rest`` what is in it besides and never does.
    ``breaks_kind``: ``all_units`` (the lower price holds for every pack) or ``incremental`` (only
    for packs past the break).
    """

    item: str
    supplier: str
    pack: str
    amount: float
    price_minor: float
    multiple: int = 1
    min_packs: int = 1
    breaks: tuple[PriceBreak, ...] = ()
    breaks_kind: Literal["all_units", "incremental"] = "all_units"
    shelf_life_days: int | None = None
    preferred: bool = False
    unusable_rest: float = 0.0


@dataclass(frozen=True, slots=True)
class SupplierTerms:
    """How a supplier delivers and what an order from it costs.

    Args:
        lead_days: Stated working days from order to shelf.
        lead_sd_days: Stated spread; 0 when not stated.
        order_days: Weekdays on which orders are taken, Monday 0.
        cut_off_hour: Orders after this hour count as placed on the next order day; None: none.
        closed: Days the supplier neither takes nor sends orders.
        order_cost_minor, line_cost_minor: Cost of placing one order, of one more line on it.
        minimum_minor: Smallest order taken; 0: none.
        freight_minor, free_freight_minor: Freight per order, and the order value that waives it.
        lead_history: (ordered on, received on, amount ordered, amount received) of past lines.
        announced: (ordered on, arrives on): delivery days the supplier has fixed, for orders of
            given days.
    """

    code: str
    name: str = ""
    lead_days: float = 5.0
    lead_sd_days: float = 0.0
    order_days: frozenset[int] = frozenset(range(5))
    cut_off_hour: int | None = None
    closed: frozenset[date] = frozenset()
    order_cost_minor: float = 0.0
    line_cost_minor: float = 0.0
    minimum_minor: float = 0.0
    freight_minor: float = 0.0
    free_freight_minor: float = 0.0
    lead_history: tuple[tuple[date, date, float, float], ...] = ()
    announced: tuple[tuple[date, date], ...] = ()


@dataclass(frozen=True, slots=True)
class PlanSettings:
    """The shop's own choices.

    Args:
        review_days: Calendar days between two lists.
        horizon_weeks: How far paths reach.
        paths: Number of joint paths.
        seed: Seed of all random draws.
        holding_per_week: Cost of holding, share of value per week.
        misprint_prior: Prior misprint rate and its weight in pieces (trade judgement: 2–3 %).
        weekdays, closed: When the shop works.
        peak_factor: Demand multiplier by (ISO) month, learnt or stated; empty: none.
        blend_autoets: Whether AutoETS takes its share in forecasts.
        units: How sentences write amounts: ``metric`` or ``us``; figures stay in base units.
    """

    review_days: int = 7
    horizon_weeks: int = 12
    paths: int = 2000
    seed: int = 20_260_105
    holding_per_week: float = 0.004
    misprint_prior: tuple[float, float] = (0.025, 200.0)
    weekdays: frozenset[int] = frozenset(range(5))
    closed: frozenset[date] = frozenset()
    peak_factor: tuple[tuple[int, float], ...] = ()
    currency: str = "EUR"
    blend_autoets: bool = False
    units: str = "metric"


@dataclass(frozen=True, eq=False)
class Snapshot:
    """The whole of what :func:`stock.plan.decide.plan` reads.

    ``hour`` is the local hour at which orders made from this plan go out, for cut-offs;
    ``newest_purchase_line`` numbers the newest purchase line that was known when it was taken.
    """

    day: date
    items: tuple[ItemTerms, ...]
    stock: tuple[StockLot, ...] = ()
    on_order: tuple[OnOrder, ...] = ()
    offers: tuple[Offer, ...] = ()
    suppliers: tuple[SupplierTerms, ...] = ()
    order_lines: tuple[OrderLine, ...] = ()
    past_lines: tuple[PastOrderLine, ...] = ()
    misprints: tuple[MisprintRecord, ...] = ()
    history: History = field(
        default_factory=lambda: History(
            (), np.array([], "datetime64[D]"), np.zeros((0, 0)), np.zeros((0, 0), bool)
        )
    )
    links: tuple[Link, ...] = ()
    upkeep: tuple[Upkeep, ...] = ()
    settings: PlanSettings = PlanSettings()
    hour: int = 0
    newest_purchase_line: int = 0

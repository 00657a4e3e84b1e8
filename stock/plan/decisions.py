"""What a plan says: reorder lines, totals by supplier, expiring lots, state of each item.

Amounts are float in the item's base unit, money in minor units of the snapshot's currency (in
JSON in its main unit), days are dates; rounding for people happens only in sentences and JSON.
Frozen data: nothing here decides.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from stock.demand.known import Floats


def main_unit(minor: float) -> float:
    """Minor units as money people write, to the cent.

    >>> main_unit(1250.4)
    12.5
    """
    return round(minor / 100, 2)


@dataclass(frozen=True, slots=True)
class NeedParts:
    """Expected need over the protection interval, by where it comes from, base units."""

    firm: float = 0.0
    quotes: float = 0.0
    unbooked: float = 0.0
    upkeep: float = 0.0

    @property
    def total(self) -> float:
        """All of it."""
        return self.firm + self.quotes + self.unbooked + self.upkeep

    def to_json(self) -> dict[str, float]:
        """The parts as plain numbers."""
        return {
            "firm": self.firm,
            "quotes": self.quotes,
            "unbooked": self.unbooked,
            "upkeep": self.upkeep,
        }


@dataclass(frozen=True, slots=True)
class ReorderLine:
    """One line of the weekly list.

    Args:
        packs, amount: What to buy, in packs and in base units.
        cost: Price of the line after breaks, minor units, without freight.
        on_hand_usable: Stock that counts, base units: what is unexpired, not in quarantine, not
            a customer's, and expected to be drawn before its date.
        on_order: Still to come from open purchases.
        need: Expected need over the protection interval.
        protection_days: Mean calendar days from the snapshot's day until an order placed at the
            next chance would be here.
        level: Order when usable stock and what is on order stand below this.
        order_up_to: Level plus the lot.
        order_by: Last day on which ordering still keeps the promised service.
        stockout_chance: Chance of running out before the next chance delivers, ordering nothing.
        expiry_chance: Chance that some of this order expires unused.
        why: The arithmetic, in sentences.
        runs_dry_before_delivery: Chance of running out before this order is here.
    """

    item: str
    supplier: str
    pack: str
    packs: int
    amount: float
    unit: str
    cost: float
    on_hand_usable: float
    on_order: float
    need: NeedParts
    protection_days: float
    order_up_to: float
    order_by: date
    stockout_chance: float
    expiry_chance: float
    why: tuple[str, ...] = ()
    level: float = 0.0
    lead_days: float = 0.0
    order_on: date | None = None
    name: str = ""
    runs_dry_before_delivery: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """The line as the JSON contract has it: base units, money in the main unit."""
        return {
            "item": self.item,
            "supplier": self.supplier,
            "pack": self.pack,
            "packs": self.packs,
            "amount": self.amount,
            "unit": self.unit,
            "cost": main_unit(self.cost),
            "on_hand_usable": self.on_hand_usable,
            "on_order": self.on_order,
            "need": self.need.to_json(),
            "protection_days": self.protection_days,
            "level": self.level,
            "order_up_to": self.order_up_to,
            "order_by": self.order_by.isoformat(),
            "stockout_chance": self.stockout_chance,
            "expiry_chance": self.expiry_chance,
            "why": list(self.why),
        }


@dataclass(frozen=True, slots=True)
class SupplierTotal:
    """What one supplier's order comes to.

    Args:
        goods: Sum of its lines, minor units.
        freight, order_cost: What the supplier and the shop's own work add, minor units.
        minimum: Smallest order taken, minor units; ``short_of_minimum`` what is missing to it.
        order_on: Day the order goes out.
        notes: Sentences about freight, minimum and what was added to reach them.
    """

    supplier: str
    lines: int
    goods: float
    freight: float
    order_cost: float
    minimum: float
    short_of_minimum: float
    order_on: date
    notes: tuple[str, ...] = ()

    @property
    def total(self) -> float:
        """Goods and freight, minor units."""
        return self.goods + self.freight

    def to_json(self) -> dict[str, Any]:
        """The total as plain data, money in the main unit."""
        return {
            "supplier": self.supplier,
            "lines": self.lines,
            "goods": main_unit(self.goods),
            "freight": main_unit(self.freight),
            "total": main_unit(self.total),
            "minimum": main_unit(self.minimum),
            "short_of_minimum": main_unit(self.short_of_minimum),
            "order_on": self.order_on.isoformat(),
            "notes": list(self.notes),
        }


@dataclass(frozen=True, slots=True)
class ExpiringLot:
    """One lot in one place that reaches its date within the days asked for.

    Args:
        effective_expiry: The earlier of the sealed date and opened + open life.
        days: Calendar days until then; negative when past.
        left_mean, left_p90: Expected rest at that date, and the rest exceeded once in ten.
        value_at_risk: Value of the expected rest, minor units.
        advice: What helps, in a sentence.
        cautions: What to mind when doing so.
    """

    item: str
    lot: str
    place: str
    amount: float
    unit: str
    sealed_expiry: date | None
    effective_expiry: date
    days: int
    left_mean: float
    left_p90: float
    value_at_risk: float
    advice: str
    cautions: tuple[str, ...] = ()
    name: str = ""

    def to_json(self) -> dict[str, Any]:
        """The lot as the JSON contract has it, money in the main unit."""
        return {
            "item": self.item,
            "lot": self.lot,
            "place": self.place,
            "amount": self.amount,
            "unit": self.unit,
            "sealed_expiry": self.sealed_expiry.isoformat() if self.sealed_expiry else None,
            "effective_expiry": self.effective_expiry.isoformat(),
            "days": self.days,
            "left_at_expiry": {"mean": self.left_mean, "p90": self.left_p90},
            "value_at_risk": main_unit(self.value_at_risk),
            "advice": self.advice,
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True, eq=False)
class ItemState:
    """Where one item stands, for charts and for lines that are not on the list.

    Args:
        stock_low, stock_mid, stock_high: Usable stock at the end of each week if nothing is
            ordered, exceeded with chance .9, .5, .1, shape (weeks,).
        need_low, need_mid, need_high: Need of each week, same levels, shape (weeks,).
        deliveries: (day expected, base units) of what is on order.
        level, order_up_to: As in :class:`ReorderLine`; 0 where nothing can be ordered.
        declined: Below its level, and the smallest order is not worth its cost.
    """

    item: str
    unit: str
    on_hand_usable: float
    on_order: float
    not_counted: float
    need: NeedParts
    protection_days: float
    level: float
    order_up_to: float
    order_by: date | None
    stockout_chance: float
    cover_days: float
    supplier: str = ""
    stock_low: Floats = field(default_factory=lambda: np.zeros(0))
    stock_mid: Floats = field(default_factory=lambda: np.zeros(0))
    stock_high: Floats = field(default_factory=lambda: np.zeros(0))
    need_low: Floats = field(default_factory=lambda: np.zeros(0))
    need_mid: Floats = field(default_factory=lambda: np.zeros(0))
    need_high: Floats = field(default_factory=lambda: np.zeros(0))
    deliveries: tuple[tuple[date, float], ...] = ()
    order_amount: float = 0.0
    order_arrives: date | None = None
    on_hand_sd: float = 0.0
    declined: bool = False

    @property
    def why_not(self) -> str:
        """Why nothing is ordered though the item stands below its level; empty otherwise."""
        if not self.declined:
            return ""
        return (
            "It is below, yet nothing is ordered: even the smallest order costs more than going "
            "without, counting what would expire."
        )


@dataclass(frozen=True, eq=False)
class Decisions:
    """Everything a plan answers.

    Args:
        day: The day the plan was made for.
        lines: The reorder list, by supplier, then item.
        totals: One per supplier with lines.
        expiring: Every lot that has a date and is expected to leave some, soonest first.
        states: One per item planned.
        findings: What in the terms or the stock is wrong or was worked around, as sentences.
        newest_purchase_line: As in the snapshot, for accepting the list once only.
    """

    day: date
    currency: str
    lines: tuple[ReorderLine, ...]
    totals: tuple[SupplierTotal, ...]
    expiring: tuple[ExpiringLot, ...]
    states: tuple[ItemState, ...]
    findings: tuple[str, ...]
    newest_purchase_line: int = 0

    def state(self, item: str) -> ItemState:
        """State of ``item``; raises ``KeyError`` when it was not planned."""
        for state in self.states:
            if state.item == item:
                return state
        raise KeyError(item)

    def line(self, item: str) -> ReorderLine | None:
        """The list's line for ``item``, if there is one."""
        return next((line for line in self.lines if line.item == item), None)

    def to_json(self) -> dict[str, Any]:
        """The weekly list as the JSON contract has it."""
        return {
            "on": self.day.isoformat(),
            "currency": self.currency,
            "lines": [line.to_json() for line in self.lines],
            "totals": [total.to_json() for total in self.totals],
            "findings": list(self.findings),
        }

"""What print runs really took, at the cost of the lots they took it from. Money is minor units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, select

from stock.book.tables import item, movement, place, print_run
from stock.book.undo import reversed_entries
from stock.shop.prices import lot_prices


@dataclass(frozen=True, slots=True)
class RealCost:
    """What the runs of a line took, minor units: ink by item, pretreat, blanks; spoiled apart."""

    good: int
    misprints: int
    ink: Mapping[str, float]
    pretreat: float
    blank: float
    spoiled: float

    @property
    def total_minor(self) -> float:
        """All that was taken."""
        return sum(self.ink.values()) + self.pretreat + self.blank + self.spoiled

    def to_json(self) -> dict[str, Any]:
        """Money in major units; ``misprint_cost`` is everything spoiled pieces took."""
        per_good = self.total_minor / self.good / 100 if self.good else None
        return {
            "good": self.good,
            "misprints": self.misprints,
            "ink": {sku: round(cost / 100, 4) for sku, cost in self.ink.items()},
            "pretreat_cost": round(self.pretreat / 100, 4),
            "blank_cost": round(self.blank / 100, 4),
            "misprint_cost": round(self.spoiled / 100, 4),
            "total": round(self.total_minor / 100, 4),
            "per_good_piece": None if per_good is None else round(per_good, 4),
        }


def real_costs(connection: Connection, line_ids: Sequence[int]) -> dict[int, RealCost]:
    """What the runs of these lines took; runs taken back do not count."""
    prices = lot_prices(connection)
    standing = print_run.c.entry_id.not_in(reversed_entries())
    pieces = {
        row[0]: (int(row[1]), int(row[2]))
        for row in connection.execute(
            select(
                print_run.c.order_line_id,
                func.sum(print_run.c.good),
                func.sum(print_run.c.misprints),
            )
            .where(print_run.c.order_line_id.in_(line_ids), standing)
            .group_by(print_run.c.order_line_id)
        )
    }
    moved = connection.execute(
        select(
            print_run.c.order_line_id,
            item.c.sku,
            item.c.kind,
            place.c.kind.label("target"),
            movement.c.lot_id,
            func.sum(movement.c.amount).label("amount"),
        )
        .join(movement, movement.c.entry_id == print_run.c.entry_id)
        .join(item, item.c.id == movement.c.item_id)
        .join(place, place.c.id == movement.c.to_place_id)
        .where(print_run.c.order_line_id.in_(line_ids), standing)
        .group_by(
            print_run.c.order_line_id, item.c.sku, item.c.kind, place.c.kind, movement.c.lot_id
        )
        .order_by(item.c.sku)
    ).all()
    found: dict[int, RealCost] = {}
    for line_id, (good, misprints) in pieces.items():
        ink: dict[str, float] = {}
        pretreat = blank = spoiled = 0.0
        for row in moved:
            if row.order_line_id != line_id:
                continue
            cost = int(row.amount) * prices.get(row.lot_id, 0.0)
            if row.target == "waste":
                spoiled += cost
            elif row.kind == "ink":
                ink[row.sku] = ink.get(row.sku, 0.0) + cost
            elif row.kind == "pretreat":
                pretreat += cost
            else:
                blank += cost
        found[line_id] = RealCost(good, misprints, ink, pretreat, blank, spoiled)
    return found

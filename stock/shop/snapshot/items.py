"""Items of the book with the terms the planner needs: targets, lives, schedules, families."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import numpy as np
from sqlalchemy import Connection, func, select

from stock.book.tables import entry, item, movement, place, print_run, reading
from stock.demand.known import ItemTerms
from stock.shop.recipes import Recipes
from stock.shop.snapshot.known_on import stands


@dataclass(frozen=True, slots=True)
class Targets:
    """What holds for items that state no target of their own, by item kind."""

    service: Mapping[str, float]
    service_kind: Literal["cycle", "fill"]
    waste_risk: Mapping[str, float]


USUAL_TARGETS = Targets(
    dict.fromkeys(("ink", "pretreat", "blank", "supply"), 0.95),
    "cycle",
    dict.fromkeys(("ink", "pretreat", "blank", "supply"), 0.10),
)


def items_of(
    connection: Connection, day: date, recipes: Recipes, targets: Targets = USUAL_TARGETS
) -> tuple[ItemTerms, ...]:
    """Every item with its terms; customers' garments come in as stock, not as items.

    A ready mix is not bought: what it is mixed from is.
    """
    rows = connection.execute(select(item).order_by(item.c.sku)).all()
    serviced = _last_service(connection, day)
    mixed = {mix.ready for mix in recipes.mixes}
    return tuple(
        ItemTerms(
            sku=row.sku,
            kind=row.kind,
            unit=row.unit,
            name=row.name,
            family=_family(row),
            size=row.size,
            channel=row.channel,
            service=targets.service[row.kind] if row.service is None else row.service,
            service_kind=row.service_kind or targets.service_kind,
            shortage_cost_minor=row.shortage_cost_minor,
            waste_risk=targets.waste_risk[row.kind] if row.waste_risk is None else row.waste_risk,
            open_life_days=row.open_life_days,
            shelf_life_days=row.shelf_life_days,
            every_prints=row.every_prints,
            every_days=row.every_days,
            amount_per_service=row.amount_per_service,
            last_used_on=serviced.get(row.id, (None, 0.0))[0],
            prints_since_used=serviced.get(row.id, (None, 0.0))[1],
            reorder=row.reorder and row.sku not in mixed,
            replaces=row.replaces,
        )
        for row in rows
    )


def _family(row: Any) -> str:
    if row.kind != "blank":
        return ""
    return f"{row.style} / {row.colour}" if row.style or row.colour else row.sku


def _last_service(connection: Connection, day: date) -> dict[int, tuple[date, float]]:
    """Supplies: (last used on, garments printed since), by item id."""
    used = connection.execute(
        select(movement.c.item_id, func.max(movement.c.day))
        .join(item, item.c.id == movement.c.item_id)
        .join(place, place.c.id == movement.c.to_place_id)
        .where(
            item.c.kind == "supply",
            place.c.kind.in_(("upkeep", "printed")),
            movement.c.day <= day,
            stands(movement.c.entry_id),
        )
        .group_by(movement.c.item_id)
    )
    last: dict[int, date] = {row[0]: row[1] for row in used}
    noted = connection.execute(
        select(reading.c.item_id, func.max(reading.c.day))
        .where(
            reading.c.kind == "service",
            reading.c.item_id.is_not(None),
            reading.c.day <= day,
            stands(reading.c.entry_id),
        )
        .group_by(reading.c.item_id)
    )
    for item_id, when in noted:
        last[item_id] = max(when, last.get(item_id, when))
    if not last:
        return {}
    runs = connection.execute(
        select(entry.c.day, func.sum(print_run.c.good + print_run.c.misprints))
        .join(entry, entry.c.id == print_run.c.entry_id)
        .where(entry.c.day > min(last.values()), entry.c.day <= day, stands(entry.c.id))
        .group_by(entry.c.day)
        .order_by(entry.c.day)
    ).all()
    days = np.array([when.toordinal() for when, _ in runs], np.int64)
    pieces = np.cumsum([0.0] + [float(count) for _, count in runs])
    return {
        item_id: (
            when,
            float(pieces[-1] - pieces[np.searchsorted(days, when.toordinal(), side="right")]),
        )
        for item_id, when in last.items()
    }

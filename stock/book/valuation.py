"""What the stock is worth on a day, by FIFO layers or by the moving weighted average.

Costs come from receipts; a receipt without a cost is taken at the last cost known for the item
and counted as such. Value leaves with what leaves the holding places (printed, upkeep, waste,
correction, returned), moves with what is mixed, and comes back with an undo (an entry and its undo
are left out together once both days are past). What a count finds comes in at the cost the item
stands at. Customers' goods are never valued.

FIFO: what leaves takes the oldest layer's cost first; what is left is valued at the newest
receipts. Weighted average: each receipt makes a new average, what leaves takes the average of the
moment (perpetual moving average).

Amounts are integers of thousandths; money is minor units, kept as floats here and rounded once.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal, Protocol

from sqlalchemy import Connection, and_, func, or_, select

from stock.book.catalogue import HOLDING_KINDS
from stock.book.tables import entry, item, lot, movement, place, receipt
from stock.units import from_thousandths

Method = Literal["fifo", "average"]


class Pile(Protocol):
    """The cost of what there is of one item.

    Days may stand out of order in the book (a print dated before its delivery): what left before
    it came leaves a debt, and the next delivery pays it before it counts.
    """

    def put(self, amount: int, cost: float | None) -> None:
        """So much came in for so much money; None: at the cost the item stands at."""

    def take(self, amount: int) -> float:
        """So much left; returns its cost."""

    @property
    def amount(self) -> int:
        """How much there is."""

    @property
    def value(self) -> float:
        """What it cost."""


@dataclass(slots=True)
class FifoPile:
    """Layers, oldest first: [amount left, cost left]."""

    layers: deque[list[float]] = field(default_factory=deque)
    amount: int = 0
    last_unit_cost: float = 0.0

    def put(self, amount: int, cost: float | None) -> None:
        """A new layer on top."""
        if cost is None:
            cost = self.last_unit_cost * amount
        else:
            self.last_unit_cost = cost / amount
        owed = min(amount, max(0, -self.amount))
        if owed < amount:
            self.layers.append([amount - owed, cost * (amount - owed) / amount])
        self.amount += amount

    def take(self, amount: int) -> float:
        """From the oldest layer up; more than there is costs nothing more."""
        self.amount -= amount
        cost = 0.0
        left: float = amount
        while left > 0 and self.layers:
            layer = self.layers[0]
            if layer[0] <= left:
                left -= layer[0]
                cost += layer[1]
                self.layers.popleft()
            else:
                part = layer[1] * left / layer[0]
                layer[0] -= left
                layer[1] -= part
                cost += part
                left = 0
        return cost

    @property
    def value(self) -> float:
        """Cost of the layers left."""
        return sum(cost for _, cost in self.layers)


@dataclass(slots=True)
class AveragePile:
    """One heap at its moving average."""

    amount: int = 0
    value: float = 0.0
    last_unit_cost: float = 0.0

    def put(self, amount: int, cost: float | None) -> None:
        """The heap grows and its average moves."""
        if cost is None:
            unit = self.value / self.amount if self.amount > 0 else self.last_unit_cost
            cost = unit * amount
        owed = min(amount, max(0, -self.amount))
        self.amount += amount
        self.value += cost * (amount - owed) / amount
        if self.amount > 0:
            self.last_unit_cost = self.value / self.amount

    def take(self, amount: int) -> float:
        """At the average of the moment."""
        if self.amount <= 0:
            self.amount -= amount
            return 0.0
        cost = self.value * min(amount, self.amount) / self.amount
        self.amount -= amount
        self.value = self.value - cost if self.amount > 0 else 0.0
        return cost


@dataclass(frozen=True, slots=True)
class Worth:
    """One item on the valuation day. Money in minor units."""

    item: str
    name: str
    kind: str
    unit: str
    amount: int
    value_minor: int
    used_minor: int
    without_cost: int

    def to_json(self) -> dict[str, Any]:
        """Amounts in base units, money in the main unit."""
        return {
            "item": self.item,
            "name": self.name,
            "kind": self.kind,
            "amount": from_thousandths(self.amount),
            "unit": self.unit,
            "value": self.value_minor / 100,
            "used": self.used_minor / 100,
            "received_without_cost": from_thousandths(self.without_cost),
        }


@dataclass(frozen=True, slots=True)
class Valuation:
    """All items on one day; ``currency`` is the shop's."""

    on: date
    method: Method
    lines: tuple[Worth, ...]
    currency: str = ""

    @property
    def total_minor(self) -> int:
        """The sum of the lines."""
        return sum(line.value_minor for line in self.lines)

    def to_json(self) -> dict[str, Any]:
        """Lines and total, money in the main unit of ``currency``."""
        return {
            "on": self.on.isoformat(),
            "method": self.method,
            "currency": self.currency,
            "total": self.total_minor / 100,
            "lines": [line.to_json() for line in self.lines],
        }


@dataclass(frozen=True, slots=True)
class Step:
    """One item's change in one entry: what came in, what left, at which cost (None: not said).

    ``kind`` is the kind of place on the other side.
    """

    entry: int
    day: date
    item_id: int
    came: int
    went: int
    cost: float | None
    kind: str


def value_stock(
    connection: Connection, day: date, method: Method = "fifo", *, since: date | None = None
) -> Valuation:
    """Value what the holding places held at the end of ``day``.

    ``used_minor`` of a line is the cost of what left from ``since`` (default: ever) to ``day``.
    """
    piles: dict[int, FifoPile | AveragePile] = {}
    used: dict[int, float] = {}
    uncosted: dict[int, int] = {}
    mixed: dict[int, float] = {}
    for step in _steps(connection, day):
        pile = piles.get(step.item_id)
        if pile is None:
            pile = piles[step.item_id] = FifoPile() if method == "fifo" else AveragePile()
        if step.went:
            cost = pile.take(step.went)
            if step.kind == "mixing":
                mixed[step.entry] = mixed.get(step.entry, 0.0) + cost
            elif since is None or step.day >= since:
                used[step.item_id] = used.get(step.item_id, 0.0) + cost
        if step.came:
            cost_in = mixed.pop(step.entry, None) if step.kind == "mixing" else step.cost
            if cost_in is None and step.kind == "supplier":
                uncosted[step.item_id] = uncosted.get(step.item_id, 0) + step.came
            pile.put(step.came, cost_in)
    names = {row.id: row for row in connection.execute(select(item).order_by(item.c.sku))}
    lines = []
    for item_id, row in names.items():
        pile = piles.get(item_id)
        if pile is None or (pile.amount == 0 and not used.get(item_id)):
            continue
        lines.append(
            Worth(
                row.sku,
                row.name,
                row.kind,
                row.unit,
                pile.amount,
                round(pile.value),
                round(used.get(item_id, 0.0)),
                uncosted.get(item_id, 0),
            )
        )
    return Valuation(day, method, tuple(lines))


def _steps(connection: Connection, day: date) -> Iterable[Step]:
    """What crossed the border of the holding places, by entry and item, in the order of days.

    Within an entry what leaves comes first, so that a mix knows what its parents cost.
    """
    source, target = place.alias("source"), place.alias("target")
    holds_source = source.c.kind.in_(HOLDING_KINDS)
    holds_target = target.c.kind.in_(HOLDING_KINDS)
    undo = entry.alias("undo")
    undone = select(undo.c.reverses).where(undo.c.reverses.is_not(None), undo.c.day <= day)
    undoing = select(undo.c.id).where(undo.c.reverses.is_not(None), undo.c.day <= day)
    costs = _costs(connection, day)
    rows = connection.execute(
        select(
            movement.c.day,
            movement.c.entry_id,
            movement.c.item_id,
            holds_target.label("comes"),
            func.sum(movement.c.amount).label("amount"),
            func.max(source.c.kind).label("from_kind"),
            func.max(target.c.kind).label("to_kind"),
        )
        .join(source, source.c.id == movement.c.from_place_id)
        .join(target, target.c.id == movement.c.to_place_id)
        .join(lot, lot.c.id == movement.c.lot_id)
        .where(
            movement.c.day <= day,
            lot.c.owner == "",
            or_(
                and_(holds_source, target.c.kind.not_in(HOLDING_KINDS)),
                and_(source.c.kind.not_in(HOLDING_KINDS), holds_target),
            ),
            movement.c.entry_id.not_in(undone),
            movement.c.entry_id.not_in(undoing),
        )
        .group_by(movement.c.day, movement.c.entry_id, movement.c.item_id, holds_target)
        .order_by(movement.c.day, movement.c.entry_id, holds_target, movement.c.item_id)
    )
    for row in rows:
        amount = int(row.amount)
        if row.comes:
            cost = costs.get((row.entry_id, row.item_id))
            yield Step(row.entry_id, row.day, row.item_id, amount, 0, cost, row.from_kind)
        else:
            yield Step(row.entry_id, row.day, row.item_id, 0, amount, None, row.to_kind)


def _costs(connection: Connection, day: date) -> dict[tuple[int, int], float]:
    """Cost of each delivery by entry and item; a part without a cost takes the rest's price."""
    rows = connection.execute(
        select(
            receipt.c.entry_id,
            lot.c.item_id,
            func.sum(receipt.c.cost_minor),
            func.count(receipt.c.cost_minor),
            func.count(),
        )
        .join(lot, lot.c.id == receipt.c.lot_id)
        .join(entry, entry.c.id == receipt.c.entry_id)
        .where(entry.c.day <= day, lot.c.owner == "")
        .group_by(receipt.c.entry_id, lot.c.item_id)
    )
    return {
        (entry_id, item_id): float(cost)
        for entry_id, item_id, cost, costed, count in rows
        if cost is not None and costed == count
    }

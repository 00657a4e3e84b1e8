"""How many packs to buy of one item now, at least expected cost and within its waste risk.

Every number of packs on sale is priced: order cost, breaks, and the expected cost of leaving today
with that position. Amounts are base units, money minor units. Nothing here knows the supplier's
other lines.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stock.demand.known import Floats
from stock.plan.level import Policy
from stock.plan.price import Ints, candidate_packs, feasible, purchase_cost
from stock.plan.snapshot import Offer


@dataclass(frozen=True, eq=False)
class Judge:
    """What a number of packs of one item from one offer costs and risks.

    Args:
        row: The pair's row in ``policy``.
        position: Usable stock and what is on order.
        outlives: Sorted need until a lot ordered now would expire, per path; None: no date.
        waste_risk: Largest accepted chance that some of the order expires.
        by_cost: Whether the item has a shortage cost of its own.
        booked: Need of booked orders until the next chance delivers: an item kept by service is
            never left with less, whatever share of need its service lets go short.
    """

    offer: Offer
    policy: Policy
    row: int
    position: float
    order_cost: float
    outlives: Floats | None
    waste_risk: float
    by_cost: bool
    booked: float = 0.0

    @property
    def level(self) -> float:
        """Order below this, base units."""
        usual = self.usual_level
        return usual if self.by_cost else max(usual, self.booked)

    @property
    def usual_level(self) -> float:
        """The level before booked orders are looked at, base units."""
        return float(self.policy.level[self.row])

    @property
    def order_up_to(self) -> float:
        """Where an order is best lifted to, base units."""
        return max(float(self.policy.order_up_to[self.row]), self.level)

    def cost_of(self, packs: Ints) -> Floats:
        """Expected cost of buying ``packs`` now, over the long-run average, minor units."""
        amount = np.asarray(packs) * self.offer.amount
        usual = float(self.policy.lot_price[self.row])
        ordered = np.where(amount > 0, self.order_cost, 0.0)
        bought = purchase_cost(self.offer, packs) - usual * amount
        later = self.policy.value_at(self.row, self.position + amount)
        return np.asarray(ordered + bought + later)

    def expiry_chance(self, packs: Ints) -> Floats:
        """Chance that some of ``packs`` packs, drawn after all that is there, expires."""
        amount = np.asarray(packs) * self.offer.amount
        if self.outlives is None:
            return np.zeros(amount.shape)
        below = np.searchsorted(self.outlives, self.position + amount, side="left")
        return np.where(amount > 0, below / len(self.outlives), 0.0)


@dataclass(frozen=True, slots=True)
class Choice:
    """Packs chosen, and what held the choice back.

    ``held_by``: empty; ``risk`` (more would expire too likely); ``accepted`` (the smallest order
    is over the waste risk, and going without costs more); ``declined`` (nothing: even the
    smallest order costs more than going without); ``joins`` (above its level, taken along with an
    order that goes out anyway). ``topped_up`` packs are only there to reach a
    smallest order or free freight.
    """

    packs: int
    amount: float
    cost: float
    expiry_chance: float
    held_by: str = ""
    topped_up: int = 0


def choose(judge: Judge) -> Choice | None:
    """Packs to buy now; None while the position is at or above the level."""
    short = judge.level - judge.position
    if short <= 1e-6 * max(1.0, judge.level):  # what float32 paths leave of a whole number
        return None
    least = judge.offer.amount if judge.by_cost else short
    packs = candidate_packs(judge.offer, least, max(judge.order_up_to - judge.position, short))
    risk = judge.expiry_chance(packs)
    allowed = packs[risk <= judge.waste_risk] if not judge.by_cost else packs
    if allowed.size:
        return _chosen(judge, int(allowed[np.argmin(judge.cost_of(allowed))]), "")
    fewer = candidate_packs(judge.offer, judge.offer.amount, short)
    within = fewer[judge.expiry_chance(fewer) <= judge.waste_risk]
    if within.size:
        return _chosen(judge, int(within[np.argmin(judge.cost_of(within))]), "risk")
    smallest = feasible(judge.offer, 1)
    without, with_least = judge.cost_of(np.array([0, smallest]))
    certain = float(judge.expiry_chance(np.array([smallest]))[0]) >= 1.0
    if with_least < without and not (certain and judge.position >= short):
        return _chosen(judge, smallest, "accepted")
    return Choice(0, 0.0, 0.0, 0.0, "declined")


def _chosen(judge: Judge, packs: int, held_by: str) -> Choice:
    count = np.array([packs])
    return Choice(
        packs,
        packs * judge.offer.amount,
        float(purchase_cost(judge.offer, count)[0]),
        float(judge.expiry_chance(count)[0]),
        held_by,
    )


def topped_up(judge: Judge, choice: Choice | None, packs: int) -> Choice:
    """``choice`` with so many packs in all, the rest for the order as a whole."""
    before = choice.packs if choice is not None else 0
    held_by = choice.held_by if choice is not None and choice.packs else ""
    return replace(_chosen(judge, packs, held_by), topped_up=packs - before)

"""What one good print costs: ink, pretreat, blank, its share of upkeep, and the misprints.

Amounts are float in base units (mL, g, each), prices and costs minor units. Nothing here knows
where a price comes from.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Part:
    """One consumable of a piece: how much, how surely, at what price per base unit.

    ``amount_sd`` is the standard deviation of the estimate: it comes from the rates, so it is the
    same error in every piece.
    """

    item: str
    amount: float
    unit: str
    price_minor: float
    amount_sd: float = 0.0

    @property
    def cost_minor(self) -> float:
        """Amount times price."""
        return self.amount * self.price_minor

    def to_json(self) -> dict[str, Any]:
        """Amount in base units, cost in major units."""
        return {
            "item": self.item,
            "amount": round(self.amount, 6),
            "amount_sd": round(self.amount_sd, 6),
            "unit": self.unit,
            "cost": round(self.cost_minor / 100, 6),
        }


@dataclass(frozen=True, slots=True)
class PieceCost:
    """The cost of one good piece, minor units.

    ``misprint_rate`` is the chance that a print is spoiled; ``upkeep_minor`` is None when nobody
    can tell how many pieces share it.
    """

    ink: Mapping[str, Part] = field(default_factory=dict)
    pretreat: Part | None = None
    blank: Part | None = None
    upkeep_minor: float | None = None
    misprint_rate: float = 0.0

    @property
    def ink_minor(self) -> float:
        """Ink of all channels."""
        return sum(part.cost_minor for part in self.ink.values())

    @property
    def spent_minor(self) -> float:
        """What one attempt spends, good or not: ink, pretreat and the blank."""
        spent = self.ink_minor
        for part in (self.pretreat, self.blank):
            spent += part.cost_minor if part is not None else 0.0
        return spent

    @property
    def misprints_minor(self) -> float:
        """What spoiled pieces add to each good one."""
        return self.spent_minor * spoiled_per_good(self.misprint_rate)

    @property
    def total_minor(self) -> float:
        """Everything; upkeep only when it is known."""
        return self.spent_minor + self.misprints_minor + (self.upkeep_minor or 0.0)

    @property
    def total_sd_minor(self) -> float:
        """Standard deviation of the total that comes from the rates.

        Channels and pretreat err independently: their squares add (any textbook of statistics).
        """
        parts = [*self.ink.values(), *([self.pretreat] if self.pretreat is not None else [])]
        spread = math.sqrt(sum((part.amount_sd * part.price_minor) ** 2 for part in parts))
        return spread * (1 + spoiled_per_good(self.misprint_rate))

    def to_json(self) -> dict[str, Any]:
        """Money in major units."""

        def major(minor: float) -> float:
            return round(minor / 100, 6)

        return {
            "ink": {channel: part.to_json() for channel, part in self.ink.items()},
            "ink_cost": major(self.ink_minor),
            "pretreat": self.pretreat.to_json() if self.pretreat is not None else None,
            "blank": self.blank.to_json() if self.blank is not None else None,
            "upkeep_cost": None if self.upkeep_minor is None else major(self.upkeep_minor),
            "misprint_rate": round(self.misprint_rate, 6),
            "misprint_cost": major(self.misprints_minor),
            "total": major(self.total_minor),
            "total_sd": major(self.total_sd_minor),
        }


def spoiled_per_good(misprint_rate: float) -> float:
    """Expected spoiled prints for each good one: p / (1 − p).

    Prints are spoiled independently, and each is done again until it is good: the mean number of
    failures before the first success (geometric distribution; from memory, any textbook of
    probability has it; the tests hold it against scipy.stats).

    >>> round(spoiled_per_good(0.02), 5)
    0.02041
    """
    if not 0 <= misprint_rate < 1:
        raise ValueError(f"a misprint rate of {misprint_rate} is not a share below 1")
    return misprint_rate / (1 - misprint_rate)


def real_to_estimated(upkeep_per_day: float, prints_per_day: float, per_print: float) -> float:
    """How much ink really goes for each mL the prints themselves are estimated to take.

    1 + upkeep / (prints × amount per print): upkeep goes by calendar days, so a quiet shop pays
    it with few prints. Amounts in mL.

    >>> real_to_estimated(10, 10, 8)
    1.125
    """
    printed = prints_per_day * per_print
    if printed <= 0:
        raise ValueError("nothing is printed, so no ratio can be told")
    return 1 + upkeep_per_day / printed

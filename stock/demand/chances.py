"""Chances learnt from the shop's own record: quotes won, orders cancelled, pieces spoiled.

Each is a rate with the shop's record pulled towards a prior while there is little of it. Rates
are shares from 0 to 1; ages and leads are calendar days.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from stock.demand.known import MisprintRecord, PastOrderLine

MISPRINT_PRIOR: Final = (0.025, 200.0)
"""Rate and weight in pieces: 2–3 % is a trade judgement, no measure is published."""
WIN_PRIOR: Final = (0.5, 4.0)
"""Nothing known: even odds, given up after a handful of quotes."""
CANCEL_PRIOR: Final = (0.005, 40.0)
"""Chance per stretch of lead and its weight in lines: a judgement, no source."""
LEAD_EDGES: Final = (0, 7, 14, 28, 56, 112)
"""Stretches of days before the due day over which the hazard is taken as constant."""


def chance_of_misprint(pieces: float, rate: float) -> float:
    """Chance that at least one of ``pieces`` is spoiled: 1 − (1 − rate)^pieces.

    >>> round(chance_of_misprint(24, 0.02), 3)
    0.384
    """
    return float(-np.expm1(pieces * np.log1p(-min(rate, 1 - 1e-12))))


@dataclass(frozen=True, slots=True)
class MisprintRates:
    """Misprint rate by print location, and of the whole shop for locations without a record."""

    shop: float
    by_location: Mapping[str, float] = field(default_factory=dict)

    def rate(self, location: str) -> float:
        """Chance that one piece at ``location`` is spoiled."""
        return self.by_location.get(location, self.shop)


def misprint_rates(
    records: Iterable[MisprintRecord], prior: tuple[float, float] = MISPRINT_PRIOR
) -> MisprintRates:
    """Rates by location: the shop's own shrunk to the prior, each location's to the shop's.

    Mean of a beta posterior at both steps, with the prior's weight counted in pieces.

    >>> rates = misprint_rates([MisprintRecord("front", 800, 40)], (0.02, 200))
    >>> round(rates.shop, 4), round(rates.rate("front"), 4)
    (0.044, 0.0488)
    """
    rate, weight = prior
    seen: dict[str, tuple[float, float]] = {}
    for record in records:
        printed, spoiled = seen.get(record.location, (0.0, 0.0))
        seen[record.location] = (
            printed + max(record.printed, 0.0),
            spoiled + min(max(record.misprints, 0.0), max(record.printed, 0.0)),
        )
    printed = sum(pair[0] for pair in seen.values())
    spoiled = sum(pair[1] for pair in seen.values())
    shop = (rate * weight + spoiled) / (weight + printed) if weight + printed > 0 else rate
    places = {
        name: (shop * weight + bad) / (weight + made) if weight + made > 0 else shop
        for name, (made, bad) in seen.items()
    }
    return MisprintRates(shop, places)


@dataclass(frozen=True, eq=False)
class WinRates:
    """Past quotes by kind of customer: how long each stood open, and whether it was won.

    ``quotes`` maps a kind to (days open, won) pairs; kind ``""`` holds all of them.
    """

    quotes: Mapping[str, Sequence[tuple[int, bool]]] = field(default_factory=dict)
    prior: tuple[float, float] = WIN_PRIOR

    def probability(self, age_days: int, customer_kind: str = "") -> float:
        """Chance that a quote still open at ``age_days`` is won.

        Share won among past quotes that were still open at that age: of the kind, shrunk to the
        share over all kinds at that age, itself shrunk to the share at any age and to the prior.
        """
        chance, weight = self.prior
        everyone = self.quotes.get("", ())
        chance = _shrunk(everyone, -1, chance, weight)
        chance = _shrunk(everyone, age_days, chance, weight)
        if customer_kind:
            chance = _shrunk(self.quotes.get(customer_kind, ()), age_days, chance, weight)
        return chance


def _shrunk(
    quotes: Sequence[tuple[int, bool]], age_days: int, chance: float, weight: float
) -> float:
    still = [won for days, won in quotes if days > age_days]
    return (chance * weight + sum(still)) / (weight + len(still))


def win_rates(
    past_lines: Iterable[PastOrderLine], prior: tuple[float, float] = WIN_PRIOR
) -> WinRates:
    """Win rates from past quotes that were decided.

    A quote counts as won when it was printed or cancelled later; the day it was decided is its
    outcome day, for won quotes the day printed (when it became an order is not recorded).
    """
    quotes: dict[str, list[tuple[int, bool]]] = {"": []}
    for line in past_lines:
        if not line.was_quote or line.outcome == "open":
            continue
        decided = line.outcome_on or line.due_on
        entry = (max(0, (decided - line.placed_on).days), line.outcome != "lost")
        quotes[""].append(entry)
        if line.customer_kind:
            quotes.setdefault(line.customer_kind, []).append(entry)
    return WinRates(quotes, prior)


@dataclass(frozen=True, slots=True)
class CancelHazard:
    """Chance of cancellation by stretch of lead.

    ``by_stretch[k]`` is the chance that an order standing at the far end of stretch k (days
    before due, from ``edges[k]`` to ``edges[k + 1]``) is cancelled within it.
    """

    by_stretch: tuple[float, ...]
    edges: tuple[int, ...] = LEAD_EDGES

    def survival(self, lead_days: float) -> float:
        """Chance that an order standing ``lead_days`` before its day is still printed."""
        chance = 1.0
        for stretch, risk in enumerate(self.by_stretch):
            near, far = self.edges[stretch], self.edges[stretch + 1]
            part = min(max((lead_days - near) / (far - near), 0.0), 1.0)
            chance *= (1 - risk) ** part
        return chance


def cancel_hazard(
    past_lines: Iterable[PastOrderLine], prior: tuple[float, float] = CANCEL_PRIOR
) -> CancelHazard:
    """Hazard of cancellation by lead, from orders printed or cancelled.

    Each line is at risk in every stretch it stood in from the day it was placed until it was
    printed or cancelled; part of a stretch counts as that part.
    """
    risk, weight = prior
    lines = [line for line in past_lines if line.outcome in ("printed", "cancelled")]
    entered = np.array([(line.due_on - line.placed_on).days for line in lines], float)[:, None]
    fallen = np.array([line.outcome == "cancelled" for line in lines], bool)
    left = np.array(
        [
            max(0, (line.due_on - (line.outcome_on or line.due_on)).days) if gone else 0
            for line, gone in zip(lines, fallen, strict=True)
        ],
        float,
    )[:, None]
    near = np.array(LEAD_EDGES[:-1], float)
    far = np.array(LEAD_EDGES[1:], float)
    stood = np.clip((np.minimum(entered, far) - np.maximum(left, near)) / (far - near), 0, 1)
    at = fallen[:, None] & (left >= near) & (left < far)
    stood[at] = 1.0
    return CancelHazard(
        tuple(((risk * weight + at.sum(axis=0)) / (weight + stood.sum(axis=0))).tolist())
    )

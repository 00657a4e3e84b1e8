"""Size curves: how a style and colour splits into sizes, shrunk towards the shop's own curve.

Counts are garments; shares sum to 1 over the sizes of a family. Nothing here knows packs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from stock.demand.known import Floats

PRIOR_CURVE: Final[Mapping[str, float]] = {
    "XS": 0.01,
    "S": 0.10,
    "M": 0.23,
    "L": 0.31,
    "XL": 0.23,
    "2XL": 0.09,
    "3XL": 0.03,
}
"""Weak prior: a decorator's blog, October 2023; other published curves differ by up to a third."""

FAMILY_WEIGHT: Final = 10.0
"""Garments the shop's own curve counts for in a family's: best of 3, 10, 30, 60 in foreseeing the
sizes of pizzas (open data in ``great-tables``) from their first day to two weeks; no measure of
garments is published."""
SHOP_WEIGHT: Final = 50.0
"""Garments the published curve counts for in the shop's own: a judgement, no source."""


@dataclass(frozen=True, eq=False)
class SizeCurve:
    """Posterior of one family's size shares: a Dirichlet with these weights."""

    sizes: tuple[str, ...]
    weights: Floats

    @property
    def shares(self) -> Floats:
        """Expected share of each size, summing to 1."""
        total: Floats = self.weights / self.weights.sum()
        return total


def shop_curve(
    counts: Mapping[str, float], offered: Mapping[str, float] | None = None
) -> Mapping[str, float]:
    """The shop's own pooled curve by size, the published curve counting for 50 garments.

    Args:
        counts: Garments used by size over all families.
        offered: Garments of all sizes used by the families while they had the size: what a size
            could have had a part in. Default: all garments for every size.

    A size that was offered for a short time only is judged by its part of what was used then.
    """
    everything = sum(max(count, 0.0) for count in counts.values())
    sizes = dict.fromkeys([*PRIOR_CURVE, *counts])
    least = min(PRIOR_CURVE.values())
    shares = {}
    for size in sizes:
        chance = everything if offered is None else offered.get(size, 0.0)
        prior = PRIOR_CURVE.get(size, least)
        shares[size] = (SHOP_WEIGHT * prior + max(counts.get(size, 0.0), 0.0)) / (
            SHOP_WEIGHT + max(chance, 0.0)
        )
    total = sum(shares.values())
    return {size: share / total for size, share in shares.items()}


def size_curve(
    sizes: Sequence[str],
    counts: Sequence[float],
    shop: Mapping[str, float],
    offered: Sequence[float] | None = None,
) -> SizeCurve:
    """Dirichlet posterior of a family's sizes: the shop's curve for 10 garments plus its own.

    A size never sold yet has the share the shop's curve gives it: a new size is not 0. A size
    offered only for a while is taken to have gone on as it did then.

    Args:
        counts: Garments used by size.
        offered: Garments of the family used while each size was offered; default: all of them.

    >>> shop = shop_curve({})
    >>> curve = size_curve(["M", "L"], [0, 0], shop)
    >>> curve.shares.round(3).tolist()
    [0.426, 0.574]
    """
    prior = np.array([max(shop.get(size, 0.0), 1e-3) for size in sizes])
    prior /= prior.sum()
    used = np.maximum(np.asarray(counts, float), 0.0)
    everything = used.sum()
    chance = np.full(len(used), everything) if offered is None else np.asarray(offered, float)
    shares = (FAMILY_WEIGHT * prior + used) / (FAMILY_WEIGHT + np.maximum(chance, used))
    shares /= shares.sum()
    return SizeCurve(tuple(sizes), (FAMILY_WEIGHT + everything) * shares)


def split_whole(total: int, shares: Sequence[float]) -> list[int]:
    """Split ``total`` into whole parts by largest remainder; parts sum to ``total``.

    >>> split_whole(10, [0.55, 0.25, 0.2])
    [6, 2, 2]
    """
    exact = np.asarray(shares, float)
    exact = exact / exact.sum() * total
    whole = np.floor(exact + 1e-9).astype(int)
    order = np.argsort(-(exact - whole), kind="stable")
    whole[order[: total - int(whole.sum())]] += 1
    return [int(part) for part in whole]

"""Keeping each of k things with chance p, for millions of paths at once.

Binomial draws by inversion from small tables: exact up to 64 things (chance to the nearest table
row), normal beyond. Counts only; no units.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from stock.demand.known import Floats

MOST_COUNTED: Final = 64
BINS: Final = 256


def binomial_cdf(most: int, chance: float) -> Floats:
    """P(at most j of k kept), shape (k = 0 … ``most``, j = 0 … ``most``).

    >>> binomial_cdf(2, 0.5)[2].tolist()
    [0.25, 0.75, 1.0]
    """
    pmf = np.zeros((most + 1, most + 1))
    pmf[0, 0] = 1.0
    for k in range(1, most + 1):
        pmf[k] = (1 - chance) * pmf[k - 1]
        pmf[k, 1:] += chance * pmf[k - 1, :-1]
    return np.minimum(np.cumsum(pmf, axis=1), 1.0)


@lru_cache(maxsize=1024)
def kept_table(chance: float) -> npt.NDArray[np.float32]:
    """Number kept of k = 0 … 64 at the middles of 256 equal parts of the unit interval."""
    cdf = binomial_cdf(MOST_COUNTED, chance)
    middles = (np.arange(BINS) + 0.5) / BINS
    kept = (middles[None, :, None] > cdf[:, None, :]).sum(axis=2)
    return np.asarray(np.minimum(kept, np.arange(MOST_COUNTED + 1)[:, None]), np.float32)


@lru_cache(maxsize=4)
def _scores(parts: int) -> npt.NDArray[np.float32]:
    from scipy.special import ndtri

    return np.asarray(ndtri((np.arange(parts) + 0.5) / parts), np.float32)


def kept_share(
    counts: npt.NDArray[np.int32], chance: float, parts: npt.NDArray[np.int32]
) -> npt.NDArray[np.float32]:
    """Share kept of ``counts`` things, each kept with ``chance``; 0 … 1, shape of ``counts``.

    Args:
        counts: How many things, at least 1.
        parts: Which of the 256 equal parts of the unit interval the draw fell in.
    """
    if chance <= 0 or chance >= 1:
        return np.full(counts.shape, min(max(chance, 0.0), 1.0), np.float32)
    table = kept_table(round(chance, 3) if 0.001 < chance < 0.999 else chance)
    few = np.minimum(counts, MOST_COUNTED)
    share = table[few, parts] / few
    many = counts > MOST_COUNTED
    if many.any():
        spread = np.sqrt(chance * (1 - chance) / np.maximum(counts, 1)).astype(np.float32)
        share = np.where(many, np.clip(chance + spread * _scores(BINS)[parts], 0, 1), share)
    return np.asarray(share, np.float32)

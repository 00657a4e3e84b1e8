"""Keeping each of k things with chance p, for millions of paths at once.

Binomial draws by inversion from small tables: exact up to 64 things but for the 256 steps of the
draw, approximate beyond. Counts only; no units.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist
from typing import Final

import numpy as np
import numpy.typing as npt

from stock.demand.draws import BINS
from stock.demand.known import Floats

MOST_COUNTED: Final = 64
_ROWS: Final = MOST_COUNTED + 1
_MIDDLES: Final[Floats] = (np.arange(BINS) + 0.5) / BINS
_RARE: Final = 5.0
"""Expected number kept, or not kept, below which a normal draw is too even."""
_GRID_STEPS: Final = 160
_GRID_ENDS: Final = (0.0005, 0.9995)


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
def _kept_table(chance: float) -> npt.NDArray[np.uint8]:
    """Number kept of k = 0 … 64 at the middles of 256 equal parts of the unit interval."""
    cdf = binomial_cdf(MOST_COUNTED, chance)
    kept = np.array([np.searchsorted(row, _MIDDLES, side="left") for row in cdf])
    return np.asarray(np.minimum(kept, np.arange(_ROWS)[:, None]), np.uint8)


@lru_cache(maxsize=1)
def _scores() -> npt.NDArray[np.float32]:
    return np.array([NormalDist().inv_cdf(float(middle)) for middle in _MIDDLES], np.float32)


class Keeping:
    """Tables for a row of chances, one per week or per group of paths.

    Args:
        chances: Each from 0 to 1.
    """

    def __init__(self, chances: Sequence[float] | Floats) -> None:
        self.chances = np.clip(np.asarray(chances, np.float32), 0, 1)
        self._flat = np.concatenate([_kept_table(float(p)).ravel() for p in self.chances])

    def kept(
        self,
        counts: npt.NDArray[np.float32],
        which: npt.NDArray[np.intp],
        drawn: npt.NDArray[np.uint8],
    ) -> npt.NDArray[np.float32]:
        """How many of ``counts`` whole things are kept, shape of ``counts``.

        Args:
            counts: Whole numbers from 0.
            which: Place of the chance to use, broadcast to ``counts``.
            drawn: Which of the 256 parts the draw fell in.
        """
        place = np.minimum(counts, MOST_COUNTED).astype(np.intp)
        place += which * _ROWS
        place *= BINS
        place += drawn
        found = self._flat.take(place).astype(np.float32)
        if counts.max(initial=0) > MOST_COUNTED:
            many = counts > MOST_COUNTED
            chance = np.broadcast_to(self.chances[which], counts.shape)[many]
            found[many] = _of_many(counts[many], chance, found[many], drawn[many])
        return found


def _of_many(
    counts: npt.NDArray[np.float32],
    chance: npt.NDArray[np.float32],
    of_64: npt.NDArray[np.float32],
    drawn: npt.NDArray[np.uint8],
) -> npt.NDArray[np.float32]:
    """Kept of more than 64: normal, or the draw of 64 stretched where the normal is too even."""
    mean = counts * chance
    spread = np.sqrt(mean * (1 - chance))
    rare = np.minimum(mean, counts - mean) < _RARE
    away = np.where(
        rare,
        (of_64 - MOST_COUNTED * chance) * np.sqrt(counts / MOST_COUNTED),
        spread * _scores()[drawn],
    )
    # rounded up as often as the fraction says: each part of the draw has its own threshold
    threshold = (drawn.astype(np.int32) * 101 % BINS + 0.5) / BINS
    whole = np.clip(np.floor(mean + away + threshold), 0, counts)
    return np.asarray(whole, np.float32)


@lru_cache(maxsize=1)
def _grid() -> Floats:
    low, high = (np.log(p / (1 - p)) for p in _GRID_ENDS)
    logit = np.linspace(low, high, _GRID_STEPS)
    found: Floats = 1 / (1 + np.exp(-logit))
    return found


def on_grid(chances: Sequence[float]) -> list[float]:
    """The chances moved to the nearest of 160 kept ones, so that their mean moves least.

    What one chance was moved by is made up for in the next.
    """
    grid = _grid()
    owed = 0.0
    moved = []
    for chance in chances:
        nearest = float(grid[np.abs(grid - (chance + owed)).argmin()])
        owed += chance - nearest
        moved.append(nearest)
    return moved

"""Random numbers that belong to a name, not to a place in a loop.

Every series, item and order line draws from its own stream, fixed by the seed and its name: the
same seed gives the same bytes whatever else is drawn, in whatever order or chunk.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache

import numpy as np
import numpy.typing as npt

TEMPLATES = 32
_STEPS = (0.0, 0.05, 0.15, 0.3, 0.5, 0.8)
"""Week-to-week correlations for which rank templates are kept; the nearest is taken."""


def stream(seed: int, *name: object) -> np.random.Generator:
    """The random stream of ``name`` under ``seed``."""
    text = "\x1f".join([str(seed), *(str(part) for part in name)])
    digest = hashlib.blake2b(text.encode(), digest_size=16).digest()
    return np.random.Generator(np.random.Philox(key=int.from_bytes(digest, "little")))


def number(seed: int, *name: object) -> int:
    """A 63-bit integer that belongs to ``name`` under ``seed``."""
    text = "\x1f".join([str(seed), *(str(part) for part in name)])
    digest = hashlib.blake2b(text.encode(), digest_size=8).digest()
    return int.from_bytes(digest, "little") >> 1


@lru_cache(maxsize=512)
def _template(
    seed: int, number_of: int, step: int, n_paths: int, weeks: int
) -> npt.NDArray[np.int32]:
    draws = stream(seed, "ranks", number_of).standard_normal((n_paths, weeks + 1))
    share = _STEPS[step]
    weekly = np.sqrt(1 - share) * draws[:, 1:] + np.sqrt(share) * draws[:, :1]
    order = np.argsort(np.cumsum(weekly, axis=1), axis=0, kind="stable")
    ranks = np.empty((n_paths, weeks), np.int32)
    np.put_along_axis(ranks, order, np.arange(n_paths, dtype=np.int32)[:, None], axis=0)
    return ranks


def running_ranks(
    seed: int, name: str, n_paths: int, weeks: int, correlation: float = 0.0
) -> npt.NDArray[np.int32]:
    """Ranks 0 … n_paths − 1 of each path's running total after each week, shape (paths, weeks).

    Each column is a permutation: a quantile function read at (rank + ½)/n_paths gives exactly its
    own quantiles. Columns hang together as the running totals of weekly draws with the given
    week-to-week correlation do.
    """
    step = int(np.argmin(np.abs(np.asarray(_STEPS) - correlation)))
    own = number(seed, "which", name)
    ranks = _template(seed, own % TEMPLATES, step, n_paths, weeks)
    return np.roll(ranks, (own // TEMPLATES) % n_paths, axis=0)

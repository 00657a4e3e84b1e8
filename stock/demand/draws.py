"""Random numbers that belong to a name, not to a place in a loop.

Every series, item and order line draws from its own stream, fixed by the seed and its name: the
same seed gives the same bytes whatever else is drawn, in whatever order or chunk. Where draws are
needed by the million, a few templates are drawn once and each name takes one of them, turned by
its own number of paths.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

TEMPLATES: Final = 24
BINS: Final = 256
"""Equal parts of the unit interval that :func:`parts` tells apart."""
_CORRELATIONS: Final = (0.0, 0.05, 0.15, 0.3, 0.45, 0.6, 0.8, 0.95)
"""Week-to-week correlations for which rank templates are kept; the nearest is taken."""
_SKEWS: Final = (0.0, 0.3, 0.6, 0.9, 1.3, 1.8, 2.5)
"""Spreads of a week's logarithm for which rank templates are kept; 0 is a normal week."""


def stream(seed: int, *name: object) -> np.random.Generator:
    """The random stream of ``name`` under ``seed``."""
    digest = _digest(seed, name, 16)
    return np.random.Generator(np.random.Philox(key=np.frombuffer(digest, np.uint64)))


def number(seed: int, *name: object) -> int:
    """A 63-bit integer that belongs to ``name`` under ``seed``."""
    return int.from_bytes(_digest(seed, name, 8), "little") >> 1


def _digest(seed: int, name: tuple[object, ...], size: int) -> bytes:
    text = "\x1f".join([str(seed), *(str(part) for part in name)])
    return hashlib.blake2b(text.encode(), digest_size=size).digest()


def running_ranks(
    seed: int, name: str, n_paths: int, weeks: int, correlation: float = 0.0, skew: float = 0.0
) -> tuple[npt.NDArray[np.intp], int]:
    """Ranks 0 … n_paths − 1 of each path's running total after each week, and a turn.

    Each row of the ranks, shape (weeks, paths), is a permutation: a quantile function read at
    (rank + ½)/n_paths gives exactly its own quantiles. Rows hang together as the running totals
    of weekly draws with the given week-to-week correlation do. Weeks are lognormal with ``skew``
    as the spread of their logarithm, so that where one week can dwarf the others a path that had
    it keeps its place. The name's own paths are those of the template, turned forward by the
    second number.
    """
    step = int(np.argmin(np.abs(np.asarray(_CORRELATIONS) - correlation)))
    spread = int(np.argmin(np.abs(np.asarray(_SKEWS) - skew)))
    own = number(seed, "ranks", name)
    ranks = _rank_template(seed, own % TEMPLATES, step, spread, n_paths, weeks)
    return ranks.astype(np.intp), (own // TEMPLATES) % n_paths


@lru_cache(maxsize=320)
def _rank_template(
    seed: int, which: int, step: int, spread: int, n_paths: int, weeks: int
) -> npt.NDArray[np.unsignedinteger]:
    draws = stream(seed, "rank template", which).standard_normal((weeks + 1, n_paths))
    share = _CORRELATIONS[step]
    weekly = np.sqrt(1 - share) * draws[1:] + np.sqrt(share) * draws[:1]
    if _SKEWS[spread] > 0:
        weekly = np.exp(_SKEWS[spread] * weekly)
    order = np.argsort(np.cumsum(weekly, axis=0), axis=1, kind="stable")
    ranks = np.empty((weeks, n_paths), np.uint16 if n_paths <= 1 << 16 else np.uint32)
    np.put_along_axis(ranks, order, np.arange(n_paths, dtype=ranks.dtype)[None, :], axis=1)
    return ranks


def parts(seed: int, name: str, n_paths: int, weeks: int) -> npt.NDArray[np.uint8]:
    """Which of 256 equal parts of the unit interval each draw falls in, shape (weeks, paths).

    Weeks are independent; within a week every part comes up equally often, to one.
    """
    own = number(seed, "parts", name)
    template = _part_template(seed, own % TEMPLATES, n_paths, weeks)
    return np.roll(template, (own // TEMPLATES) % n_paths, axis=1)


@lru_cache(maxsize=64)
def _part_template(seed: int, which: int, n_paths: int, weeks: int) -> npt.NDArray[np.uint8]:
    draws = stream(seed, "part template", which)
    even = (np.arange(n_paths) * BINS // n_paths).astype(np.uint8)
    return draws.permuted(np.tile(even, (weeks, 1)), axis=1)

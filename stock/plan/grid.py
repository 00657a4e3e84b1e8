"""Chances and expected amounts on an even grid ``y = k × step``, k from 0 up.

Arrays are shaped (rows, cells), amounts are base units. Nothing here knows a cost.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stock.demand.known import Floats

Ints = npt.NDArray[np.int64]

CELLS = 256
"""Cells of the grid; the finest difference seen is the largest position / 255."""


def spread_on_grid(
    values: Floats, step: Floats, weight: Floats | None = None, cells: int = CELLS
) -> Floats:
    """Chances of ``values`` (rows, paths) on the grid, each split between its two neighbours.

    The split keeps the mean, so that expected losses at grid points are exact. What lies beyond
    the grid is left out: rows then sum to less than 1. ``weight`` (rows, paths), mean 1, makes
    some paths count more.
    """
    rows, paths = values.shape
    place = np.maximum(values, 0.0) / step[:, None]
    lower = np.minimum(place, cells).astype(np.int64)
    part = place - lower
    part = np.where(lower >= cells, 0.0, part)
    flat = (lower + np.arange(rows)[:, None] * (cells + 2)).ravel()
    size = rows * (cells + 2)
    if weight is None:
        mass = np.bincount(flat, minlength=size).astype(float)
    else:
        mass = np.bincount(flat, weights=weight.ravel(), minlength=size)
        part = part * weight
    upper = np.bincount(flat, weights=part.ravel(), minlength=size)
    mass -= upper
    mass[1:] += upper[:-1]
    return np.asarray(mass.reshape(rows, cells + 2)[:, :cells] / paths)


def expected_stock(chances: Floats, step: Floats) -> Floats:
    """E[(y − X)⁺] at each grid point for X distributed as ``chances``, base units."""
    below = np.cumsum(chances, axis=1)
    held = np.zeros_like(below)
    np.cumsum(below[:, :-1], axis=1, out=held[:, 1:])
    return held * step[:, None]


def expected_short(held: Floats, mean: Floats, step: Floats) -> Floats:
    """E[(X − y)⁺] at each grid point, from E[(y − X)⁺] and E[X], base units."""
    grid = np.arange(held.shape[1]) * step[:, None]
    return np.maximum(held - grid + mean[:, None], 0.0)


def read_at(table: Floats, cell: Floats) -> Floats:
    """``table`` (rows, cells) read at fractional ``cell`` (rows, n), straight on past its end."""
    last = table.shape[1] - 1
    lower = np.clip(np.floor(cell), 0, last - 1).astype(np.int64)
    left = np.take_along_axis(table, lower, axis=1)
    right = np.take_along_axis(table, lower + 1, axis=1)
    return np.asarray(left + (right - left) * (cell - lower))


def read_lower(table: Floats, cells: Floats) -> Floats:
    """``table`` (rows, cells) read so many ``cells`` (rows,) lower; 0 below the grid."""
    if not cells.any():
        return table
    wanted = np.arange(table.shape[1]) - cells[:, None]
    found = read_at(table, np.clip(wanted, 0, table.shape[1] - 1))
    return np.where(wanted < 0, 0.0, found)

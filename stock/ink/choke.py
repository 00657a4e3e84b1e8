r"""White pulled in from the edges of the artwork: a true Euclidean erosion, free of any size.

Distances are pixels of the artwork, from a pixel's centre to the nearest uncovered pixel's centre;
outside the picture nothing is covered. For an edge at distance d all white nearer than d is taken:
of a pixel whose nearest uncovered pixel is e away the part clip(d + 1 − e, 0, 1), so a straight
edge loses exactly d and a w × h rectangle 2d(w + h) − 4d² for whole d.

Soft edges: by the coarea formula the loss of a graded alpha is the mean over thresholds t of the
loss of the sets alpha > t (Federer 1959; Evans & Gariepy, Measure Theory and Fine Properties of
Functions, 1992, 3.4). One threshold at one half is exact on average for the one-pixel ramps of
smoothed outlines; glows and fades take two.

The result is a loss by distance. How many pixels a choke is follows from the printed size, which
comes later.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Final

from stock.ink.census import MOST_HELD_SAMPLES, bin_steps
from stock.ink.vips import libvips

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Bytes = NDArray[np.uint8]
    WhiteAt = Callable[[NDArray[np.intp], NDArray[np.intp]], Floats]

    from stock.ink.census import Bands, Census

LARGEST_REACH: Final = 11
"""Largest distance of the exact scan: twice its square (242) still fits a byte."""

OBLIQUE: Final = 0.15
"""Added to distances that are no whole number: they occur at slanting edges, whose pixels lie
closer than one apart. Fitted so that discs of radius 60 to 300 lose their ring within a few per
cent of it from 1½ pixels on (8 % at one, 10 % under at a half)."""

STEPS_PER_PX: Final = 4
_STRIP_ROWS: Final = 96
_TILE_COLUMNS: Final = 192
_FAR: Final = 255
_CRISP: Final = (127,)
_SOFT: Final = (63, 191)
_SOFT_FROM: Final = 3.0
"""Partly covered pixels per crossing of the outline above which a strip counts as soft."""


def loss_by_distance(alpha: Bytes, white_at: WhiteAt, reach_px: int) -> Floats:
    """White within 0, ¼, ½ … ``reach_px`` pixels of an edge, in full-tone pixels.

    Args:
        alpha: Rows × columns, 0–255.
        white_at: White tone at full coverage of the pixels at some rows and columns.
        reach_px: Furthest choke asked for, 1 to 10 pixels.
    """
    import numpy as np

    reach = reach_px + 1
    if not 1 < reach <= LARGEST_REACH:
        raise ValueError(f"a reach of {reach_px} pixels was asked for; expected 1 to 10")
    rows = alpha.shape[0]

    def scan(start: int) -> Floats:
        return _strip(alpha, white_at, start, min(rows, start + _STRIP_ROWS), reach)

    with ThreadPoolExecutor(2) as pool:
        by_square = np.sum(list(pool.map(scan, range(0, rows, _STRIP_ROWS))), axis=0)
    return _profile(by_square, reach_px)


def _profile(by_square: Floats, reach_px: int) -> Floats:
    """From white by squared distance to white lost by choke distance."""
    import numpy as np

    squares = np.flatnonzero(by_square)
    near = np.sqrt(squares)
    near += np.where(near % 1.0 > 0, OBLIQUE, 0.0)
    depth = np.arange(reach_px * STEPS_PER_PX + 1) / STEPS_PER_PX
    taken = np.clip(depth[:, None] + 1.0 - near[None, :], 0.0, 1.0)
    taken[0] = 0.0
    lost: Floats = taken @ by_square[squares]
    return lost


def _strip(alpha: Bytes, white_at: WhiteAt, start: int, stop: int, reach: int) -> Floats:
    """White of rows ``start``…``stop`` by squared distance to the nearest uncovered pixel."""
    import numpy as np

    by_square = np.zeros(256)
    columns = alpha.shape[1]
    above, below = max(0, start - reach), min(alpha.shape[0], stop + reach)
    window = np.zeros((stop - start + 2 * reach, columns + 2 * reach), np.uint8)
    top = above - (start - reach)
    window[top : top + below - above, reach : reach + columns] = alpha[above:below]
    inside = window[reach : reach + stop - start, reach : reach + columns]
    if not inside.any():
        return by_square
    thresholds = _SOFT if _is_soft(inside) else _CRISP
    least, most = window.min(axis=0), window.max(axis=0)
    for left in range(0, columns, _TILE_COLUMNS):
        wide = min(_TILE_COLUMNS, columns - left)
        tile = window[:, left : left + wide + 2 * reach]
        low = least[left : left + wide + 2 * reach].min()
        high = most[left : left + wide + 2 * reach].max()
        for threshold in thresholds:
            # Wholly covered or wholly bare: no edge within reach.
            if low > threshold or high <= threshold:
                continue
            square = _square_distance(tile > threshold, reach).ravel()
            # Uncovered pixels are at 0, which wraps to 255; those out of reach lie beyond.
            hit = np.flatnonzero(square - np.uint8(1) < reach * reach)
            row, column = np.divmod(hit, wide)
            weights = white_at(row + start, column + left)
            by_square += np.bincount(square[hit], weights=weights, minlength=256)
    return by_square / len(thresholds)


def _is_soft(alpha: Bytes) -> bool:
    """Whether partly covered pixels are more than the smoothed rim of an outline."""
    import numpy as np

    partly = int(np.count_nonzero((alpha > 0) & (alpha < 255)))
    if not partly:
        return False
    covered = alpha > 127
    crossings = np.count_nonzero(covered[:, 1:] != covered[:, :-1])
    crossings += np.count_nonzero(covered[1:] != covered[:-1])
    return partly > _SOFT_FROM * max(int(crossings), 1)


def _square_distance(covered: NDArray[np.bool_], reach: int) -> Bytes:
    """Squared distance of the inner pixels to the nearest uncovered one, 255 beyond reach.

    Down the columns first, then along the rows: the lower envelope of parabolas (Felzenszwalb &
    Huttenlocher 2012), cut off at ``reach`` so that every step is a plain minimum of bytes.
    """
    import numpy as np

    # 0 where uncovered, 255 where covered: or-ing with k² leaves k² or 255.
    mask = covered.view(np.uint8) * np.uint8(_FAR)
    rows = mask.shape[0] - 2 * reach
    columns = mask.shape[1] - 2 * reach
    down = mask[reach : reach + rows].copy()
    step = np.empty_like(down)
    for k in range(1, reach + 1):
        for offset in (-k, k):
            np.bitwise_or(mask[reach + offset : reach + offset + rows], k * k, out=step)
            np.minimum(down, step, out=down)
    square = down[:, reach : reach + columns].copy()
    room = np.empty_like(square)
    for k in range(1, reach + 1):
        most = np.uint8(_FAR - k * k)
        for offset in (-k, k):
            part = down[:, reach + offset : reach + offset + columns]
            np.minimum(part, most, out=room)
            np.add(room, np.uint8(k * k), out=room)
            np.minimum(square, room, out=square)
    return square


def lost_at(loss: tuple[float, ...], step_px: float, depth_px: float) -> float:
    """White lost to a choke of ``depth_px``; beyond the profile the last slope goes on.

    >>> lost_at((0.0, 1.0, 2.0, 3.0, 4.0), 0.25, 0.5)
    2.0
    """
    if not loss or depth_px <= 0:
        return 0.0
    at = depth_px / step_px
    last = len(loss) - 1
    if at >= last:
        slope = loss[last] - loss[max(0, last - STEPS_PER_PX)]
        return loss[last] + slope * (at - last) / STEPS_PER_PX
    below = math.floor(at)
    return loss[below] + (loss[below + 1] - loss[below]) * (at - below)


def choke_loss(
    bands: Bands, census: Census, white: Floats, choke_px: float
) -> tuple[tuple[float, ...], float]:
    """(share of the area's white lost by distance, step in pixels) for chokes up to ``choke_px``.

    Artwork finer than the print's own dots is not expected, so pixels of the print bound pixels
    of the artwork. Chokes beyond ten pixels and pictures too large to keep are scanned on a plane
    of blocks.
    """
    import numpy as np

    reach = max(1, math.ceil(choke_px))
    block = math.ceil(reach / (LARGEST_REACH - 1))
    if bands.pixels is None:
        samples = census.total_px * bands.image.bands
        block = max(block, 2, math.ceil(math.sqrt(samples / MOST_HELD_SAMPLES)))
    block = max(1, min(block, bands.image.width // 8, bands.image.height // 8))
    reach = min(LARGEST_REACH - 1, math.ceil(reach / block))
    table = np.zeros(1 << 16)
    table[census.bins] = white
    if block == 1:
        alpha, white_at = _fine_planes(bands, table)
    else:
        alpha, white_at = _coarse_planes(bands, table, block)
    lost = loss_by_distance(alpha, white_at, reach) * block**2 / census.total_px
    return tuple(float(v) for v in lost), block / STEPS_PER_PX


def _fine_planes(bands: Bands, table: Floats) -> tuple[Bytes, WhiteAt]:
    """Alpha of every pixel, and white looked up for the few pixels near an edge."""
    import numpy as np

    pixels = bands.held()
    colours = bands.colour_bands
    if not bands.has_alpha:
        alpha = np.full(pixels.shape[:2], 255, np.uint8)
    elif bands.full == 255:
        alpha = pixels[..., colours]
    else:
        alpha = (pixels[..., colours] >> 8).astype(np.uint8)
    steps = bin_steps(colours, bands.full)

    def white_at(row: NDArray[np.intp], column: NDArray[np.intp]) -> Floats:
        picked = pixels[row, column]
        bins = sum(steps[band][picked[:, band]] for band in range(colours))
        found: Floats = table[bins]
        return found

    return alpha, white_at


def _coarse_planes(bands: Bands, table: Floats, block: int) -> tuple[Bytes, WhiteAt]:
    """Alpha and alpha-weighted white of blocks, streamed in one pass."""
    import numpy as np

    pyvips = libvips()

    lookup = pyvips.Image.new_from_memory(
        table.astype(np.float32).tobytes(), len(table), 1, 1, "float"
    )
    white = bands.index.maplut(lookup)
    if bands.has_alpha:
        cover = bands.image.extract_band(bands.colour_bands) / float(bands.full)
    else:
        cover = white * 0 + 1
    both = np.asarray((white * cover).bandjoin(cover).shrink(block, block).numpy(), np.float64)
    alpha = np.rint(both[..., 1] * 255).astype(np.uint8)
    tones = both[..., 0] / np.maximum(both[..., 1], 1e-9)

    def white_at(row: NDArray[np.intp], column: NDArray[np.intp]) -> Floats:
        found: Floats = tones[row, column]
        return found

    return alpha, white_at

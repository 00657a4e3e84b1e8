"""A picture as a census of its colours: at most 65,536 bins with exact sums.

Each colour band is cut into 40 levels; pure 0 and pure full have levels of their own, so white
paper and solid inks are counted exactly. A bin keeps the alpha-weighted sums of its colours, its
alpha and its pixels: the mean colour of a bin is exact, only the curvature of the separation
within a bin (6–7 of 255 codes wide) is lost. Pixels are read once, as a stream.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from stock.errors import ArtworkUnreadable
from stock.ink.artwork import Artwork, Space, one_sentence

if TYPE_CHECKING:
    import numpy as np
    import pyvips
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEVELS: Final = {1: 4096, 3: 40, 4: 16}
"""Levels per band by number of colour bands; 40³ and 16⁴ fit the 65,536 bins libvips counts in."""


@dataclass(frozen=True, eq=False)
class Census:
    """Colours of a picture.

    Args:
        space: What the columns of ``colours`` are.
        colours: n × bands, mean colour of each bin, 0–1 (``cmyk``: 0 = no ink).
        covered_px: n, sum of alpha (0–1) over the bin's pixels.
        touched_px: n, pixels of the bin with any alpha.
        total_px: All pixels of the picture, transparent ones too.
    """

    space: Space
    colours: Floats
    covered_px: Floats
    touched_px: Floats
    total_px: int


@lru_cache(maxsize=8)
def _level_table(levels: int, full: int, factor: int) -> Any:
    import numpy as np
    import pyvips

    table = np.zeros(full + 1, np.uint16)
    table[1:full] = 1 + np.arange(full - 1) * (levels - 2) // (full - 1)
    table[full] = levels - 1
    return pyvips.Image.new_from_memory(
        (table * factor).astype(np.uint16).tobytes(), full + 1, 1, 1, "ushort"
    )


def take_census(artwork: Artwork) -> Census:
    """Read the picture once and count its colours.

    Raises:
        ArtworkUnreadable: The pixels end early or are damaged.
    """
    import numpy as np
    import pyvips

    image = artwork.image
    bands = image.bands - artwork.has_alpha
    colours = image.extract_band(0, n=bands)
    levels = LEVELS[bands]
    index = _index(colours, levels, artwork.full)
    if artwork.has_alpha:
        alpha = image.extract_band(bands)
        sums = (colours * alpha).bandjoin([alpha, (alpha > 0)])
    else:
        sums = colours.bandjoin(1)
    try:
        found = sums.hist_find_indexed(index).numpy()
    except pyvips.Error as error:
        why = one_sentence(error)
        raise ArtworkUnreadable(
            str(artwork.path), f"cannot be read to its end, it is damaged or cut short ({why})."
        ) from None
    table = np.asarray(found, np.float64).reshape(-1, sums.bands)
    full = float(artwork.full)
    if artwork.has_alpha:
        table = table[table[:, bands] > 0]
        weight = table[:, bands]
        touched = table[:, bands + 1] / 255.0
        covered = weight / full
    else:
        table = table[table[:, bands] > 0]
        weight = covered = touched = table[:, bands]
    means = table[:, :bands] / (weight[:, None] * full)
    return Census(
        artwork.space, means, covered, touched, artwork.image.width * artwork.image.height
    )


def _index(colours: pyvips.Image, levels: int, full: int) -> pyvips.Image:
    index = None
    for band in range(colours.bands):
        factor = levels ** (colours.bands - 1 - band)
        part = colours.extract_band(band).maplut(_level_table(levels, full, factor))
        index = part if index is None else index + part
    assert index is not None
    return index.cast("ushort")

"""A picture as a census of its colours: at most 65,536 bins with exact sums.

Each colour band is cut into levels; pure 0 and pure full have levels of their own, so white paper
and solid inks are counted exactly. A bin keeps the alpha-weighted sums of its colours and its
alpha: the mean colour of a bin is exact, only the curvature of the separation within a bin (5 of
255 codes wide in the dark, 9 in the light) is lost. Alpha is coverage: everything here is linear
in it. Pixels are read once, as a stream.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from stock.errors import ArtworkUnreadable
from stock.ink.artwork import Artwork, Space, one_sentence
from stock.ink.vips import libvips

if TYPE_CHECKING:
    import numpy as np
    import pyvips
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEVELS: Final = {1: 4096, 3: 40, 4: 15}
"""Levels by number of colour bands: 40³ and 15⁴ leave room in libvips' 65,536 bins."""


@dataclass(frozen=True, eq=False)
class Census:
    """Colours of a picture.

    Args:
        space: What the columns of ``colours`` are.
        bins: n, number of each bin in the index.
        colours: n × bands, mean colour of each bin, 0–1 (``cmyk``: 0 = no ink).
        covered_px: n, sum of alpha (0–1) over the bin's pixels.
        total_px: All pixels of the picture, transparent ones too.
    """

    space: Space
    bins: NDArray[np.int64]
    colours: Floats
    covered_px: Floats
    total_px: int


MOST_HELD_SAMPLES: Final = 400_000_000
"""Largest picture kept in memory for a second look, pixels × bands."""


MOST_ON_ONE_THREAD: Final = 6_000_000
"""Pixels up to which one thread counts: a second would save some 20 ms and take a core from the
neighbour in a batch."""


@dataclass(frozen=True, eq=False)
class Bands:
    """A picture's bands, alpha last if it has one, and the bin number of every pixel.

    ``pixels`` (rows × columns × bands) is the picture in memory, None while it only streams.
    """

    image: pyvips.Image
    index: pyvips.Image
    colour_bands: int
    has_alpha: bool
    full: int
    pixels: NDArray[Any] | None = None

    def held(self) -> NDArray[Any]:
        """The pixels of a picture that is in memory."""
        if self.pixels is None:
            raise ValueError("the picture only streams")
        return self.pixels


def with_bins(
    artwork: Artwork, image: pyvips.Image, *, has_alpha: bool, held: bool = False
) -> Bands:
    """``image`` (the artwork's bands, alpha last where it has one) with its bin numbers.

    ``held`` reads it into memory, for when a second look at it is needed, unless it is too large.

    Raises:
        ArtworkUnreadable: Held, and the pixels end early or are damaged.
    """
    pyvips = libvips()
    colours = image.bands - has_alpha
    if image.width * image.height * image.bands > MOST_HELD_SAMPLES:
        held = False
    if image.width * image.height <= MOST_ON_ONE_THREAD:
        image = image.copy()
        image.set_type(pyvips.GValue.gint_type, "concurrency", 1)
    pixels = None
    if held:
        image, pixels = _hold(artwork, image)
    table = _bin_table(colours, has_alpha, artwork.full)
    # Entries are multiples of the number of bands, so their mean is their exact sum: one pass
    # where adding band by band would take eight.
    index = image.maplut(table).bandmean().cast("ushort")
    return Bands(image, index, colours, has_alpha, artwork.full, pixels)


def level_of(full: int, levels: int) -> NDArray[np.int64]:
    """Level of every value 0…full of a band.

    >>> level_of(255, 40)[[0, 1, 254, 255]].tolist()
    [0, 1, 38, 39]
    """
    import numpy as np

    value = np.arange(1, full) / full
    if levels == LEVELS[3]:
        # Finer where it is dark: there black follows the smallest difference between bands.
        value = value * (1.5 - 0.5 * value)
        value /= value[-1] * (1 + 1e-9)
    table = np.zeros(full + 1, np.int64)
    table[1:full] = 1 + (value * (levels - 2)).astype(np.int64)
    table[full] = levels - 1
    return table


def bin_steps(colours: int, full: int) -> list[NDArray[np.int64]]:
    """By band: what each value adds to the bin number; a bin is the sum over its bands."""
    levels = LEVELS[colours]
    level = level_of(full, levels)
    return [level * levels ** (colours - 1 - band) for band in range(colours)]


@lru_cache(maxsize=8)
def _bin_table(colours: int, has_alpha: bool, full: int) -> Any:
    """One row per value, one band per band of the picture; see :func:`with_bins`."""
    import numpy as np

    pyvips = libvips()

    bands = colours + has_alpha
    columns = [step * bands for step in bin_steps(colours, full)]
    if has_alpha:
        columns.append(np.zeros(full + 1, np.int64))
    rows = np.stack(columns, axis=-1).astype(np.uint32)
    return pyvips.Image.new_from_memory(rows.tobytes(), full + 1, 1, bands, "uint")


@lru_cache(maxsize=8)
def _weight_table(colours: int, full: int) -> Any:
    """Alpha to the factors of all bands: itself for colours, 1 for alpha."""
    import numpy as np

    pyvips = libvips()

    alpha = np.arange(full + 1)
    rows = np.stack([alpha] * colours + [np.ones_like(alpha)], axis=-1)
    kind, code = (np.uint8, "uchar") if full == 255 else (np.uint16, "ushort")
    return pyvips.Image.new_from_memory(rows.astype(kind).tobytes(), full + 1, 1, colours + 1, code)


def take_census(artwork: Artwork, bands: Bands) -> Census:
    """Read the picture once and count its colours.

    Raises:
        ArtworkUnreadable: The pixels end early or are damaged.
    """
    import numpy as np

    pyvips = libvips()

    colours, full, image = bands.colour_bands, float(bands.full), bands.image
    if bands.has_alpha:
        alpha = image.extract_band(colours)
        sums = image * alpha.maplut(_weight_table(colours, bands.full))
    else:
        sums = image.bandjoin(1)
    try:
        found = sums.hist_find_indexed(bands.index).numpy()
    except pyvips.Error as error:
        raise cut_short(artwork, error) from None
    table = np.asarray(found, np.float64).reshape(-1, colours + 1)
    bins = np.flatnonzero(table[:, colours] > 0)
    table = table[bins]
    weight = table[:, colours]
    means = np.clip(table[:, :colours] / (weight[:, None] * full), 0.0, 1.0)
    covered = weight / full if bands.has_alpha else weight
    return Census(artwork.space, bins, means, covered, image.width * image.height)


def _hold(artwork: Artwork, image: pyvips.Image) -> tuple[pyvips.Image, NDArray[Any]]:
    import numpy as np

    pyvips = libvips()

    try:
        kept = image.write_to_memory()
    except pyvips.Error as error:
        raise cut_short(artwork, error) from None
    size = (image.height, image.width, image.bands)
    pixels = np.frombuffer(kept, np.uint8 if image.format == "uchar" else np.uint16).reshape(size)
    return pyvips.Image.new_from_memory(kept, size[1], size[0], size[2], image.format), pixels


def cut_short(artwork: Artwork, error: BaseException) -> ArtworkUnreadable:
    """The error for pixels that could not be read to the end."""
    why = one_sentence(error)
    if "not implemented" in why or "not configured" in why:
        return ArtworkUnreadable(
            str(artwork.path),
            f"is compressed in a way this program does not read ({why}); save it with LZW, "
            f"Deflate or none.",
        )
    return ArtworkUnreadable(
        str(artwork.path), f"cannot be read to its end, it is damaged or cut short ({why})."
    )

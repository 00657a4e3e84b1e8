"""Tones of every colour of a census: C, M, Y, K and white."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stock.ink.artwork import Artwork
from stock.ink.census import Census
from stock.ink.mode import Garment, PrintMode
from stock.ink.separation import lay_tones, lightness, separate, srgb_to_linear
from stock.ink.white import white_tones

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def tones_of(
    census: Census, artwork: Artwork, garment: Garment, mode: PrintMode
) -> tuple[Floats, Floats, list[str]]:
    """(n × 4 colour tones, n white tones, notes) of the census's colours at full coverage."""
    import numpy as np

    notes: list[str] = []
    if census.space == "cmyk":
        tones = census.colours
        # Neugebauer with ideal inks: what each ink leaves uncovered reflects.
        bare = 1.0 - tones
        linear = (bare[:, :3] * bare[:, 3:4]) ** mode.optical_gain
    else:
        rgb = census.colours
        if census.space == "grey":
            rgb = np.repeat(rgb, 3, axis=1)
        if artwork.icc is None:
            notes.append("No colour profile in the file: sRGB was assumed.")
        linear = srgb_to_linear(rgb)
        tones = separate(rgb, mode)
    laid = lay_tones(tones, mode)
    if garment == "dark":
        white = white_tones(lightness(linear), mode)
    else:
        white = np.zeros(len(laid))
    return laid, white, notes

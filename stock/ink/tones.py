"""Tones of every colour of a census: C, M, Y, K and white, at full coverage."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stock.ink.artwork import Artwork
from stock.ink.census import Census
from stock.ink.mode import Garment, PrintMode
from stock.ink.profiles import to_cmyk, to_srgb
from stock.ink.separation import lay_tones, lightness, reflected_by, separate, srgb_to_linear
from stock.ink.white import white_tones

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def tones_of(
    census: Census, artwork: Artwork, garment: Garment, mode: PrintMode
) -> tuple[Floats, Floats, list[str]]:
    """(n × 4 colour tones, n white tones, notes) of the census's colours at full coverage.

    Raises:
        Refused: The mode names a CMYK profile that cannot be used.
    """
    import numpy as np

    notes: list[str] = []
    dark = garment == "dark" and mode.white_method != "none"
    if census.space == "cmyk":
        tones = census.colours
        srgb = None
        if dark and artwork.icc is not None:
            srgb = to_srgb(tones, "cmyk", artwork.icc)
        linear = reflected_by(tones, mode) if srgb is None else srgb_to_linear(srgb)
        notes.append("A CMYK file: its inks were taken as they are.")
    else:
        rgb = _meant(census, artwork, notes)
        linear = srgb_to_linear(rgb)
        if mode.cmyk_profile:
            tones = to_cmyk(rgb, mode.cmyk_profile)
            # A profile's table rounds; where nothing is to be printed it means no ink.
            tones[(rgb >= 1.0).all(axis=1)] = 0.0
        else:
            tones = separate(rgb, mode)
    laid = lay_tones(tones, mode)
    white = white_tones(lightness(linear), mode) if dark else np.zeros(len(laid))
    return laid, white, notes


def _meant(census: Census, artwork: Artwork, notes: list[str]) -> Floats:
    """The census's colours in sRGB, by the embedded profile where there is a good one."""
    import numpy as np

    space = census.space
    srgb = None
    if artwork.icc is None:
        notes.append("No colour profile in the file: sRGB was assumed.")
    else:
        srgb = to_srgb(census.colours, space, artwork.icc)
        if srgb is None:
            notes.append("The file's colour profile cannot be used: sRGB was assumed.")
    if srgb is None:
        srgb = np.repeat(census.colours, 3, axis=1) if space == "grey" else census.colours
    return srgb

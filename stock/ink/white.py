"""White under and over the colours of a dark garment.

Tones run from 0 to 1 per layer. The ``flat`` method lays the same white wherever the artwork
covers; ``tone`` lays less under dark colours, which hide the cloth by themselves; a highlight adds
a second white where the artwork itself is nearly white.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from stock.ink.mode import PrintMode

if TYPE_CHECKING:
    import numpy as np
    import pyvips
    from numpy.typing import NDArray

    from stock.ink.artwork import Artwork

    Floats = NDArray[np.float64]

HIGHLIGHT_FROM: Final = 0.85
"""Lightness (L*/100) where highlight white begins; it is full at 1. Own choice, no source."""


def white_tones(light: Floats, mode: PrintMode) -> Floats:
    """White laid under and over fully covering artwork of lightness ``light`` (L*/100, 0–1).

    All layers and the highlight together, so the result may exceed 1.

    >>> import numpy as np
    >>> white_tones(np.array([0.0, 1.0]), PrintMode(white_strength=0.9, white_layers=2)).tolist()
    [0.9, 1.8]
    """
    import numpy as np

    if mode.white_method == "none":
        return np.zeros_like(light)
    if mode.white_method == "flat":
        under = np.full_like(light, mode.white_strength)
    else:
        floor = mode.white_under_black
        under = mode.white_strength * (floor + (1.0 - floor) * light)
    points = mode.tone_curve.get("W")
    if points:
        x, y = np.array(sorted(points)).T
        under = np.interp(under, x, y)
    over = np.clip((light - HIGHLIGHT_FROM) / (1.0 - HIGHLIGHT_FROM), 0.0, 1.0)
    return under * mode.white_layers + mode.highlight_strength * over


def knock_out(artwork: Artwork, image: pyvips.Image, tolerance: float) -> tuple[pyvips.Image, bool]:
    """(bands with alpha 0 where the artwork is as black as the cloth, True).

    As black as the cloth: no colour band above ``tolerance`` (of 255). In CMYK what black and
    each colour together leave of the light counts.
    """
    colours = image.bands - artwork.has_alpha
    full = float(artwork.full)
    light = image.extract_band(0, n=colours)
    if artwork.space == "cmyk":
        bare = light * -1 + full
        light = bare.extract_band(0, n=3) * bare.extract_band(3) / full
    seen = (light > tolerance * full / 255).bandor()
    kind = "uchar" if artwork.full == 255 else "ushort"
    # libvips' truth is 255, in 8 bits.
    alpha = seen.cast(kind) * (artwork.full // 255)
    if artwork.has_alpha:
        alpha = alpha.bandand() & image.extract_band(colours)
    return image.extract_band(0, n=colours).bandjoin(alpha.cast(kind)), True

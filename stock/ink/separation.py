r"""From colour to ink: sRGB to tone values of cyan, magenta, yellow and black.

Tones run from 0 (no ink) to 1 (full tone). The built-in separation works in linear light:

1. decode sRGB to linear reflectance R (IEC 61966-2-1, 5.2);
2. Yule–Nielsen: dots look larger than they are, the tone that gives reflectance R over white
   cloth with an ideal ink is :math:`m = 1 - R^{1/n}` (Yule & Nielsen, TAGA Proceedings 1951;
   n = 1 is Murray–Davies 1936, n = 2 full scattering);
3. grey-component replacement: :math:`k = 0.9\,g\,\min(m)^2` (black starts late, as in highlights it
   shows as grain), and what black covers the colours need not: :math:`c = (m-k)/(1-k)`
   (Demichel: inks laid independently multiply their uncovered shares);
4. ink limit: where C + M + Y + K exceeds the total area coverage allowed, black stays and the
   colours are scaled to fit.

With g ≤ 0.8 making any of R, G, B darker never lowers the total; neutral in gives C = M = Y.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from stock.ink.mode import COLOURS, PrintMode

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

MOST_BLACK: Final = 0.9
"""Black tone at the strongest replacement: above it the colours left over turn on a hair."""


def srgb_to_linear(encoded: Floats) -> Floats:
    """Linear light 0–1 from sRGB values 0–1 (IEC 61966-2-1).

    >>> import numpy as np
    >>> round(float(srgb_to_linear(np.array([128 / 255]))[0]), 6)
    0.215861
    """
    import numpy as np

    safe = np.clip(encoded, 0.0, 1.0)
    return np.where(safe <= 0.04045, safe / 12.92, ((safe + 0.055) / 1.055) ** 2.4)


def lightness(linear: Floats) -> Floats:
    """CIE L* / 100 of linear sRGB rows, 0 (black) to 1 (white).

    Y by the second row of the sRGB matrix (IEC 61966-2-1), L* by CIE 15:2004, 8.2.1.

    >>> import numpy as np
    >>> round(float(lightness(np.array([[1.0, 0.0, 0.0]]))[0]) * 100, 1)
    53.2
    """
    import numpy as np

    y = (linear * np.array([0.2126, 0.7152, 0.0722])).sum(axis=1)
    epsilon = (6 / 29) ** 3
    f = np.where(y > epsilon, np.cbrt(y), y / (3 * (6 / 29) ** 2) + 4 / 29)
    scaled: Floats = np.clip(1.16 * f - 0.16, 0.0, 1.0)
    return scaled


def separate(rgb: Floats, mode: PrintMode) -> Floats:
    """C, M, Y, K tones (n × 4, 0–1) of sRGB rows (n × 3, 0–1) by the built-in separation.

    >>> import numpy as np
    >>> separate(np.array([[1.0, 1.0, 1.0], [1.0, 0.0, 0.0]]), PrintMode()).tolist()
    [[0.0, 0.0, 0.0, 0.0], [0.0, 1.0, 1.0, 0.0]]
    """
    import numpy as np

    wanted = 1.0 - srgb_to_linear(rgb) ** (1.0 / mode.optical_gain)
    black = MOST_BLACK * mode.gcr * wanted.min(axis=1) ** 2
    colours = np.clip((wanted - black[:, None]) / (1.0 - black[:, None]), 0.0, 1.0)
    return limit_ink(np.column_stack([colours, black]), mode.ink_limit)


def reflected_by(cmyk: Floats, mode: PrintMode) -> Floats:
    """Linear reflectance (n × 3) of ideal inks at these tones, the separation run backwards.

    >>> import numpy as np
    >>> reflected_by(np.array([[0.0, 1.0, 1.0, 0.0]]), PrintMode()).tolist()
    [[1.0, 0.0, 0.0]]
    """
    bare = (1.0 - cmyk[:, :3]) * (1.0 - cmyk[:, 3:4])
    linear: Floats = bare**mode.optical_gain
    return linear


def limit_ink(cmyk: Floats, most: float) -> Floats:
    """Scale C, M, Y down where the four tones add up to more than ``most``; black stays.

    >>> import numpy as np
    >>> limit_ink(np.array([[1.0, 1.0, 1.0, 0.9]]), 2.4).round(3).tolist()
    [[0.5, 0.5, 0.5, 0.9]]
    """
    import numpy as np

    colours = cmyk[:, :3].sum(axis=1)
    black = np.minimum(cmyk[:, 3], most)
    room = most - black
    scale = np.where(colours > room, room / np.maximum(colours, 1e-12), 1.0)
    return np.column_stack([cmyk[:, :3] * scale[:, None], black])


def lay_tones(tones: Floats, mode: PrintMode) -> Floats:
    """Tones as the printer lays them, by the mode's tone curve per channel (missing: linear)."""
    import numpy as np

    laid = tones
    for column, channel in enumerate(COLOURS):
        points = mode.tone_curve.get(channel)
        if points:
            if laid is tones:
                laid = tones.copy()
            x, y = np.array(sorted(points)).T
            laid[:, column] = np.interp(tones[:, column], x, y)
    return laid

"""Colour profiles (ICC) through littlecms, on census colours at 16 bits a channel.

A file's embedded profile says what its numbers mean; the shop's own CMYK output profile says what
its printer needs. Both work on the few thousand colours of a census, never on pixels.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from stock.errors import Refused
from stock.ink.artwork import Space, one_sentence
from stock.ink.vips import libvips

if TYPE_CHECKING:
    import numpy as np
    import pyvips
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_INTERPRETATION: Final[dict[Space, str]] = {"rgb": "rgb16", "grey": "grey16", "cmyk": "cmyk"}
_HALF_CODE: Final = 0.5 / 255
_QUARTER_CODE: Final = 0.25 / 255
_ICC_SPACES: Final[dict[bytes, Space]] = {b"RGB ": "rgb", b"GRAY": "grey", b"CMYK": "cmyk"}


def profile_space(icc: bytes) -> Space | None:
    """Colour space of an ICC profile by its header (ICC.1:2010, 7.2.6), None if it is none.

    >>> profile_space(b"no profile") is None
    True
    """
    if len(icc) < 132 or icc[36:40] != b"acsp":
        return None
    return _ICC_SPACES.get(icc[16:20])


def to_srgb(colours: Floats, space: Space, icc: bytes) -> Floats | None:
    """sRGB rows (0–1) of colours in an embedded profile; None when the profile cannot be used.

    A profile that is sRGB within half an 8-bit step changes nothing, so pure white stays pure.
    """
    import numpy as np

    pyvips = libvips()

    if not len(colours):
        return np.zeros((0, 3))
    if profile_space(icc) != space or not _is_sound(icc, space):
        return None
    try:
        image = _as_image(colours, _INTERPRETATION[space])
        image = image.copy()
        image.set_type(pyvips.GValue.blob_type, "icc-profile-data", icc)
        turned = image.icc_transform(
            "srgb", embedded=True, intent="relative", depth=16, black_point_compensation=True
        )
        srgb = _as_rows(turned)
    except pyvips.Error:
        return None
    plain = np.repeat(colours, 3, axis=1) if space == "grey" else colours
    if space != "cmyk" and np.abs(srgb - plain).max() <= _HALF_CODE:
        return plain
    # Rounding in the transform must not turn white cloth into a trace of ink.
    return np.where(srgb > 1.0 - _QUARTER_CODE, 1.0, srgb)


def _is_sound(icc: bytes, space: Space) -> bool:
    """Whether littlecms can make a transform of it; libvips would quietly take another profile."""
    from PIL import ImageCms

    mode = {"rgb": "RGB", "grey": "L", "cmyk": "CMYK"}[space]
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        ImageCms.buildTransform(profile, ImageCms.createProfile("sRGB"), mode, "RGB")
    except (ImageCms.PyCMSError, OSError):
        return False
    return True


def to_cmyk(srgb: Floats, profile: str | Path) -> Floats:
    """C, M, Y, K rows (0–1) of sRGB rows by the shop's own output profile, perceptual intent.

    Raises:
        Refused: The file is missing or is no CMYK output profile.
    """
    import numpy as np

    pyvips = libvips()

    try:
        space = profile_space(Path(profile).read_bytes())
    except (OSError, ValueError):
        raise Refused(f"The ICC profile {str(profile)!r} cannot be opened.") from None
    if space != "cmyk":
        raise Refused(f"{str(profile)!r} is not a CMYK ICC profile; the print mode needs one.")
    if not len(srgb):
        return np.zeros((0, 4))
    try:
        image = _as_image(srgb, "rgb16")
        return _as_rows(
            image.icc_transform(str(profile), input_profile="srgb", intent="perceptual", depth=16)
        )
    except pyvips.Error as error:
        raise Refused(
            f"The ICC profile {str(profile)!r} cannot be used ({one_sentence(error)})."
        ) from None


def _as_image(rows: Floats, interpretation: str) -> pyvips.Image:
    import numpy as np

    pyvips = libvips()

    codes = np.rint(np.clip(rows, 0.0, 1.0) * 65535).astype(np.uint16)
    image = pyvips.Image.new_from_memory(codes.tobytes(), len(rows), 1, rows.shape[1], "ushort")
    return image.copy(interpretation=interpretation)


def _as_rows(image: Any) -> Floats:
    import numpy as np

    scale = 65535.0 if image.format == "ushort" else 255.0
    rows: Floats = np.asarray(image.numpy(), np.float64).reshape(image.width, image.bands) / scale
    return rows

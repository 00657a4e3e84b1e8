"""PNG, TIFF, JPEG and WebP through libvips, as a stream of plain bands.

8-bit bands stay 8 bit, 16-bit bands stay 16 bit; everything else is brought to one of the two.
A turned picture (orientation tag) swaps width and height; its pixels need no turning, because
what is summed over them does not depend on their place.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from stock.errors import ArtworkUnreadable
from stock.ink.artwork import Artwork, Kind, Space, check_size, one_sentence
from stock.ink.resolution import read_resolution
from stock.ink.vips import libvips

if TYPE_CHECKING:
    import pyvips

_LOADERS: Final[dict[Kind, str]] = {
    "PNG": "pngload",
    "TIFF": "tiffload",
    "JPEG": "jpegload",
    "WebP": "webpload",
}


def open_raster(path: Path, kind: Kind, file_bytes: int, *, page: int) -> Artwork:
    """Open one of the four streamed kinds.

    Raises:
        ArtworkUnreadable: Damaged, too large, of a depth or colour space nobody prints from.
    """
    pyvips = libvips()

    if kind == "WebP":
        _check_riff(path, file_bytes)
    notes: list[str] = []
    options: dict[str, Any] = {"access": "sequential", "fail_on": "error"}
    try:
        # Header only: libvips reads pixels when they are asked for.
        head = getattr(pyvips.Image, _LOADERS[kind])(str(path), **options)
    except pyvips.Error as error:
        raise _damaged(path, error) from None
    pages = head.get("n-pages") if head.get_typeof("n-pages") else 1
    if kind == "TIFF" and pages > 1:
        if page > pages:
            raise ArtworkUnreadable(
                str(path), f"page {page} was asked for; the file has {pages} pages."
            )
        notes.append(f"Page {page} of {pages} was measured.")
        head = pyvips.Image.tiffload(str(path), page=page - 1, **options)
    elif page > 1:
        raise ArtworkUnreadable(str(path), f"page {page} was asked for; the file has one.")
    elif kind == "WebP" and pages > 1:
        notes.append(f"The first of {pages} moving frames was measured.")
    scans = _flag(head, "interlaced") or _flag(head, "jpeg-multiscan")
    held = kind == "WebP" or scans
    # Progressive JPEGs are kept as 16-bit coefficients.
    deep = head.format != "uchar" or (kind == "JPEG" and scans)
    bytes_each = head.bands * (2 if deep else 1)
    check_size(path, head.width, head.height, bytes_each, file_bytes, held=held)
    image, space, has_alpha, full = plain_bands(path, head, notes)
    if kind == "JPEG" and space == "cmyk" and not has_adobe_marker(path):
        # libvips turns every CMYK JPEG around, as the Adobe marker asks; here nothing asked.
        image = image.invert()
        notes.append("A CMYK JPEG without an Adobe marker: its samples were read as ink.")
    icc = head.get("icc-profile-data") if head.get_typeof("icc-profile-data") else None
    exif = head.get("exif-data") if head.get_typeof("exif-data") else None
    dpi_x, dpi_y = read_resolution(path, kind, exif=bytes(exif) if exif else None, page=page)
    width_px, height_px = head.width, head.height
    orientation = head.get("orientation") if head.get_typeof("orientation") else 1
    if 5 <= orientation <= 8:
        width_px, height_px, dpi_x, dpi_y = height_px, width_px, dpi_y, dpi_x
        notes.append("The picture is turned as its orientation tag says.")
    return Artwork(
        path=path,
        kind=kind,
        width_px=width_px,
        height_px=height_px,
        dpi_x=dpi_x,
        dpi_y=dpi_y,
        space=space,
        has_alpha=has_alpha,
        full=full,
        icc=bytes(icc) if icc else None,
        image=image,
        notes=tuple(notes),
    )


def _flag(image: pyvips.Image, name: str) -> bool:
    return bool(image.get_typeof(name)) and bool(image.get(name))


def _damaged(path: Path, error: BaseException) -> ArtworkUnreadable:
    why = one_sentence(error)
    return ArtworkUnreadable(
        str(path), f"cannot be read, it is damaged, cut short or of a rare form ({why})."
    )


def plain_bands(
    path: Path, image: pyvips.Image, notes: list[str]
) -> tuple[pyvips.Image, Space, bool, int]:
    """(bands, colour space, has alpha, full value): 8 or 16 bit, alpha last, CMYK 0 = no ink.

    Bands beyond colour and one alpha (spot channels) are left out, and said.
    """
    space, colours = _space_of(path, image)
    if image.format not in ("uchar", "ushort"):
        raise ArtworkUnreadable(
            str(path), f"has samples of kind {image.format}; expected 8 or 16 bits."
        )
    full = 255 if image.format == "uchar" else 65535
    extra = image.bands - colours
    has_alpha = extra > 0
    if extra > 1:
        notes.append(f"Channels left out beyond colour and alpha: {extra - 1}.")
        image = image.extract_band(0, n=colours + 1)
    return image, space, has_alpha, full


def _space_of(path: Path, image: pyvips.Image) -> tuple[Space, int]:
    name = image.interpretation
    if name == "cmyk" and image.bands >= 4:
        return "cmyk", 4
    if name in ("b-w", "grey16") or image.bands <= 2:
        return "grey", 1
    if name in ("srgb", "rgb", "rgb16", "multiband", "scrgb"):
        return "rgb", 3
    raise ArtworkUnreadable(
        str(path), f"is in the colour space {name}; expected RGB, grey or CMYK."
    )


def _check_riff(path: Path, file_bytes: int) -> None:
    """Refuse a WebP shorter than its own header says; libwebp shows what there is without a word.

    RIFF header: "RIFF", size of what follows (WebP container specification).
    """
    with path.open("rb") as stream:
        head = stream.read(8)
    if file_bytes < 8 + int.from_bytes(head[4:8], "little"):
        raise ArtworkUnreadable(str(path), "cannot be read, it is cut short.")


def has_adobe_marker(path: Path) -> bool:
    """Whether a JPEG carries the APP14 segment that means: CMYK samples are stored inverted."""
    with path.open("rb") as stream:
        stream.seek(2)
        while len(head := stream.read(4)) == 4:
            marker, length = struct.unpack(">HH", head)
            if marker == 0xFFDA or marker >> 8 != 0xFF:
                break
            body = stream.read(max(0, length - 2))
            if marker == 0xFFEE and body.startswith(b"Adobe"):
                return True
    return False

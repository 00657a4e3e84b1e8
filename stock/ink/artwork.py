"""Opening a picture: what it is, how big, which colours, before any pixel is read.

Sizes are pixels, resolutions dots per inch. The content decides what a file is; a name that says
otherwise is refused. Nothing here knows about ink. What it refuses: files that are no picture,
cut short, or that would unfold into more than a machine should hold.
"""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from stock.errors import ArtworkUnreadable

if TYPE_CHECKING:
    from collections.abc import Sequence

Kind = Literal["PNG", "TIFF", "JPEG", "WebP", "PSD", "PDF"]
Space = Literal["rgb", "grey", "cmyk"]

MOST_PIXELS: Final = 480_000_000
"""Largest picture read: 40 × 50 cm at 1200 dots per inch is 446 million."""

MOST_BYTES_HELD: Final = 500_000_000
"""Largest unfolded picture that cannot be streamed (interlaced, progressive, WebP, PSD)."""

MOST_RATIO: Final = 900
"""Largest unfolded size over file size, for pictures that unfold to much.

Deflate reaches 1032 : 1 at most (RFC 1951: 258 bytes from a 2-bit code), and only on emptiness.
"""

RATIO_FROM_BYTES: Final = 256_000_000
_LONGEST_SIDE: Final = 300_000

_EXTENSIONS: Final[dict[str, Kind]] = {
    ".png": "PNG",
    ".tif": "TIFF",
    ".tiff": "TIFF",
    ".jpg": "JPEG",
    ".jpeg": "JPEG",
    ".jpe": "JPEG",
    ".webp": "WebP",
    ".psd": "PSD",
    ".psb": "PSD",
    ".pdf": "PDF",
}
KINDS_NAMED: Final = "PNG, TIFF, JPEG, WebP, PSD or PDF"


@dataclass(frozen=True, slots=True)
class Artwork:
    """A picture ready to be streamed once.

    ``image`` is a lazy pyvips image: 1, 3 or 4 colour bands by ``space``, then alpha if
    ``has_alpha``; ``full`` is the value of full tone or full alpha (255 or 65535). In ``cmyk``
    0 is no ink. ``icc`` is the embedded profile of these bands, None when there is none.
    """

    path: Path
    kind: Kind
    width_px: int
    height_px: int
    dpi_x: float | None
    dpi_y: float | None
    space: Space
    has_alpha: bool
    full: int
    icc: bytes | None
    image: Any = field(repr=False)
    notes: tuple[str, ...] = ()


def check_file(path: Path) -> int:
    """Size of the file in bytes.

    Raises:
        ArtworkUnreadable: Missing, a directory or device, not readable, or empty.
    """
    try:
        found = os.stat(path)
    except FileNotFoundError:
        raise ArtworkUnreadable(str(path), "there is no such file.") from None
    except (OSError, ValueError) as error:
        raise ArtworkUnreadable(str(path), f"the file cannot be opened ({_why(error)}).") from None
    if stat.S_ISDIR(found.st_mode):
        raise ArtworkUnreadable(str(path), f"is a directory; expected a {KINDS_NAMED} file.")
    if not stat.S_ISREG(found.st_mode):
        raise ArtworkUnreadable(str(path), f"is not a plain file; expected {KINDS_NAMED}.")
    if found.st_size == 0:
        raise ArtworkUnreadable(str(path), "the file is empty.")
    return found.st_size


def _why(error: BaseException) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror.lower()
    return str(error).splitlines()[0] if str(error) else type(error).__name__


def kind_of(path: Path) -> Kind:
    """What the file's first bytes say it is.

    Raises:
        ArtworkUnreadable: Of none of the kinds read here, or named as another kind.
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(1024)
    except OSError as error:
        raise ArtworkUnreadable(str(path), f"the file cannot be opened ({_why(error)}).") from None
    kind: Kind | None = None
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        kind = "PNG"
    elif head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        kind = "TIFF"
    elif head.startswith(b"\xff\xd8\xff"):
        kind = "JPEG"
    elif head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        kind = "WebP"
    elif head.startswith(b"8BPS"):
        kind = "PSD"
    elif b"%PDF-" in head:
        kind = "PDF"
    named = _EXTENSIONS.get(path.suffix.lower())
    if kind is None:
        what = f"is not a {named} picture" if named else "is not a picture this program reads"
        raise ArtworkUnreadable(str(path), f"{what}; expected {KINDS_NAMED}.")
    if named is not None and named != kind:
        raise ArtworkUnreadable(
            str(path),
            f"holds a {kind} picture under the name of a {named} one; rename it and try again.",
        )
    return kind


def check_size(
    path: Path, width_px: int, height_px: int, bytes_per_pixel: int, file_bytes: int, *, held: bool
) -> None:
    """Refuse pictures that would unfold into too much, before unfolding them.

    ``held`` says the whole picture must be in memory at once.
    """
    if width_px < 1 or height_px < 1:
        raise ArtworkUnreadable(str(path), "has no pixels.")
    if width_px * height_px == 1:
        raise ArtworkUnreadable(str(path), "is a single pixel; that is no artwork.")
    size = f"{width_px} × {height_px} pixels"
    pixels = width_px * height_px
    if pixels > MOST_PIXELS or max(width_px, height_px) > _LONGEST_SIDE:
        raise ArtworkUnreadable(
            str(path), f"says it has {size}; at most {MOST_PIXELS // 1_000_000} million are read."
        )
    unfolded = pixels * bytes_per_pixel
    if held and unfolded > MOST_BYTES_HELD:
        raise ArtworkUnreadable(
            str(path),
            f"has {size} in a form that must be held whole, {unfolded:,} bytes of at most "
            f"{MOST_BYTES_HELD:,}; save it as plain PNG or TIFF.",
        )
    if unfolded > RATIO_FROM_BYTES and unfolded > MOST_RATIO * file_bytes:
        raise ArtworkUnreadable(
            str(path),
            f"would unfold from {file_bytes:,} bytes to {unfolded:,}; "
            f"more than {MOST_RATIO} : 1 is not read.",
        )


def open_artwork(path: Path, *, page: int = 1) -> Artwork:
    """Open a picture without reading its pixels.

    Args:
        path: The file.
        page: Page of a PDF or multi-page TIFF, from 1.

    Raises:
        ArtworkUnreadable: The file cannot be measured; the sentence says why.
    """
    file_bytes = check_file(path)
    kind = kind_of(path)
    if page < 1:
        raise ArtworkUnreadable(str(path), f"page {page} was asked for; pages count from 1.")
    if kind == "PSD":
        from stock.ink.layered import open_psd

        return open_psd(path, file_bytes)
    if kind == "PDF":
        from stock.ink.pages import open_pdf

        return open_pdf(path, page)
    from stock.ink.raster import open_raster

    return open_raster(path, kind, file_bytes, page=page)


def one_sentence(error: BaseException, skip: Sequence[str] = ()) -> str:
    """The last telling line of a library's message, for the brackets of our own sentence."""
    lines = [line.strip() for line in str(error).splitlines()]
    lines = [line for line in lines if line and not any(part in line for part in skip)]
    return lines[-1] if lines else type(error).__name__

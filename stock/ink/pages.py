"""A page of a PDF, rendered with its transparency at a stated resolution.

The page's own size (1/72 inch units) is its size on cloth unless the order line says another.
Everything on the page is rendered to RGB; ink named as CMYK inside a PDF is not kept apart.
"""

from __future__ import annotations

import math
import threading
from pathlib import Path
from typing import Final

from stock.errors import ArtworkUnreadable
from stock.ink.artwork import Artwork, one_sentence
from stock.ink.vips import libvips

RENDER_DPI: Final = 300.0
MOST_RENDERED_PIXELS: Final = 60_000_000
LEAST_RENDER_DPI: Final = 20.0
_POINTS_PER_INCH: Final = 72.0


_ONE_AT_A_TIME: Final = threading.Lock()
"""PDFium must not be called from two threads at once (its own documentation)."""


def open_pdf(path: Path, page: int) -> Artwork:
    """Render one page, from 1, on a transparent ground; waits while another is rendered.

    Raises:
        ArtworkUnreadable: Locked by a password, damaged, without that page, or of absurd size.
    """
    with _ONE_AT_A_TIME:
        return _render(path, page)


def _render(path: Path, page: int) -> Artwork:
    """See :func:`open_pdf`."""
    import pypdfium2

    pyvips = libvips()

    try:
        document = pypdfium2.PdfDocument(str(path))
    except (pypdfium2.PdfiumError, OSError, ValueError) as error:
        why = one_sentence(error).lower()
        if "password" in why:
            raise ArtworkUnreadable(
                str(path), "is locked by a password; export it without one."
            ) from None
        raise ArtworkUnreadable(
            str(path), f"cannot be read, it is damaged or cut short ({why})."
        ) from None
    try:
        count = len(document)
        if count == 0:
            raise ArtworkUnreadable(str(path), "has no pages.")
        if page > count:
            noun = "page" if count == 1 else "pages"
            raise ArtworkUnreadable(
                str(path), f"page {page} was asked for; the file has {count} {noun}."
            )
        sheet = document[page - 1]
        width_pt, height_pt = sheet.get_size()
        dpi = _fitting_dpi(path, width_pt, height_pt)
        bitmap = sheet.render(
            scale=dpi / _POINTS_PER_INCH,
            fill_color=(255, 255, 255, 0),
            rev_byteorder=True,
            force_bitmap_format=pypdfium2.raw.FPDFBitmap_BGRA,
        )
        width_px, height_px = bitmap.width, bitmap.height
        rows = bitmap.to_numpy()
        image = pyvips.Image.new_from_memory(
            rows[:, :width_px, :].tobytes(), width_px, height_px, 4, "uchar"
        )
    except pypdfium2.PdfiumError as error:
        raise ArtworkUnreadable(
            str(path), f"page {page} cannot be drawn ({one_sentence(error)})."
        ) from None
    finally:
        document.close()
    notes = [f"The page was drawn at {dpi:g} dpi."]
    if count > 1:
        notes.insert(0, f"Page {page} of {count} was measured.")
    return Artwork(
        path=path,
        kind="PDF",
        width_px=width_px,
        height_px=height_px,
        dpi_x=width_px / width_pt * _POINTS_PER_INCH,
        dpi_y=height_px / height_pt * _POINTS_PER_INCH,
        space="rgb",
        has_alpha=True,
        full=255,
        icc=None,
        image=image,
        notes=tuple(notes),
    )


def _fitting_dpi(path: Path, width_pt: float, height_pt: float) -> float:
    """300 dpi, or less where the page is so large that it would not fit."""
    if not all(math.isfinite(side) and side > 0 for side in (width_pt, height_pt)):
        raise ArtworkUnreadable(str(path), "has a page without an area.")
    square_inches = width_pt * height_pt / _POINTS_PER_INCH**2
    dpi = min(RENDER_DPI, math.floor(math.sqrt(MOST_RENDERED_PIXELS / square_inches)))
    if dpi < LEAST_RENDER_DPI or dpi * max(width_pt, height_pt) > 100_000 * _POINTS_PER_INCH:
        raise ArtworkUnreadable(
            str(path),
            f"has a page of {width_pt / 72:.0f} × {height_pt / 72:.0f} inches; nothing so large "
            f"is printed.",
        )
    if dpi * min(width_pt, height_pt) < _POINTS_PER_INCH:
        raise ArtworkUnreadable(str(path), "has a page thinner than a dot.")
    return dpi

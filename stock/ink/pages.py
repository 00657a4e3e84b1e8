"""A page of a PDF, drawn with its transparency at a stated resolution.

The page's own size (1/72 inch units) is its size on cloth unless the order line says another.
Everything on the page is drawn as RGB; ink named as CMYK inside a PDF is not kept apart.
"""

from __future__ import annotations

from pathlib import Path

from stock.ink.artwork import Artwork
from stock.ink.page_drawing import POINTS_PER_INCH, draw_apart
from stock.ink.vips import libvips


def open_pdf(path: Path, page: int) -> Artwork:
    """Draw one page, from 1, on a transparent ground.

    Raises:
        ArtworkUnreadable: Locked by a password, damaged, without that page, of absurd size, or
            asking for more memory or time than a page should.
    """
    drawn, pixels = draw_apart(path, page)
    image = libvips().Image.new_from_memory(pixels, drawn.width_px, drawn.height_px, 4, "uchar")
    notes = [
        f"The page was drawn at {drawn.dpi:g} dpi as RGB; inks named in it are not kept apart."
    ]
    if drawn.pages > 1:
        notes.insert(0, f"Page {page} of {drawn.pages} was measured.")
    return Artwork(
        path=path,
        kind="PDF",
        width_px=drawn.width_px,
        height_px=drawn.height_px,
        dpi_x=drawn.width_px / drawn.width_pt * POINTS_PER_INCH,
        dpi_y=drawn.height_px / drawn.height_pt * POINTS_PER_INCH,
        space="rgb",
        has_alpha=True,
        full=255,
        icc=None,
        image=image,
        notes=tuple(notes),
    )

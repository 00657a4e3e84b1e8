"""Drawing one page of a PDF in a process of its own, with bounds on its memory and time.

A page of a few kilobytes can ask for any amount of either, and the renderer ends its process when
it is refused memory. Run as ``python -m stock.ink.page_drawing FILE PAGE``: a line of JSON on
stdout, then the pixels, RGBA, row by row. A page is drawn as RGB on a transparent ground.
"""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

from stock.errors import ArtworkUnreadable
from stock.ink.artwork import one_sentence

RENDER_DPI: Final = 300.0
MOST_RENDERED_PIXELS: Final = 60_000_000
LEAST_RENDER_DPI: Final = 20.0
POINTS_PER_INCH: Final = 72.0

MOST_MEMORY: Final = 1_100_000_000
"""Address space of the drawing process, bytes: four pictures of the most pixels, and itself."""

MOST_SECONDS: Final = 15
"""Of processor time; a page of one photograph takes less than one."""

_MOST_WAITING: Final = 120
"""Seconds on the clock, where processor time cannot be bounded."""


@dataclass(frozen=True, slots=True)
class DrawnPage:
    """What was drawn: pages in the file, size in pixels and points, dots per inch."""

    pages: int
    width_px: int
    height_px: int
    width_pt: float
    height_pt: float
    dpi: float


def draw_apart(path: Path, page: int) -> tuple[DrawnPage, memoryview]:
    """(what was drawn, its RGBA pixels) of one page, from 1; drawn in another process.

    Raises:
        ArtworkUnreadable: Locked by a password, damaged, without that page, of absurd size, or
            asking for more memory or time than a page should.
    """
    # -P: nothing in the folder the person works in is taken for a module.
    words = [sys.executable, "-P", "-m", "stock.ink.page_drawing", os.fspath(path), str(page)]
    try:
        done = subprocess.run(
            words,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=_MOST_WAITING,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise _too_much(path, page) from None
    after_head = done.stdout.find(b"\n") + 1
    told: dict[str, Any] = {}
    with suppress(ValueError):
        told = json.loads(done.stdout[:after_head])
    if "why" in told:
        raise ArtworkUnreadable(str(path), told["why"])
    if done.returncode != 0 or not told:
        raise _too_much(path, page)
    return DrawnPage(**told), memoryview(done.stdout)[after_head:]


def _too_much(path: Path, page: int) -> ArtworkUnreadable:
    return ArtworkUnreadable(
        str(path),
        f"page {page} cannot be drawn in {MOST_SECONDS} s and {MOST_MEMORY / 1e9:.1f} GB of "
        f"memory; save it as PNG or TIFF.",
    )


def _draw(path: str, page: int) -> tuple[DrawnPage, Any]:
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(path)
    except (pypdfium2.PdfiumError, OSError, ValueError) as error:
        why = one_sentence(error).lower().rstrip(".")
        if "password" in why:
            raise ArtworkUnreadable(
                path, "is locked by a password; export it without one."
            ) from None
        raise ArtworkUnreadable(
            path, f"cannot be read, it is damaged or cut short ({why})."
        ) from None
    count = len(document)
    if count == 0:
        raise ArtworkUnreadable(path, "has no pages.")
    if page > count:
        noun = "page" if count == 1 else "pages"
        raise ArtworkUnreadable(path, f"page {page} was asked for; the file has {count} {noun}.")
    try:
        sheet = document[page - 1]
        width_pt, height_pt = sheet.get_size()
        dpi = _fitting_dpi(path, width_pt, height_pt)
        bitmap = sheet.render(
            scale=dpi / POINTS_PER_INCH,
            fill_color=(255, 255, 255, 0),
            rev_byteorder=True,
            force_bitmap_format=pypdfium2.raw.FPDFBitmap_BGRA,
        )
    except pypdfium2.PdfiumError as error:
        why = one_sentence(error).rstrip(".")
        raise ArtworkUnreadable(path, f"page {page} cannot be drawn ({why}).") from None
    drawn = DrawnPage(count, bitmap.width, bitmap.height, width_pt, height_pt, dpi)
    return drawn, bitmap


def _fitting_dpi(path: str, width_pt: float, height_pt: float) -> float:
    """300 dpi, or less where the page is so large that it would not fit."""
    if not all(math.isfinite(side) and side > 0 for side in (width_pt, height_pt)):
        raise ArtworkUnreadable(path, "has a page without an area.")
    square_inches = width_pt * height_pt / POINTS_PER_INCH**2
    dpi = min(RENDER_DPI, math.floor(math.sqrt(MOST_RENDERED_PIXELS / square_inches)))
    if dpi < LEAST_RENDER_DPI or dpi * max(width_pt, height_pt) > 100_000 * POINTS_PER_INCH:
        raise ArtworkUnreadable(
            path,
            f"has a page of {width_pt / 72:.0f} × {height_pt / 72:.0f} inches; nothing so large "
            f"is printed.",
        )
    if dpi * min(width_pt, height_pt) < POINTS_PER_INCH:
        raise ArtworkUnreadable(path, "has a page thinner than a dot.")
    return dpi


def _bound_this_process() -> None:
    if sys.platform == "win32":  # no such bounds there: the clock alone ends it
        return
    import resource

    for what, most in ((resource.RLIMIT_AS, MOST_MEMORY), (resource.RLIMIT_CPU, MOST_SECONDS)):
        _, hard = resource.getrlimit(what)
        soft = most if hard == resource.RLIM_INFINITY else min(most, hard)
        with suppress(OSError, ValueError):
            resource.setrlimit(what, (soft, hard))
    resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))


def main(path: str, page: int) -> None:
    """Draw a page onto stdout, or say why it cannot be."""
    _bound_this_process()
    out = sys.stdout.buffer
    try:
        drawn, bitmap = _draw(path, page)
    except ArtworkUnreadable as error:
        out.write(json.dumps({"why": error.why}).encode() + b"\n")
        return
    out.write(json.dumps(asdict(drawn)).encode() + b"\n")
    row = drawn.width_px * 4
    pixels = memoryview(bitmap.buffer).cast("B")
    for start in range(0, bitmap.stride * drawn.height_px, bitmap.stride):
        out.write(pixels[start : start + row])
    out.flush()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))

"""Artwork in, shares out; shares and a size in, millilitres out.

:func:`measure_shares` reads the file once and forgets its size on cloth; :func:`estimate` is
arithmetic: cm², mL, g, each with a standard deviation that comes from the rates' own.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from stock.errors import ArtworkUnreadable, Refused
from stock.ink.artwork import check_file, open_artwork
from stock.ink.estimate import Estimate, estimate
from stock.ink.keep import keep_shares, kept_shares, key_of
from stock.ink.mode import COLOURS, Garment, PrintMode
from stock.ink.shares import Shares

__all__ = ["Estimate", "Shares", "estimate", "measure_shares", "sha256_of"]

_READ_BYTES = 1 << 20


def sha256_of(path: Path) -> str:
    """SHA-256 of the file's bytes, lower-case hexadecimal."""
    check_file(path)
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        why = (error.strerror or "unknown cause").lower()
        raise ArtworkUnreadable(str(path), f"the file cannot be opened ({why}).") from None


def measure_shares(
    path: str | Path,
    *,
    garment: Garment,
    mode: PrintMode,
    page: int = 1,
    cache_dir: Path | None = None,
) -> Shares:
    """Ink shares of one file: what part of its area each channel fills, at full tone.

    Args:
        path: PNG, TIFF, JPEG, WebP, PSD or PDF.
        garment: ``dark`` takes white under the artwork, ``light`` takes none.
        mode: Print mode; separation, white and ink limit come from it.
        page: Page of a PDF or of a TIFF with several.
        cache_dir: Where measured shares are kept by content; None: nowhere.

    Raises:
        ArtworkUnreadable: The file cannot be measured; the sentence says why.
        Refused: The mode names an ICC profile that cannot be used.
    """
    path = Path(path)
    if garment not in ("light", "dark"):
        raise Refused(f"Garment {garment!r} is not known; expected light or dark.")
    digest = sha256_of(path)
    key = key_of(digest, garment=garment, mode=mode, page=page)
    if cache_dir is not None:
        found = kept_shares(cache_dir, key, path)
        if found is not None:
            return found
    measured = _measure(path, digest, garment, mode, page)
    if cache_dir is not None:
        keep_shares(cache_dir, key, measured)
    return measured


def _measure(path: Path, digest: str, garment: Garment, mode: PrintMode, page: int) -> Shares:
    from stock.ink.census import take_census
    from stock.ink.tones import tones_of

    artwork = open_artwork(path, page=page)
    notes = list(artwork.notes)
    census = take_census(artwork)
    colours, white, colour_notes = tones_of(census, artwork, garment, mode)
    notes.extend(colour_notes)
    total = float(census.total_px)
    share = {
        channel: float(census.covered_px @ colours[:, column]) / total
        for column, channel in enumerate(COLOURS)
    }
    share["W"] = float(census.covered_px @ white) / total
    inked = (colours.sum(axis=1) + white) > 0
    if garment == "dark" and share["W"] > 0 and not artwork.has_alpha:
        notes.append("The file has no transparency: its whole rectangle is printed with white.")
    return Shares(
        file=str(path),
        sha256=digest,
        width_px=artwork.width_px,
        height_px=artwork.height_px,
        dpi=artwork.dpi_x,
        dpi_y=artwork.dpi_y,
        share=share,
        touched_share=float(census.touched_px[inked].sum()) / total,
        notes=tuple(notes),
    )

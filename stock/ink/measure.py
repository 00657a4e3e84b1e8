"""Artwork in, shares out; shares and a size in, millilitres out.

:func:`measure_shares` reads the file once and forgets its size on cloth; :func:`estimate` is
arithmetic: cm², mL, g, each with a standard deviation that comes from the rates' own.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from stock.errors import ArtworkUnreadable, Refused
from stock.ink.artwork import Artwork, check_file, open_artwork
from stock.ink.estimate import Estimate, estimate
from stock.ink.keep import keep_shares, kept_shares, key_of
from stock.ink.mode import COLOURS, Garment, PrintMode, check_mode
from stock.ink.shares import Shares
from stock.units import CM_PER_INCH

if TYPE_CHECKING:
    from stock.ink.census import Bands

__all__ = ["Estimate", "Shares", "estimate", "measure_shares", "sha256_of"]


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
    check_mode(mode)
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


def _bands_of(artwork: Artwork, garment: Garment, mode: PrintMode, *, held: bool) -> Bands:
    """The picture's bands with what a dark garment's black leaves out; in memory if wanted."""
    from stock.ink.census import with_bins
    from stock.ink.white import knock_out

    image, has_alpha = artwork.image, artwork.has_alpha
    if garment == "dark" and mode.knock_out_black:
        image, has_alpha = knock_out(artwork, image, mode.knock_out_tolerance)
    return with_bins(artwork, image, has_alpha=has_alpha, held=held)


def _measure(path: Path, digest: str, garment: Garment, mode: PrintMode, page: int) -> Shares:
    from stock.ink.census import take_census
    from stock.ink.choke import choke_loss
    from stock.ink.tones import tones_of

    artwork = open_artwork(path, page=page)
    notes = list(artwork.notes)
    dark = garment == "dark" and mode.white_method != "none"
    choked = dark and mode.choke_px > 0
    bands = _bands_of(artwork, garment, mode, held=choked)
    if garment == "dark" and mode.knock_out_black:
        notes.append("Artwork as black as the garment is left out.")
    census = take_census(artwork, bands)
    colours, white, colour_notes = tones_of(census, artwork, garment, mode)
    notes.extend(colour_notes)
    total = float(census.total_px)
    # Plain sums: a matrix product wakes BLAS threads that wait on each other on a busy machine.
    covered = census.covered_px
    sums = (colours * covered[:, None]).sum(axis=0) / total
    share = {channel: float(sums[column]) for column, channel in enumerate(COLOURS)}
    share["W"] = float((white * covered).sum()) / total
    inked = (colours.sum(axis=1) + white) > 0
    if dark and not bands.has_alpha:
        notes.append("The file has no transparency: its whole rectangle is printed with white.")
    loss: tuple[float, ...] = ()
    step_px = 0.25
    if choked and share["W"] > 0:
        if bands.pixels is None:
            # Too large to keep: the second look streams the file again.
            again = open_artwork(path, page=page)
            bands = _bands_of(again, garment, mode, held=False)
        loss, step_px = choke_loss(bands, census, white, mode.choke_px)
    return Shares(
        file=str(path),
        sha256=digest,
        width_px=artwork.width_px,
        height_px=artwork.height_px,
        dpi=artwork.dpi_x,
        dpi_y=artwork.dpi_y,
        share=share,
        touched_share=float(census.covered_px[inked].sum()) / total,
        white_loss=loss,
        white_step_px=step_px,
        choke_cm=mode.choke_px / mode.dpi * CM_PER_INCH if choked else 0.0,
        notes=tuple(notes),
        garment=garment,
    )

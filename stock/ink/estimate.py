"""Shares, a size and a printer's rates: square centimetres, millilitres and grams.

Per piece and channel: mL = cm² of full tone × µL/cm² / 1000 + mL per print; the standard
deviation is that of the rates, which is shared by all pieces and so grows with their number.
Areas are of one piece; mL and g are of all pieces.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from stock.errors import Refused
from stock.ink.choke import lost_at
from stock.ink.mode import CHANNELS, LARGEST_CM, Garment, PretreatDose, Rate
from stock.ink.pretreat import sprayed_g
from stock.ink.shares import Shares
from stock.units import CM_PER_INCH

MOST_PIECES: Final = 1_000_000
_DIGITS: Final = 6


@dataclass(frozen=True, slots=True)
class Estimate:
    """Ink and pretreat of a print, with standard deviations.

    ``area_cm2``, ``covered_cm2`` (cm² of full tone by channel) and ``touched_cm2`` (any ink) are
    of one piece; ``ml``, ``ml_sd``, ``pretreat_g`` and ``pretreat_g_sd`` of all ``pieces``.
    """

    file: str
    sha256: str
    width_cm: float
    height_cm: float
    area_cm2: float
    covered_cm2: Mapping[str, float]
    touched_cm2: float
    ml: Mapping[str, float]
    ml_sd: Mapping[str, float]
    pretreat_g: float
    pretreat_g_sd: float
    calibrated: bool
    pieces: int = 1
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """With the contract's keys."""

        def told(value: float) -> float:
            return round(value, _DIGITS)

        return {
            "file": self.file,
            "sha256": self.sha256,
            "width_cm": told(self.width_cm),
            "height_cm": told(self.height_cm),
            "area_cm2": told(self.area_cm2),
            "covered_cm2": {c: told(self.covered_cm2[c]) for c in CHANNELS},
            "touched_cm2": told(self.touched_cm2),
            "ml": {c: told(self.ml[c]) for c in CHANNELS},
            "ml_sd": {c: told(self.ml_sd[c]) for c in CHANNELS},
            "pretreat_g": told(self.pretreat_g),
            "pretreat_g_sd": told(self.pretreat_g_sd),
            "calibrated": self.calibrated,
            "notes": list(self.notes),
        }


def check_side(name: str, side_cm: float | None) -> None:
    """Refuse a printed width or height that is no length; None is none given.

    Raises:
        Refused: Not a number of cm that is printed.
    """
    if side_cm is not None and not (math.isfinite(side_cm) and 0 < side_cm <= LARGEST_CM):
        raise Refused(
            f"A printed {name} of {side_cm} cm was given; expected more than 0 "
            f"and at most {LARGEST_CM:g} cm."
        )


def size_on_cloth_cm(
    shares: Shares, width_cm: float | None, height_cm: float | None
) -> tuple[float, float, tuple[str, ...]]:
    """(width, height, notes) in cm: from the order line, else from the file's resolution tag.

    One side given keeps the aspect; both given are taken as they are.

    Raises:
        Refused: A side that is no length, or neither a size nor a tag: nothing is guessed.
    """
    check_side("width", width_cm)
    check_side("height", height_cm)
    dpi, dpi_y = shares.dpi, shares.dpi_y or shares.dpi
    aspect = shares.height_px / shares.width_px
    if dpi is not None and dpi_y is not None:
        aspect *= dpi / dpi_y
    notes: tuple[str, ...] = ()
    if width_cm is not None and height_cm is not None:
        off = abs(height_cm / width_cm / aspect - 1)
        if off > 0.02:
            notes = (f"Width and height given stretch the artwork by {off:.0%}.",)
        return width_cm, height_cm, notes
    if width_cm is not None:
        width, height = width_cm, width_cm * aspect
    elif height_cm is not None:
        width, height = height_cm / aspect, height_cm
    elif dpi is None:
        raise Refused(
            f"{shares.file}: states no resolution, so its printed size is unknown; "
            f"give a width or a height in cm."
        )
    else:
        width = shares.width_px / dpi * CM_PER_INCH
        height = width * aspect
        notes = (
            f"Size from the file's own resolution of {round(dpi, 1):g} dpi; no size was given.",
        )
    if max(width, height) > LARGEST_CM:
        raise Refused(
            f"{shares.file}: would be {width:.1f} × {height:.1f} cm on cloth; "
            f"at most {LARGEST_CM:g} cm is expected."
        )
    return width, height, notes


def estimate(
    shares: Shares,
    *,
    width_cm: float | None = None,
    height_cm: float | None = None,
    rates: Mapping[str, Rate],
    dose: PretreatDose,
    garment: Garment,
    pieces: int = 1,
) -> Estimate:
    """Ink and pretreat for ``pieces`` prints of a measured picture.

    Args:
        shares: From :func:`stock.ink.measure.measure_shares`, of the same garment.
        width_cm, height_cm: Printed size; one keeps the aspect, none takes the file's tag.
        rates: By channel; a channel that prints must be there.
        dose: Pretreat of the blank; sprayed whenever white is printed.
        garment: ``light`` or ``dark``.
        pieces: Garments.

    Raises:
        Refused: No size to be had, a length or a number of pieces nobody prints, no rate, or
            shares of a light garment for a dark one.
    """
    if not 1 <= pieces <= MOST_PIECES:
        raise Refused(f"{pieces} pieces were asked for; expected 1 to {MOST_PIECES:,}.")
    if garment == "dark" and shares.garment == "light":
        raise Refused(
            f"{shares.file}: was measured for a light garment; measure it for a dark one."
        )
    width, height, notes = size_on_cloth_cm(shares, width_cm, height_cm)
    area = width * height
    share = dict(shares.share)
    if garment == "light":
        share["W"] = 0.0
    elif shares.white_loss:
        choke_px = shares.choke_cm * shares.width_px / width
        lost = lost_at(shares.white_loss, shares.white_step_px, choke_px)
        share["W"] = max(0.0, share["W"] - lost)
    covered = {channel: share.get(channel, 0.0) * area for channel in CHANNELS}
    ml: dict[str, float] = {}
    ml_sd: dict[str, float] = {}
    printing = [channel for channel in CHANNELS if covered[channel] > 0]
    for channel in CHANNELS:
        if channel not in printing:
            ml[channel] = ml_sd[channel] = 0.0
            continue
        rate = rates.get(channel)
        if rate is None:
            raise Refused(f"The printer has no rate for channel {channel}, which this needs.")
        laid = covered[channel] * rate.per_cm2_ul / 1000
        laid_sd = covered[channel] * rate.per_cm2_ul_sd / 1000
        ml[channel] = (laid + rate.per_print_ml) * pieces
        ml_sd[channel] = math.hypot(laid_sd, rate.per_print_ml_sd) * pieces
    pretreat = pretreat_sd = 0.0
    if covered["W"] > 0:
        one, one_sd = sprayed_g(dose, width, height)
        pretreat, pretreat_sd = one * pieces, one_sd * pieces
    if pieces > 1:
        notes += (f"mL and g are for {pieces} pieces, areas for one.",)
    return Estimate(
        file=shares.file,
        sha256=shares.sha256,
        width_cm=width,
        height_cm=height,
        area_cm2=area,
        covered_cm2=covered,
        touched_cm2=shares.touched_share * area,
        ml=ml,
        ml_sd=ml_sd,
        pretreat_g=pretreat,
        pretreat_g_sd=pretreat_sd,
        calibrated=bool(printing) and all(rates[channel].calibrated for channel in printing),
        pieces=pieces,
        notes=tuple(shares.notes) + notes,
    )

"""Print modes, printer rates and pretreat doses: the numbers artwork is turned into ink with.

Laydown is µL per cm² of full tone; rates carry a standard deviation in the same unit. Nothing
here reads a file or a book.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from stock.errors import Refused
from stock.units import CM_PER_INCH

CHANNELS: Final = ("C", "M", "Y", "K", "W")
COLOURS: Final = ("C", "M", "Y", "K")

LARGEST_CM: Final = 500.0
"""Longest side anything is printed or sprayed, cm."""

Garment = Literal["light", "dark"]
WhiteMethod = Literal["none", "flat", "tone"]


@dataclass(frozen=True, slots=True)
class PrintMode:
    """How a printer lays ink down: grid, drops, passes, white method, separation.

    Args:
        code: Name of the mode in the shop.
        dpi: Print resolution in both directions, dots per inch.
        drop_pl: Drop volume by channel, pL.
        passes: Drops per dot by channel.
        laydown_ul_per_cm2: Measured laydown at full tone, µL/cm²; overrides drops × dots.
        laydown_rel_sd: Relative standard deviation of the prior laydown (1 = 100 %).
        white_method: ``none``; ``flat`` (alpha only); ``tone`` (less white under dark colour).
        white_strength: Share of full white tone laid under colour, 0–1.
        white_under_black: With ``tone``: white kept under full black, as a share of strength.
        highlight_strength: Second, highlight white where the artwork itself is near white, 0–1.
        white_layers: How often the underbase is laid, 1 or 2.
        choke_px: Underbase pulled in from the edge, in pixels of the print resolution.
        ink_limit: Most total colour tone on one spot (2.4 = 240 % total area coverage).
        gcr: Grey component replacement strength, 0–1.
        knock_out_black: Leave out artwork near the black of a dark garment.
        knock_out_tolerance: How near, as largest distance in 8-bit RGB units.
        cmyk_profile: Path of the shop's own CMYK output ICC profile; empty: built-in separation.
        tone_curve: Per channel, (tone in, tone laid) points from 0 to 1; missing: linear.
        optical_gain: Yule–Nielsen factor n of the built-in separation: 1 takes dots at their size,
            2 counts on light scattering under them.
    """

    code: str = "standard"
    dpi: float = 1200.0
    drop_pl: Mapping[str, float] = field(
        default_factory=lambda: {"C": 5.0, "M": 5.0, "Y": 5.0, "K": 5.0, "W": 12.0}
    )
    passes: Mapping[str, float] = field(
        default_factory=lambda: {"C": 1.0, "M": 1.0, "Y": 1.0, "K": 1.0, "W": 2.0}
    )
    laydown_ul_per_cm2: Mapping[str, float] = field(default_factory=dict)
    laydown_rel_sd: float = 0.35
    white_method: WhiteMethod = "tone"
    white_strength: float = 1.0
    white_under_black: float = 0.5
    highlight_strength: float = 0.0
    white_layers: int = 1
    choke_px: float = 0.0
    ink_limit: float = 2.4
    gcr: float = 0.8
    knock_out_black: bool = False
    knock_out_tolerance: float = 24.0
    cmyk_profile: str = ""
    tone_curve: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    optical_gain: float = 2.0

    def laydown(self, channel: str) -> float:
        """Prior laydown of ``channel`` at full tone, µL/cm²: drop volume × dots × passes.

        >>> round(PrintMode().laydown("K"), 4)
        1.116
        """
        given = self.laydown_ul_per_cm2.get(channel)
        if given is not None:
            return given
        dots_per_cm2 = (self.dpi / CM_PER_INCH) ** 2
        return self.drop_pl[channel] * dots_per_cm2 * self.passes.get(channel, 1.0) * 1e-6


def check_mode(mode: PrintMode) -> None:
    """Refuse settings nobody can print with, in one sentence.

    Raises:
        Refused: The first setting that is out of its range.
    """
    if mode.white_method not in ("none", "flat", "tone"):
        raise Refused(
            f"Print mode {mode.code!r}: white method {mode.white_method!r} is not known; "
            f"expected none, flat or tone."
        )
    for name, (least, most) in _RANGES.items():
        value = getattr(mode, name)
        if not (isinstance(value, int | float) and least <= value <= most):
            raise Refused(
                f"Print mode {mode.code!r}: {name.replace('_', ' ')} is {value}; "
                f"expected {least:g} to {most:g}."
            )
    for channel, points in mode.tone_curve.items():
        steps = [point for pair in points for point in pair]
        if not points or not all(0 <= step <= 1 for step in steps):
            raise Refused(
                f"Print mode {mode.code!r}: the tone curve of {channel} holds {list(points)}; "
                f"expected points from 0 to 1."
            )


_RANGES: Final[Mapping[str, tuple[float, float]]] = {
    "dpi": (20, 20_000),
    "white_strength": (0, 2),
    "white_under_black": (0, 1),
    "highlight_strength": (0, 2),
    "white_layers": (1, 4),
    "choke_px": (0, 1000),
    "ink_limit": (0.1, 4),
    "gcr": (0, 1),
    "knock_out_tolerance": (0, 255),
    "optical_gain": (1, 4),
}


@dataclass(frozen=True, slots=True)
class Rate:
    """What one channel of one printer takes, with standard deviations, as believed from a day on.

    Args:
        per_cm2_ul: Laydown at full tone, µL/cm².
        per_print_ml: Spit and flush per print, mL.
        per_start_ml: Per start-up, mL.
        per_day_ml: Circulation and cleaning per calendar day, mL.
        *_sd: Standard deviations in the same units.
        prior_share: How much of ``per_cm2_ul`` is still prior, 0 (all data) to 1 (no data).
        calibrated: Whether the shop's own measurements went in.
    """

    per_cm2_ul: float
    per_cm2_ul_sd: float
    per_print_ml: float = 0.0
    per_print_ml_sd: float = 0.0
    per_start_ml: float = 0.0
    per_start_ml_sd: float = 0.0
    per_day_ml: float = 0.0
    per_day_ml_sd: float = 0.0
    prior_share: float = 1.0
    calibrated: bool = False


@dataclass(frozen=True, slots=True)
class PretreatDose:
    """Pretreat on a garment: mg per cm² of the sprayed rectangle, and its margin.

    The default dose is the middle of 13.6–15.5 mg/cm² published for dark garments (a supplier's
    guide, no date; a trade magazine, September 2015, p. 97 gives 14.5–16.5).
    """

    mg_per_cm2: float = 14.5
    mg_per_cm2_sd: float = 2.5
    margin_cm: float = 1.0
    calibrated: bool = False


def prior_rates(mode: PrintMode) -> dict[str, Rate]:
    """Rates by channel before anything was measured.

    Daily upkeep is from memory, no source (white 5–20 mL, each colour 0.5–4 mL a day).
    """
    rates: dict[str, Rate] = {}
    for channel in CHANNELS:
        laydown = mode.laydown(channel)
        white = channel == "W"
        rates[channel] = Rate(
            per_cm2_ul=laydown,
            per_cm2_ul_sd=laydown * mode.laydown_rel_sd,
            per_print_ml=0.05,
            per_print_ml_sd=0.03,
            per_day_ml=10.0 if white else 1.5,
            per_day_ml_sd=4.0 if white else 0.9,
        )
    return rates

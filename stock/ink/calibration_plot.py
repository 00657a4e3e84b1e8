"""A calibration as a picture: expected against measured use, one panel per channel.

Plain SVG, written here so that no plotting library is needed to see a calibration; PNG is the
same picture through libvips. Points are intervals, bars twice their standard deviation, the line
is where measured equals expected; intervals set aside are open squares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final
from xml.sax.saxutils import escape

from stock.errors import Refused
from stock.ink.calibrate import ChannelFit
from stock.ink.vips import libvips

_PANEL: Final = 260
_MARGIN: Final = 46
_GAP: Final = 24
_ACROSS: Final = 3
_INK: Final = {"C": "#1b7f9c", "M": "#a8336e", "Y": "#9a7d0a", "K": "#222222", "W": "#6b6b6b"}
_OTHER: Final = "#335577"


def plot_svg(fits: Sequence[ChannelFit]) -> str:
    """The picture of all channels that have intervals.

    Raises:
        Refused: No channel has any.
    """
    shown = [fit for fit in fits if fit.residuals or fit.set_aside]
    if not shown:
        raise Refused("There is nothing to plot: no channel has an interval yet.")
    across = min(_ACROSS, len(shown))
    down = math.ceil(len(shown) / across)
    cell = _PANEL + _MARGIN + _GAP
    width, height = across * cell + _GAP, down * cell + _GAP
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="sans-serif" font-size="12">',
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
    ]
    for number, fit in enumerate(shown):
        x = _GAP + _MARGIN + (number % across) * cell
        y = _GAP + (number // across) * cell
        parts += _panel(fit, x, y)
    parts.append("</svg>")
    return "\n".join(parts)


def plot_png(fits: Sequence[ChannelFit]) -> bytes:
    """The same picture as PNG, at twice the size."""
    pyvips = libvips()

    image = pyvips.Image.svgload_buffer(plot_svg(fits).encode(), scale=2.0)
    png: bytes = image.write_to_buffer(".png")
    return png


def nice_ceiling(value: float) -> float:
    """The next 1, 2 or 5 times a power of ten.

    >>> [nice_ceiling(v) for v in (0.7, 13, 200, 201)]
    [1.0, 20.0, 200.0, 500.0]
    """
    if value <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    for step in (1, 2, 5, 10):
        if value <= step * power * (1 + 1e-9):
            return step * power
    return 10 * power


def _panel(fit: ChannelFit, x: float, y: float) -> list[str]:
    used = [residual.interval.used_ml for residual in fit.residuals]
    expected = [residual.expected_ml for residual in fit.residuals]
    aside = [a for a in fit.set_aside if math.isfinite(a.interval.used_ml)]
    most = nice_ceiling(max([*used, *expected, 1e-6]) * 1.02)
    colour = _INK.get(fit.channel, _OTHER)

    def across(ml: float) -> float:
        return x + min(max(ml / most, 0.0), 1.0) * _PANEL

    def up(ml: float) -> float:
        return y + _PANEL - min(max(ml / most, 0.0), 1.0) * _PANEL

    title = f"{fit.printer} {fit.channel}: {len(used)} intervals"
    if aside:
        title += f", {len(fit.set_aside)} set aside"
    parts = [
        f'<rect x="{x}" y="{y}" width="{_PANEL}" height="{_PANEL}" fill="none" stroke="#bbbbbb"/>',
        f'<line x1="{x}" y1="{y + _PANEL}" x2="{x + _PANEL}" y2="{y}" stroke="#bbbbbb"/>',
        f'<text x="{x}" y="{y - 6}" fill="#222222">{escape(title)}</text>',
    ]
    for tick in (0.0, most / 2, most):
        parts += [
            f'<text x="{across(tick):.1f}" y="{y + _PANEL + 16}" text-anchor="middle" '
            f'fill="#555555">{tick:g}</text>',
            f'<text x="{x - 6}" y="{up(tick) + 4:.1f}" text-anchor="end" '
            f'fill="#555555">{tick:g}</text>',
        ]
    parts.append(
        f'<text x="{x + _PANEL / 2}" y="{y + _PANEL + 32}" text-anchor="middle" '
        f'fill="#555555">expected, mL (up: measured, mL)</text>'
    )
    for residual in fit.residuals:
        interval = residual.interval
        at = across(residual.expected_ml)
        spread = 2 * interval.used_sd_ml * fit.noise.get(interval.source, 1.0)
        low, high = up(interval.used_ml - spread), up(interval.used_ml + spread)
        parts += [
            f'<line x1="{at:.1f}" y1="{low:.1f}" x2="{at:.1f}" y2="{high:.1f}" '
            f'stroke="{colour}" stroke-opacity="0.5"/>',
            f'<circle cx="{at:.1f}" cy="{up(interval.used_ml):.1f}" r="3.5" fill="{colour}">'
            f"<title>{escape(str(interval))}</title></circle>",
        ]
    for left_out in aside:
        interval = left_out.interval
        at, height = across(fit.belief.expected_ml(interval.use)), up(interval.used_ml)
        parts.append(
            f'<rect x="{at - 4:.1f}" y="{height - 4:.1f}" width="8" height="8" fill="none" '
            f'stroke="{colour}"><title>{escape(f"{interval}: {left_out.why}")}</title></rect>'
        )
    return parts

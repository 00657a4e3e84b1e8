"""A calibration told to people and programs: text, JSON rows, a chart in characters."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from stock.ink.calibrate import ChannelFit, Residual
from stock.ink.mode import Rate

NOT_CALIBRATED: Final = "not yet calibrated"
_CHART_SD: Final = 4
_CHART_COLUMNS: Final = 4
"""Characters per standard deviation in the chart of residuals."""
MOST_ROWS: Final = 12
"""Intervals shown on a screen: of more, those farthest off; programs and plots get all."""


def json_rows(fits: Sequence[ChannelFit]) -> list[dict[str, Any]]:
    """One row per printer, channel and mode, with the keys ``stock calibrate --json`` promises.

    ``prior_share`` is 1 where nothing is known but the prior and 0 where all is data.
    """
    rows: list[dict[str, Any]] = []
    for fit in fits:
        shares = fit.prior_shares()
        for mode in fit.belief.modes:
            rate = fit.rate(mode)
            rows.append(
                {
                    "printer": fit.printer,
                    "channel": fit.channel,
                    "mode": mode,
                    "per_cm2_ul": rate.per_cm2_ul,
                    "per_print_ml": rate.per_print_ml,
                    "per_start_ml": rate.per_start_ml,
                    "per_day_ml": rate.per_day_ml,
                    "se": {
                        "per_cm2_ul": rate.per_cm2_ul_sd,
                        "per_print_ml": rate.per_print_ml_sd,
                        "per_start_ml": rate.per_start_ml_sd,
                        "per_day_ml": rate.per_day_ml_sd,
                    },
                    "prior_share": {
                        "per_cm2_ul": shares[mode],
                        "per_print_ml": shares["per_print_ml"],
                        "per_start_ml": shares["per_start_ml"],
                        "per_day_ml": shares["per_day_ml"],
                    },
                    "calibrated": rate.calibrated,
                    "intervals": len(fit.residuals),
                    "residuals": [_residual_row(residual) for residual in fit.residuals],
                    "set_aside": [
                        {"interval": str(aside.interval), "why": aside.why}
                        for aside in fit.set_aside
                    ],
                }
            )
    return rows


def _residual_row(residual: Residual) -> dict[str, Any]:
    interval = residual.interval
    return {
        "start": interval.start.isoformat(),
        "end": interval.end.isoformat(),
        "source": interval.source,
        "used_ml": interval.used_ml,
        "expected_ml": residual.expected_ml,
        "residual_ml": residual.residual_ml,
        "in_sd": residual.in_sd,
    }


def report_text(fits: Sequence[ChannelFit]) -> str:
    """The rates with standard errors and share of prior, then every interval's residual."""
    lines: list[str] = []
    for fit in fits:
        if lines:
            lines.append("")
        lines += _channel_lines(fit)
    return "\n".join(lines)


def _channel_lines(fit: ChannelFit) -> list[str]:
    count = len(fit.residuals)
    noun = "interval" if count == 1 else "intervals"
    head = f"{fit.printer} {fit.channel}: {count} {noun}"
    lines = [head if count else f"{head}, {NOT_CALIBRATED}: prior rates"]
    shares = fit.prior_shares()
    for mode in fit.belief.modes:
        rate = fit.rate(mode)
        told = "" if rate.calibrated or not count else f"  ({NOT_CALIBRATED})"
        lines.append(
            _rate_line(f"{mode}, full tone", rate.per_cm2_ul, rate.per_cm2_ul_sd, "µL/cm²",
                       shares[mode]) + told
        )  # fmt: skip
    rate = fit.rate(fit.belief.modes[0])
    lines += [
        _rate_line(name, value, sd, "mL", shares[key])
        for name, value, sd, key in _overheads(rate)
        if value > 0 or sd > 0
    ]
    for source, factor in sorted(fit.noise.items()):
        if factor > 1.5:
            lines.append(f"  {source}: {factor:.1f} times as noisy as stated")
    lines += residual_chart(fit)
    lines += [f"  set aside: {aside.interval}: {aside.why}" for aside in fit.set_aside]
    return lines


def _overheads(rate: Rate) -> list[tuple[str, float, float, str]]:
    return [
        ("per print", rate.per_print_ml, rate.per_print_ml_sd, "per_print_ml"),
        ("per start-up", rate.per_start_ml, rate.per_start_ml_sd, "per_start_ml"),
        ("per day", rate.per_day_ml, rate.per_day_ml_sd, "per_day_ml"),
    ]


def _rate_line(name: str, value: float, sd: float, unit: str, share: float) -> str:
    return f"  {name:24}{value:9.3f} ± {sd:6.3f} {unit:7} {share:4.0%} prior"


def residual_chart(fit: ChannelFit) -> list[str]:
    """A line of characters per interval: its residual on an axis of ± 4 standard deviations.

    Of many intervals the :data:`MOST_ROWS` farthest off are shown, in order of time, and how the
    others lie is said in a sentence.
    """
    half = _CHART_SD * _CHART_COLUMNS
    lines = []
    shown = list(fit.residuals)
    if len(shown) > MOST_ROWS:
        far = sorted(shown, key=lambda one: -abs(one.in_sd))[:MOST_ROWS]
        within = sum(abs(one.in_sd) <= 2 for one in shown) / len(shown)
        mean = sum(one.in_sd for one in shown) / len(shown)
        lines.append(
            f"  {within:.0%} of {len(shown)} intervals lie within ± 2 sd, {mean:+.1f} sd on "
            f"average; the {MOST_ROWS} farthest off:"
        )
        shown = [one for one in shown if one in far]
    for residual in shown:
        interval = residual.interval
        at = max(-half, min(half, round(residual.in_sd * _CHART_COLUMNS)))
        axis = ["·"] * (2 * half + 1)
        axis[half] = "│"
        axis[half + at] = "●"
        lines.append(
            f"  {interval.end} {interval.source:8}{interval.used_ml:8.2f} mL "
            f"{residual.residual_ml:+7.2f} {''.join(axis)}"
        )
    if lines:
        scale = f"{'−4 sd':<{half}}0{'+4 sd':>{half}}"
        lines.append(f"  {'':10} {'':8}{'used':>8}    {'left':>7} {scale}")
    return lines

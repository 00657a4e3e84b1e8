"""A printer's rates from what it really drank: the fit of one channel, and of all.

    used mL = Σ covered cm² (by mode) × k + prints × a + start-ups × s + days × b + noise

k, a, s, b ≥ 0, fitted by least squares with the priors as extra rows
(:mod:`stock.ink.least_squares`). How noisy each kind of look is gets learnt beside them.
Intervals that cannot be are set aside and named: negative use, numbers that are none, and what
stands more than four standard deviations from what all other intervals say of it.

Nothing here reads a book: intervals and priors come in, beliefs and rates go out.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Final

from stock.errors import Refused
from stock.ink.belief import OVERHEADS, Belief, design, prior_belief
from stock.ink.interval import Interval, Use
from stock.ink.least_squares import Solution, solve
from stock.ink.mode import CHANNELS, Rate

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "ChannelFit",
    "Interval",
    "RateVersion",
    "Residual",
    "SetAside",
    "Use",
    "calibrate",
    "fit_channel",
    "rate_versions",
]

SET_ASIDE_SD: Final = 4.0
PRIOR_DEGREES: Final = 6.0
"""Weight, in intervals, of the stated spread of a kind of look against what its residuals show."""

MOST_NOISE: Final = 5.0
"""Most a stated spread is widened: what is wilder is no noise but a mistake."""

_FEW: Final = 40
_LEAST_SD_ML: Final = 1e-3
_ROUNDS: Final = 4


@dataclass(frozen=True, slots=True)
class SetAside:
    """An interval that was left out of the fit, and why."""

    interval: Interval
    why: str


@dataclass(frozen=True, slots=True)
class Residual:
    """What the fit says of an interval: used − expected, mL, and that in standard deviations.

    ``in_sd`` compares with what all other intervals and the prior expect of this one.
    """

    interval: Interval
    expected_ml: float
    residual_ml: float
    in_sd: float


@dataclass(frozen=True, eq=False)
class ChannelFit:
    """What is believed of one channel of one printer after its intervals.

    Args:
        printer, channel: Whose rates.
        belief: Coefficients with covariance (mL per cm², per print, per start, per day).
        prior: The belief the fit started from.
        residuals: By interval that went in, in order of time.
        set_aside: Intervals left out, named.
        noise: By source, the factor its stated spread had to be multiplied with.
    """

    printer: str
    channel: str
    belief: Belief
    prior: Belief
    residuals: tuple[Residual, ...]
    set_aside: tuple[SetAside, ...]
    noise: Mapping[str, float]

    @property
    def data_until(self) -> date | None:
        """Last day of the intervals that went in."""
        return max((residual.interval.end for residual in self.residuals), default=None)

    def prior_share(self, position: int) -> float:
        """How much of a coefficient is still prior: its variance now over its variance before."""
        before = float(self.prior.covariance[position, position])
        now = float(self.belief.covariance[position, position])
        return min(1.0, now / before) if before > 0 else 1.0

    def prior_shares(self) -> dict[str, float]:
        """Share of prior by coefficient: modes by their name, then overheads."""
        names = (*self.belief.modes, *OVERHEADS)
        return {name: self.prior_share(position) for position, name in enumerate(names)}

    def rate(self, mode: str) -> Rate:
        """The rate of one mode, as the book keeps it; calibrated once the mode was measured."""
        position = self.belief.modes.index(mode)
        count = len(self.belief.modes)
        sd = [math.sqrt(max(0.0, float(v))) for v in self.belief.covariance.diagonal()]
        mean = [float(v) for v in self.belief.mean]
        share = self.prior_share(position)
        return Rate(
            per_cm2_ul=mean[position] * 1000,
            per_cm2_ul_sd=sd[position] * 1000,
            per_print_ml=mean[count],
            per_print_ml_sd=sd[count],
            per_start_ml=mean[count + 1],
            per_start_ml_sd=sd[count + 1],
            per_day_ml=mean[count + 2],
            per_day_ml_sd=sd[count + 2],
            prior_share=share,
            calibrated=any(
                residual.interval.covered_cm2.get(mode, 0.0) > 0 for residual in self.residuals
            ),
        )


@dataclass(frozen=True, slots=True)
class RateVersion:
    """A rate to be kept, and the first day it holds; earlier prints keep what they were given."""

    printer: str
    channel: str
    mode: str
    valid_from: date
    rate: Rate


def _cannot_be(interval: Interval) -> str:
    """Why an interval is impossible by itself; empty when it is not."""
    numbers = [
        interval.used_ml,
        interval.used_sd_ml,
        interval.prints,
        interval.starts,
        interval.days,
        *interval.covered_cm2.values(),
    ]
    if not all(math.isfinite(number) for number in numbers):
        return "holds something that is no number"
    if interval.end < interval.start:
        return "ends before it starts"
    if min(numbers[1:]) < 0:
        return "holds a negative area, count or spread"
    if interval.used_ml < 0:
        return f"negative use of {interval.used_ml:.1f} mL: a refill or swap is missing"
    if not any(numbers[2:]) and interval.used_ml > 0:
        return "ink went although nothing was printed and no day passed"
    return ""


def fit_channel(
    intervals: Sequence[Interval],
    priors: Mapping[str, Rate],
    *,
    printer: str = "",
    channel: str = "",
) -> ChannelFit:
    """Fit one channel of one printer.

    Args:
        intervals: Of this channel; any order.
        priors: Prior rate by print mode, with standard deviations.
        printer, channel: Names, where there are no intervals to tell them.
    """
    import numpy as np

    first = intervals[0] if intervals else None
    prior = prior_belief(_with_seen_modes(priors, intervals))
    aside: list[SetAside] = []
    kept: list[Interval] = []
    for interval in sorted(intervals, key=lambda i: (i.start, i.end, i.source)):
        why = _cannot_be(interval)
        if why:
            aside.append(SetAside(interval, why))
        else:
            kept.append(interval)
    while True:
        solution, noise = _fit(prior, kept)
        if not kept:
            break
        off = np.abs(_deleted_residuals(solution, kept, noise))
        worst = float(off.max())
        if worst <= SET_ASIDE_SD:
            break
        # One wild interval bends the fit for its neighbours, so the wildest go first and the rest
        # are judged again; among many, those at least half as wild go with it.
        least = worst if len(kept) < _FEW else max(SET_ASIDE_SD, worst / 2)
        for position in reversed(np.flatnonzero(off >= least).tolist()):
            out = kept.pop(position)
            expected = out.used_ml - float(solution.residual[position])
            why = (
                f"{off[position]:.1f} standard deviations from what the other intervals say "
                f"({expected:.1f} mL)"
            )
            aside.append(SetAside(out, why))
    residuals = tuple(
        Residual(interval, interval.used_ml - float(left), float(left), float(sd))
        for interval, left, sd in zip(
            kept, solution.residual, _deleted_residuals(solution, kept, noise), strict=True
        )
    )
    return ChannelFit(
        printer=first.printer if first else printer,
        channel=first.channel if first else channel,
        belief=replace(prior, mean=solution.x, covariance=solution.covariance),
        prior=prior,
        residuals=residuals,
        set_aside=tuple(aside),
        noise=noise,
    )


def _with_seen_modes(priors: Mapping[str, Rate], intervals: Sequence[Interval]) -> dict[str, Rate]:
    """Priors of all modes that appear; one that has none takes the first's with double spread."""
    rates = dict(priors)
    if not rates:
        raise ValueError("a fit needs the prior rate of at least one mode")
    known = next(iter(rates.values()))
    for interval in intervals:
        for mode in interval.covered_cm2:
            if mode not in rates:
                rates[mode] = replace(known, per_cm2_ul_sd=2 * known.per_cm2_ul_sd)
    return rates


def _stated_sd(kept: Sequence[Interval], noise: Mapping[str, float]) -> Floats:
    import numpy as np

    return np.array(
        [max(i.used_sd_ml, _LEAST_SD_ML) * noise.get(i.source, 1.0) for i in kept], float
    )


def _fit(prior: Belief, kept: Sequence[Interval]) -> tuple[Solution, dict[str, float]]:
    """(solution, noise factor by source), by turns until they agree."""
    import numpy as np

    a = design(prior, [interval.use for interval in kept])
    b = np.array([interval.used_ml for interval in kept])
    noise: dict[str, float] = {}
    for _ in range(_ROUNDS):
        solution = solve(
            a,
            b,
            _stated_sd(kept, noise),
            prior_mean=prior.mean,
            prior_covariance=prior.covariance,
        )
        noise = _noise_by_source(solution, kept)
    return solution, noise


def _noise_by_source(solution: Solution, kept: Sequence[Interval]) -> dict[str, float]:
    """How far off the stated spread of each source is, by a posterior mean of its variance.

    A scaled inverse chi-squared prior of :data:`PRIOR_DEGREES` degrees around the stated spread
    (Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6). One wild interval must not widen the
    yardstick it is judged by, so squared residuals are capped at nine variances of the median.
    """
    import numpy as np

    by_source: dict[str, list[int]] = defaultdict(list)
    for position, interval in enumerate(kept):
        by_source[interval.source].append(position)
    stated = _stated_sd(kept, {})
    noise: dict[str, float] = {}
    for source, positions in by_source.items():
        square = (solution.residual[positions] / stated[positions]) ** 2
        free = np.maximum(1.0 - solution.leverage[positions], 0.0)
        middle = max(1.0, float(np.median(square / np.maximum(free, 0.05))) / 0.455)
        square = np.minimum(square, 9.0 * middle)
        variance = (PRIOR_DEGREES + square.sum()) / (PRIOR_DEGREES + free.sum())
        noise[source] = min(math.sqrt(float(variance)), MOST_NOISE)
    return noise


def _deleted_residuals(
    solution: Solution, kept: Sequence[Interval], noise: Mapping[str, float]
) -> Floats:
    """Each residual over its standard deviation as seen by all other rows.

    For r the residual, h the leverage: r / (σ √(1 − h)), which is the residual of the fit without
    that row over the standard deviation of predicting it (Cook & Weisberg, Residuals and Influence
    in Regression, 1982, 2.2.3).
    """
    import numpy as np

    sd = _stated_sd(kept, noise)
    left = np.sqrt(np.maximum(1.0 - solution.leverage, 1e-6))
    scaled: Floats = solution.residual / (sd * left)
    return scaled


def calibrate(
    intervals: Iterable[Interval],
    priors: Mapping[tuple[str, str], Mapping[str, Rate]],
) -> list[ChannelFit]:
    """Fit every channel of every printer that has priors or intervals.

    Args:
        intervals: Of any printers and channels.
        priors: By (printer, channel), the prior rate by mode.

    Returns:
        By printer, then in the order C, M, Y, K, W.

    Raises:
        Refused: An interval of a channel that has no prior.
    """
    by_channel: dict[tuple[str, str], list[Interval]] = defaultdict(list)
    for interval in intervals:
        key = (interval.printer, interval.channel)
        if key not in priors:
            raise Refused(f"Interval {interval}: its printer has no such channel.")
        by_channel[key].append(interval)

    def order(key: tuple[str, str]) -> tuple[str, int, str]:
        place = CHANNELS.index(key[1]) if key[1] in CHANNELS else len(CHANNELS)
        return key[0], place, key[1]

    return [
        fit_channel(by_channel[key], priors[key], printer=key[0], channel=key[1])
        for key in sorted(priors, key=order)
    ]


def rate_versions(fits: Iterable[ChannelFit], valid_from: date) -> list[RateVersion]:
    """The rates of calibrated channels as versions that hold from a day on.

    Channels without intervals keep what they had.
    """
    return [
        RateVersion(fit.printer, fit.channel, mode, valid_from, fit.rate(mode))
        for fit in fits
        if fit.residuals
        for mode in fit.belief.modes
    ]

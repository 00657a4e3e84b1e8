"""The accuracy log: forecasts kept as given at the time, scored when the truth is in.

A kept forecast is the quantiles of one series' total over some weeks, with the day they were given.
Amounts are in the series' own unit. Scores are by class and together; drift is told in a sentence
when recent weeks do worse than promised or than before. Nothing here forecasts or stores.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from stock.demand.forecast import Forecast
from stock.demand.known import Floats, History
from stock.demand.scores import coverage, crps_of_sample, pinball

KEPT_LEVELS: Final = (0.05, 0.5, 0.8, 0.9, 0.95, 0.99)
RECENT_ROUNDS: Final = 8
"""Days on which forecasts were given that count as recent."""
LEAST_ROUNDS: Final = 6
LEAST_CASES: Final = 30
"""Below these nothing is said about drift."""
_STANDARD_ERRORS: Final = 2.5


@dataclass(frozen=True, slots=True)
class GivenForecast:
    """What was said about one series on one day.

    Args:
        key: Series name.
        given_on: Day it was said.
        start: First day of the total.
        weeks: Length of the total.
        kind: Demand class as of then.
        mean: Expected total.
        levels, quantiles: Quantiles of the total.
    """

    key: str
    given_on: date
    start: date
    weeks: int
    kind: str
    mean: float
    levels: tuple[float, ...]
    quantiles: tuple[float, ...]

    @property
    def end(self) -> date:
        """Last day of the total."""
        return self.start + timedelta(days=7 * self.weeks - 1)


@dataclass(frozen=True, slots=True)
class Outcome:
    """A kept forecast and what then happened."""

    given: GivenForecast
    truth: float


@dataclass(frozen=True, eq=False)
class Accuracy:
    """How the forecasts of one class did.

    Millilitres are not added to pieces: every item's figures are divided by what it needs on
    average (half of it forecast, half true: judgement) before items are put together.

    Args:
        kind: Class, or ``all``.
        cases: Number of forecasts scored.
        rounds: Number of days they were given on.
        levels: Quantile levels.
        pinball: Mean pinball loss by level over the mean truth (no unit).
        below, at_most: Share of truths below, and at most, the quantile of each level.
        bias: Σ forecast / Σ truth − 1; NaN when nothing happened.
        crps: Mean continuous ranked probability score over the mean truth.
    """

    kind: str
    cases: int
    rounds: int
    levels: tuple[float, ...]
    pinball: Floats
    below: Floats
    at_most: Floats
    bias: float
    crps: float


@dataclass(frozen=True, slots=True)
class Drift:
    """Whether recent forecasts do worse than they should, and why, in sentences."""

    flagged: bool
    reasons: tuple[str, ...]


def keep(seen: Forecast, given_on: date, weeks: int) -> list[GivenForecast]:
    """Every series' forecast of the total over the first ``weeks`` weeks, to be stored as is."""
    quantiles = seen.quantile(list(KEPT_LEVELS), weeks)
    means = seen.weekly_mean[:, :weeks].sum(axis=1)
    return [
        GivenForecast(
            key,
            given_on,
            seen.start,
            weeks,
            seen.classes[row],
            float(means[row]),
            KEPT_LEVELS,
            tuple(quantiles[row].tolist()),
        )
        for row, key in enumerate(seen.keys)
        if seen.models[row] != "no history"
    ]


def outcomes(given: Iterable[GivenForecast], history: History) -> list[Outcome]:
    """What happened to each forecast whose weeks are all in ``history``.

    A forecast that begins within a week, or reaches past the history or before the series began,
    is left out; so is one whose weeks hold a stock-out, where use says less than what was wanted.
    """
    place = {day: at for at, day in enumerate(history.mondays.astype("datetime64[D]").tolist())}
    found = []
    for said in given:
        first = place.get(said.start)
        try:
            row = history.row(said.key)
        except KeyError:
            continue
        if first is None or first + said.weeks > len(history.mondays):
            continue
        span = slice(first, first + said.weeks)
        total = float(history.values[row, span].sum())
        if np.isfinite(total) and not history.stocked_out[row, span].any():
            found.append(Outcome(said, total))
    return found


def score(cases: Sequence[Outcome]) -> list[Accuracy]:
    """Scores by class, most frequent first, and over all classes at the end."""
    kinds = sorted({case.given.kind for case in cases}, key=lambda kind: -_count(cases, kind))
    rows = [_score([case for case in cases if case.given.kind == kind], kind) for kind in kinds]
    return [*rows, _score(cases, "all")] if cases else []


def _count(cases: Sequence[Outcome], kind: str) -> int:
    return sum(case.given.kind == kind for case in cases)


def _score(cases: Sequence[Outcome], kind: str) -> Accuracy:
    levels = cases[0].given.levels
    same = [case for case in cases if case.given.levels == levels]
    needed = _usual_need(same)
    truth = np.array([case.truth for case in same]) / needed
    quantiles = np.array([case.given.quantiles for case in same]) / needed[:, None]
    said = np.array([case.given.mean for case in same]) / needed
    below, at_most = coverage(truth, quantiles)
    size = float(truth.mean())
    weights = np.diff([0.0, *(np.array(levels[1:]) + levels[:-1]) / 2, 1.0])
    crps = [crps_of_sample(y, q, weights) for y, q in zip(truth, quantiles, strict=True)]
    return Accuracy(
        kind,
        len(same),
        len({case.given.given_on for case in same}),
        levels,
        pinball(truth, quantiles, np.array(levels)).mean(axis=0) / (size or 1.0),
        below,
        at_most,
        float(said.sum() / truth.sum()) - 1 if truth.sum() > 0 else float("nan"),
        float(np.mean(crps)) / (size or 1.0),
    )


def _usual_need(cases: Sequence[Outcome]) -> Floats:
    """What each case's item needs on average over its cases; 1 where it is always nothing."""
    seen: dict[object, list[float]] = defaultdict(list)
    for case in cases:
        seen[case.given.key].append((case.truth + case.given.mean) / 2)
    usual = {key: sum(values) / len(values) for key, values in seen.items()}
    return np.array([usual[case.given.key] or 1.0 for case in cases])


def drift(cases: Sequence[Outcome], level: float = 0.9) -> Drift:
    """Whether the last eight rounds of forecasts broke their promise or lean to one side.

    A round is the forecasts given on one day; rounds whose weeks overlap count as one part each of
    a whole. Coverage at ``level`` and the lean (truth against mean) are compared with what they
    should be, the spread between rounds being the measure of chance: a flag needs 2.5 standard
    errors, and 5 points of coverage or a tenth of the total.
    """
    usable = [case for case in cases if level in case.given.levels]
    days = sorted({case.given.given_on for case in usable})[-RECENT_ROUNDS:]
    recent = [case for case in usable if days and case.given.given_on >= days[0]]
    if len(days) < LEAST_ROUNDS or len(recent) < LEAST_CASES:
        return Drift(False, ())
    apart = _rounds_apart(days, max(case.given.weeks for case in recent))
    rounds = [_round([c for c in recent if c.given.given_on == day], level) for day in days]
    below, at_most, lean = np.array(rounds).T
    reasons = []
    if _beyond(at_most, level, 0.05, apart) < 0:
        reasons.append(
            f"In the last {len(days)} rounds only {at_most.mean():.0%} of totals stayed within "
            f"their {level:.0%} mark: need is less sure than forecast."
        )
    if _beyond(below, level, 0.05, apart) > 0:
        reasons.append(
            f"In the last {len(days)} rounds {below.mean():.0%} of totals stayed below their "
            f"{level:.0%} mark: the forecast is wider than it need be."
        )
    side = _beyond(lean, 1.0, 0.1, apart)
    if side:
        word = "more" if side > 0 else "less"
        reasons.append(
            f"In the last {len(days)} rounds {abs(lean.mean() - 1):.0%} {word} was used than "
            "forecast."
        )
    return Drift(bool(reasons), tuple(reasons))


def _round(cases: Sequence[Outcome], level: float) -> tuple[float, float, float]:
    """Shares of truths below and at most the quantile at ``level``, and truth over mean."""
    truth = np.array([case.truth for case in cases])
    marks = [[case.given.quantiles[case.given.levels.index(level)]] for case in cases]
    below, at_most = coverage(truth, np.array(marks))
    said = sum(case.given.mean for case in cases)
    return float(below[0]), float(at_most[0]), float(truth.sum()) / max(said, 1e-12)


def _rounds_apart(days: Sequence[date], weeks: int) -> float:
    """How many rounds of ``weeks`` weeks fit side by side into the days given on; at least 1."""
    span = (days[-1] - days[0]).days + 7 * weeks
    return max(1.0, min(len(days), span / (7 * weeks)))


def _beyond(found: Floats, promised: float, least: float, apart: float) -> int:
    """−1 or 1 when the rounds' mean lies clearly below or above what was promised, else 0."""
    away = float(found.mean()) - promised
    error = float(found.std(ddof=1)) / np.sqrt(apart)
    if abs(away) <= max(least, _STANDARD_ERRORS * error):
        return 0
    return 1 if away > 0 else -1

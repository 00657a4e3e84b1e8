"""Study: do the forecast's quantiles of the h-week total hold, and beat what people use?

    STOCK_STUDY_DATA=<folder> python -m tests.benchmarks.demand_study [--chosen] [--quick]

Every data set (tests/benchmarks/demand_data.py) is forecast at a row of origins, knowing only the
weeks before each. Origins are dealt into halves in pairs (two, two, two …): the constants of
``stock.demand`` were chosen on the first half (``--chosen`` shows it), the second half is reported.
Pinball loss is divided by the series' root mean squared weekly change and by h, so that every
series counts alike, and averaged over h = 2, 4, 6; a gain is over the best of the opponents at
that level; seasonal naive is the moving average where there is no year yet. Coverage of counts is
given as P(Y < q) and P(Y ≤ q); its standard error takes the origins as the cases.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import dataclass, field
from time import perf_counter

import numpy as np

from stock.demand.forecast import forecast
from stock.demand.known import History
from tests.benchmarks import demand_opponents as against
from tests.benchmarks.demand_data import Days, Floats, all_weeks

LEVELS, WEEKS = against.LEVELS, against.WEEKS
CLASSES = ("smooth", "intermittent", "erratic", "lumpy")
ORIGINS = {
    "pizza": range(26, 46, 2),
    "yaz": range(26, 103, 4),
    "bakery": range(26, 168, 6),
    "retail": range(26, 47, 2),
}
HOLD = {
    "smooth": (0.03, 0.02, 0.01),
    "erratic": (0.04, 0.03, 0.015),
    "lumpy": (0.04, 0.03, 0.015),
    "intermittent": (0.05, 0.04, 0.03),
}
GAIN = {"smooth": 5.0, "intermittent": 2.0, "erratic": 3.0, "lumpy": -1.0}


@dataclass
class Tally:
    """Sums over series of one class at one set of origins."""

    ours: list[Floats] = field(default_factory=list)
    theirs: dict[str, list[Floats]] = field(default_factory=lambda: defaultdict(list))
    at_most: list[Floats] = field(default_factory=list)
    below: list[Floats] = field(default_factory=list)
    squared: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    bias: list[tuple[float, float, float]] = field(default_factory=list)
    count: list[int] = field(default_factory=list)


def half_of(origin: int, name: str) -> int:
    """0: chosen on, 1: reported."""
    return (list(ORIGINS[name]).index(origin) // 2) % 2


def run(half: int, *, quick: bool = False) -> dict[tuple[str, str], Tally]:
    """Forecast every data set at the origins of one half."""
    tallies: dict[tuple[str, str], Tally] = defaultdict(Tally)
    for name, (values, mondays) in all_weeks().items():
        if quick:
            values = values[::10] if len(values) > 100 else values
        for origin in ORIGINS[name]:
            if half_of(origin, name) == half:
                _score(tallies, name, values, mondays, origin)
    return tallies


def _score(
    tallies: dict[tuple[str, str], Tally], name: str, values: Floats, mondays: Days, origin: int
) -> None:
    past = values[:, :origin]
    keys = tuple(f"{name}{row}" for row in range(len(past)))
    history = History(keys, mondays[:origin], past, np.zeros(past.shape, bool))
    seen = forecast(history, max(WEEKS))
    ours = np.stack([seen.quantile(list(LEVELS), h) for h in WEEKS], axis=1)
    root_h = against.smoothing_root_h(past)
    average = against.moving_average(past)
    yearly = against.seasonal_naive(past)
    opponents = {
        "seasonal naive": average if yearly is None else yearly,
        "moving average": average,
        "AutoETS": against.autoets(past, root_h),
        "normal √h band": root_h,
    }
    later = np.cumsum(values[:, origin:], axis=1)
    truth = np.stack([later[:, h - 1] for h in WEEKS], axis=1)
    change = np.sqrt((np.diff(past, axis=1) ** 2).mean(axis=1))
    scale = np.maximum(change, 1e-9)[:, None, None] * np.array(WEEKS)[None, :, None]
    said = np.cumsum(seen.weekly_mean, axis=1)[:, np.array(WEEKS) - 1]
    drawn = seen.sample(range(len(past)), 200, 1).mean(axis=1)
    drawn = np.cumsum(drawn, axis=1)[:, np.array(WEEKS) - 1]
    weeks = np.array(WEEKS)
    points = {other: mean[:, None] * weeks for other, mean in against.means(past).items()}
    classes = np.array(seen.classes)
    for kind in CLASSES:
        rows = (classes == kind) & (change > 0)
        if not rows.any():
            continue
        for tally in (tallies[kind, name], tallies[kind, "all"], tallies["every class", name]):
            tally.count.append(int(rows.sum()))
            tally.ours.append((_pinball(truth, ours) / scale)[rows].mean(axis=1).sum(axis=0))
            for other, quantiles in opponents.items():
                lost = (_pinball(truth, quantiles) / scale)[rows].mean(axis=1).sum(axis=0)
                tally.theirs[other].append(lost)
            tally.at_most.append((truth[..., None] <= ours + 1e-9)[rows].mean(axis=1).sum(axis=0))
            tally.below.append((truth[..., None] < ours - 1e-9)[rows].mean(axis=1).sum(axis=0))
            for other, total in {"ours": said, **points}.items():
                wrong = (total - truth)[rows] / scale[rows, :, 0]
                tally.squared[other] += float((wrong**2).mean(axis=1).sum())
            ratio = 1 / scale[rows, -1, 0]
            tally.bias.append(
                (
                    float((said[rows, -1] * ratio).sum()),
                    float((drawn[rows, -1] * ratio).sum()),
                    float((truth[rows, -1] * ratio).sum()),
                )
            )


def _pinball(truth: Floats, quantiles: Floats) -> Floats:
    short = truth[..., None] - quantiles
    return np.maximum(LEVELS * short, (LEVELS - 1) * short)


def show(tallies: dict[tuple[str, str], Tally]) -> bool:
    """Print the table; True when every bound of the study holds."""
    good = True
    for kind in (*CLASSES, "every class"):
        for where in ("all", *ORIGINS):
            tally = tallies.get((kind, where))
            if tally is None or sum(tally.count) < 60:
                continue
            good &= _show_one(kind, where, tally)
    print("Everything above holds." if good else "Not everything holds: see the lines marked ✗.")
    return good


def _show_one(kind: str, where: str, tally: Tally) -> bool:
    cases = sum(tally.count)
    ours = sum(tally.ours)
    losses = {name: sum(part) for name, part in tally.theirs.items()}
    best = np.min(np.array(list(losses.values())), axis=0)
    gain = 100 * (1 - ours / best)
    at_most, below = sum(tally.at_most) / cases, sum(tally.below) / cases
    by_origin = np.array([p / n for p, n in zip(tally.at_most, tally.count, strict=True)])
    error = by_origin.std(axis=0, ddof=1) / np.sqrt(len(by_origin)) if len(by_origin) > 1 else 0.0
    roots = {name: np.sqrt(total / cases) for name, total in tally.squared.items()}
    said, drawn, truth = (sum(part) for part in zip(*tally.bias, strict=True))
    print(f"\n{kind} · {where} · {cases} series-origins, {len(tally.count)} origins")
    print("  RMSSE of the mean: " + ", ".join(f"{n} {root:.3f}" for n, root in roots.items()))
    print(
        f"  bias of the mean {said / truth - 1:+.1%}, of the paths' mean {drawn / truth - 1:+.1%}"
    )
    print("  level            " + "".join(f"{level:>9.2f}" for level in LEVELS))
    print("  P(Y ≤ q)         " + "".join(f"{part:>9.3f}" for part in at_most))
    print("  P(Y < q)         " + "".join(f"{part:>9.3f}" for part in below))
    print("  ± by origin      " + "".join(f"{part:>9.3f}" for part in np.atleast_1d(error)))
    for name, loss in losses.items():
        print(f"  over {name:<12.12s}" + "".join(f"{100 * (1 - x):>+8.1f}%" for x in ours / loss))
    print("  over the best    " + "".join(f"{part:>+8.1f}%" for part in gain))
    if where != "all":
        off = _off(at_most[2], below[2], 0.9)
        if cases >= 200:
            return _verdict(f"coverage at .9 off by {off:+.3f} (bound .08)", abs(off) <= 0.08)
        return True
    good = True
    for place, (level, bound) in enumerate(zip((0.9, 0.95, 0.99), HOLD[kind], strict=True), 2):
        off = _off(at_most[place], below[place], level)
        good &= _verdict(
            f"coverage at {level} off by {off:+.3f} (bound {bound})", abs(off) <= bound
        )
    text = f"pinball at .95 {gain[3]:+.1f} % over the best (bound {GAIN[kind]:+.0f} %)"
    return good & _verdict(text, bool(gain[3] >= GAIN[kind]))


def _off(at_most: float, below: float, level: float) -> float:
    """How far coverage misses: 0 when P(Y < q) ≤ level ≤ P(Y ≤ q)."""
    if below <= level <= at_most:
        return 0.0
    return float(at_most - level if at_most < level else below - level)


def _verdict(text: str, good: bool) -> bool:
    print(f"  {'✓' if good else '✗'} {text}")
    return good


if __name__ == "__main__":
    begun = perf_counter()
    fine = show(run(0 if "--chosen" in sys.argv else 1, quick="--quick" in sys.argv))
    print(f"{perf_counter() - begun:.0f} s")
    sys.exit(0 if fine else 1)

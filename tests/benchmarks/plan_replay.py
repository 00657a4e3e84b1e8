"""Replay on open data: the weekly list against rules of thumb, the textbook and perfect knowledge.

    STOCK_STUDY_DATA=… python -m tests.benchmarks.plan_replay [pizza|yaz|retail|spikes …]

Prints one table of costs per set and unit value, then what holds. Rules of thumb are run as
people set them; "tuned" means at the factor that would have cost least in hindsight. Nothing of
the planner was fitted on the items reported. Costs are those of
:mod:`tests.benchmarks.plan_study_data`; a unit is worth 10 and, in a second run, 1: the line
cost then buys ten times as much. Money is printed in the main unit, the bound counts nothing for
what is left at the end while every policy keeps its cover.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from stock.plan.bound import clairvoyant
from stock.plan.policies import (
    FixedLevel,
    LastPack,
    Planned,
    Rule,
    TextbookNormal,
    WeeksOfCover,
    tuned,
)
from stock.plan.replay import Policy, Verdict, walk
from tests.benchmarks.plan_study_data import Ints, Study, pizza, retail, yaz

FACTORS = (0.3, 0.4, 0.5, 0.6, 0.7, 0.85, 1.0, 1.2, 1.5, 2.0, 2.7)
SHORT_FACTORS = (0.15, 0.25, 0.4, 0.6, 0.8, 1.0, 1.5)
"""Shortage cost told to the planner, as shares of the true one, where it is tuned too."""
OURS, NEED, LEADS, BOTH = "ours", "need foreseen", "lead times foreseen", "both foreseen"
LOT, BOUND = "textbook normal + lot", "clairvoyant bound"
SEED = 11
"""Draws of lead times that no development run used."""

SETS: dict[str, Callable[[int], Study]] = {
    "pizza": lambda every: pizza(2, 1, SEED),
    "yaz": lambda every: yaz(SEED),
    "retail": lambda every: retail(every, 5, SEED),
    "spikes": lambda every: retail(every, 5, SEED, cap=6.0),
}


def rules() -> list[Rule]:
    """What people do, and variants set by eye."""
    return [FixedLevel(), WeeksOfCover(), LastPack()]


def textbook() -> list[Rule]:
    """Order-up-to by the normal distribution, without and with a lot."""
    return [TextbookNormal(), TextbookNormal(with_lot=True, name=LOT)]


def planned(paths: int, foreseen: bool) -> list[Planned]:
    """The planner as it is, and with knowledge it cannot have."""
    ours = [Planned(OURS, paths=paths)]
    if foreseen:
        ours += [
            Planned(NEED, foresee_need=True, paths=paths),
            Planned(LEADS, foresee_leads=True, paths=paths),
            Planned(BOTH, foresee_need=True, foresee_leads=True, paths=paths),
        ]
    return ours


@dataclass(frozen=True)
class Hold:
    """One line that was to hold: what was found against the limit."""

    line: str
    found: float
    limit: float

    def __str__(self) -> str:
        said = "holds" if self.found <= self.limit + 1e-12 else "DOES NOT HOLD"
        return f"{self.line}: {self.found:.3f} (≤ {self.limit:.3f}) {said}"


def run(study: Study, policies: Iterable[Policy]) -> dict[str, Verdict]:
    """Walk each policy; verdict by name."""
    return {policy.name: walk(study.past, policy) for policy in policies}


def tuning(study: Study, policies: Iterable[Rule]) -> dict[str, list[Verdict]]:
    """Each rule at every factor."""
    return {
        rule.name: [walk(study.past, tuned(rule, factor)) for factor in FACTORS]
        for rule in policies
    }


def at_fill(verdicts: Sequence[Verdict], fill: float, rows: Ints) -> float:
    """Cost of a rule tuned to this fill rate, between the two nearest; inf out of reach."""
    points = sorted((one.fill_rate(rows), one.total(rows)) for one in verdicts)
    fills = np.array([point[0] for point in points])
    if not fills[0] <= fill <= fills[-1]:
        return float("inf")
    return float(np.interp(fill, fills, [point[1] for point in points]))


def best_rule(found: dict[str, Verdict], rows: Ints) -> float:
    """Cost of the cheapest rule of thumb as people set it."""
    return min(found[rule.name].total(rows) for rule in rules())


def cost_table(study: Study, found: dict[str, Verdict]) -> str:
    """Cost by kind, fill rate and cost over the best rule of thumb, all items then each class."""
    lines = []
    for kind, rows in study.rows().items():
        base = best_rule(found, rows)
        lines.append(f"{study.name}, {kind}: {len(rows)} items × {study.past.weeks} weeks")
        for name, one in sorted(found.items(), key=lambda pair: pair[1].total(rows)):
            split = (one.holding, one.ordering, one.shortage)
            parts = " ".join(f"{part[rows].sum() / 100:9.0f}" for part in split)
            fill = f"{one.fill_rate(rows):.3f}" if name != BOUND else "     "
            lines.append(
                f"  {name:32s} {one.total(rows) / 100:9.0f} = {parts}  {fill}"
                f"  {one.total(rows) / base:.2f}"
            )
    return "\n".join(lines)


def gap_lines(study: Study, found: dict[str, Verdict]) -> list[str]:
    """How much of the gap to the bound each kind of knowledge closes, and what lots leave."""
    lines = []
    for kind, rows in study.rows().items():
        cost = {name: one.total(rows) for name, one in found.items()}
        gap = cost[OURS] - cost[BOUND]
        closed = {name: (cost[OURS] - cost[name]) / gap for name in (LEADS, NEED, BOTH)}
        lines.append(
            f"gap, {study.name}, {kind}: ours is {cost[OURS] / cost[BOUND]:.2f} × the bound; of "
            f"the gap {closed[LEADS]:.0%} goes with lead times, {closed[NEED]:.0%} with need, "
            f"{closed[BOTH]:.0%} with both foreseen; {1 - closed[BOTH]:.0%} is lots and the end"
        )
    return lines


def study_set(study: Study, paths: int, value: float, foreseen: bool) -> list[Hold]:
    """Untuned comparison at one unit value: the table, the gap, holds (a) and (d)."""
    found = run(study, [*rules(), *textbook(), *planned(paths, foreseen)])
    found[BOUND] = clairvoyant(study.past)
    print(f"\nunit value {value / 100:g}; cost = holding, ordering, shortage; fill; of best rule")
    print(cost_table(study, found))
    if foreseen:
        print("\n".join(gap_lines(study, found)), flush=True)
    everything = study.rows()["all"]
    where = f"{study.name}, unit value {value / 100:g}"
    limit = 0.60 if study.name == "pizza" else 0.65
    base = best_rule(found, everything)
    holds = [
        Hold(f"(a) {where}: ours of the best rule of thumb", found[OURS].total() / base, limit)
    ]
    print(f"bound of the best rule of thumb: {found[BOUND].total() / base:.3f}")
    for kind, rows in study.rows().items():
        ratio = found[OURS].total(rows) / found[LOT].total(rows)
        holds.append(Hold(f"(d) {where}, {kind}: ours of textbook normal + lot", ratio, 1.0))
    return holds


def study_equal_fill(study: Study, paths: int) -> list[Hold]:
    """(b): smooth items, every rule tuned to the fill rate ours has."""
    rows = np.flatnonzero(study.classes == "smooth")
    ours = walk(study.past, Planned(OURS, paths=paths))
    fill, cost = ours.fill_rate(rows), ours.total(rows)
    at = {
        name: at_fill(found, fill, rows)
        for name, found in tuning(study, [*rules(), *textbook()]).items()
    }
    told = ", ".join(f"{name} {value / 100:.0f}" for name, value in at.items())
    foreseen = [
        walk(study.past, Planned(NEED, foresee_need=True, short_factor=factor, paths=paths))
        for factor in (0.25, 0.6, 1.5)
    ]
    known = at_fill(foreseen, fill, rows)
    print(f"\nequal fill {fill:.4f}, {study.name}, smooth: ours {cost / 100:.0f}; {told}")
    name = f"(b) {study.name}, smooth, equal fill: ours of"
    thumb = min(at[rule.name] for rule in rules())
    return [
        Hold(f"{name} the best tuned rule of thumb", cost / thumb, 0.97),
        Hold(f"{name} the best tuned rule, the textbook's too", cost / min(at.values()), 0.97),
        Hold(f"{name} ours with need foreseen", cost / known, 1.03),
    ]


def study_own_least(study: Study, paths: int) -> list[Hold]:
    """(c): each at its own least cost in hindsight, weeks above 6 means cut."""
    found = tuning(study, [*rules(), *textbook()])
    found[OURS] = [
        walk(study.past, Planned(OURS, short_factor=factor, paths=paths))
        for factor in SHORT_FACTORS
    ]
    holds = []
    for kind in ("lumpy", "erratic"):
        rows = np.flatnonzero(study.classes == kind)
        least = {name: min(one.total(rows) for one in many) for name, many in found.items()}
        told = ", ".join(f"{name} {value / 100:.0f}" for name, value in least.items())
        shares = [f"{one.total(rows) / 100:.0f}" for one in found[OURS]]
        at = ", ".join(f"{f:g}: {cost}" for f, cost in zip(SHORT_FACTORS, shares, strict=True))
        print(f"\nown least cost, {study.name}, {kind}: {told}")
        print(f"  ours told so much of the true shortage cost: {at}")
        thumb = min(least[rule.name] for rule in rules())
        line = f"(c) {study.name}, {kind}: ours of"
        holds.append(Hold(f"{line} the best tuned rule of thumb", least[OURS] / thumb, 0.85))
        book = min(least[rule.name] for rule in textbook())
        holds.append(Hold(f"{line} the tuned textbook", least[OURS] / book, 0.85))
        untuned = found[OURS][SHORT_FACTORS.index(1.0)].total(rows)
        holds.append(Hold(f"{line} the tuned textbook, ours untuned", untuned / book, 1.0))
    return holds


def study_fill(study: Study, paths: int) -> list[Hold]:
    """(e): how far the fill rate reached is from a stated one of .97."""
    reached = walk(study.past, Planned("fill .97", fill_rate=0.97, paths=paths)).fill_rate()
    limit = {"pizza": 0.01, "yaz": 0.02}[study.name]
    print(f"\nfill rate stated .970, {study.name}: {reached:.4f}")
    return [Hold(f"(e) {study.name}: off a stated fill rate", abs(reached - 0.97), limit)]


def main(words: Sequence[str] | None = None) -> None:
    """Run the sets named, print as they come."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="*", default=list(SETS), metavar="SET")
    parser.add_argument("--paths", type=int, default=1000)
    parser.add_argument("--every", type=int, default=12, help="every so many retail series")
    asked = parser.parse_args(words)
    began = time.process_time()
    holds: list[Hold] = []
    for name in asked.sets:
        study = SETS[name](asked.every)
        if name == "spikes":
            holds += study_own_least(study.valued(1000.0), asked.paths)
            continue
        for value in (1000.0, 100.0):
            foreseen = value == 1000.0
            holds += study_set(study.valued(value), asked.paths, value, foreseen)
        if name != "retail":
            holds += study_equal_fill(study.valued(1000.0), asked.paths)
            holds += study_fill(study.valued(1000.0), asked.paths)
    print()
    for hold in holds:
        print(hold)
    print(f"{time.process_time() - began:.0f} s of processor time, {asked.paths} paths")


if __name__ == "__main__":
    main()

"""One row of the benchmark table: our work against a named opponent, timed in the same run.

Each side is run ``repeats`` times, alternating, so that a busy machine slows both; the ratio is
taken of the minima, the medians stand beside it.
"""

from __future__ import annotations

import json
import resource
import statistics
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Ratio:
    """What was measured: seconds (min, median) of both sides, the ratio, and what it must hold."""

    work: str
    opponent: str
    ours: tuple[float, float]
    theirs: tuple[float, float]
    hold: float
    scaling: str = ""
    note: str = ""

    @property
    def ratio(self) -> float:
        """Our minimum over theirs."""
        return self.ours[0] / self.theirs[0]

    @property
    def holds(self) -> bool:
        """Whether the ratio is within what it must hold."""
        return self.ratio <= self.hold


def from_json(line: str) -> Ratio:
    """A row written as JSON by another process."""
    told = json.loads(line)
    return Ratio(**{**told, "ours": tuple(told["ours"]), "theirs": tuple(told["theirs"])})


def seconds(work: Callable[[], object]) -> float:
    """Wall time of one call."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def compare(
    work: str,
    opponent: str,
    ours: Callable[[], object],
    theirs: Callable[[], object],
    hold: float,
    *,
    repeats: int = 5,
    scaling: str = "",
    note: str = "",
) -> Ratio:
    """Time both sides in turn."""
    mine: list[float] = []
    other: list[float] = []
    for _ in range(repeats):
        other.append(seconds(theirs))
        mine.append(seconds(ours))
    return Ratio(
        work,
        opponent,
        (min(mine), statistics.median(mine)),
        (min(other), statistics.median(other)),
        hold,
        scaling,
        note,
    )


def peak_mib() -> float:
    """Peak resident memory of this process so far, MiB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def table(rows: Iterable[Ratio]) -> str:
    """The rows as aligned text."""
    head = (
        "work",
        "opponent",
        "ours min/med s",
        "theirs min/med s",
        "ratio",
        "hold",
        "",
        "scaling",
    )
    lines = [head]
    for row in rows:
        lines.append(
            (
                row.work,
                row.opponent,
                f"{row.ours[0]:.4f}/{row.ours[1]:.4f}",
                f"{row.theirs[0]:.4f}/{row.theirs[1]:.4f}",
                f"{row.ratio:.2f}",
                f"{row.hold:.2f}",
                "holds" if row.holds else "DOES NOT HOLD",
                " ".join(filter(None, (row.scaling, row.note))),
            )
        )
    widths = [max(len(line[n]) for line in lines) for n in range(len(head))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    )

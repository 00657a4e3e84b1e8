"""Intervals of use: what a channel drank between two looks, beside what it printed meanwhile.

Volumes are mL, areas cm² of full tone, days calendar days. Where the numbers come from (scale,
counter, job log) is told only by ``source``; nothing here reads a book.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

Source = Literal["load", "swap", "weigh", "dip", "counter", "jobink"]


@dataclass(frozen=True, slots=True)
class Use:
    """What a channel did: the quantities its rates multiply.

    Args:
        covered_cm2: Full-tone area by print mode.
        prints: Garments printed with this channel.
        starts: Start-ups.
        days: Calendar days.
    """

    covered_cm2: Mapping[str, float] = field(default_factory=dict)
    prints: float = 0.0
    starts: float = 0.0
    days: float = 0.0


@dataclass(frozen=True, slots=True)
class Interval:
    """One interval of use of one channel of one printer.

    Args:
        printer, channel: Whose ink.
        source: Kind of look that ended the interval: ``swap`` (came out empty), ``weigh``,
            ``dip``, ``counter``, ``jobink`` (one job by the printer's own log).
        start, end: First and last day.
        used_ml, used_sd_ml: Ink gone in between and how well that is known.
        covered_cm2, prints, starts, days: As in :class:`Use`.
    """

    printer: str
    channel: str
    source: str
    start: date
    end: date
    used_ml: float
    used_sd_ml: float
    covered_cm2: Mapping[str, float] = field(default_factory=dict)
    prints: float = 0.0
    starts: float = 0.0
    days: float = 0.0

    @property
    def use(self) -> Use:
        """What was done in the interval."""
        return Use(self.covered_cm2, self.prints, self.starts, self.days)

    def __str__(self) -> str:
        """As named in reports.

        >>> str(Interval("P1", "W", "weigh", date(2025, 3, 3), date(2025, 3, 10), 41.5, 2.0))
        'P1 W 2025-03-03 to 2025-03-10 (weigh), 41.5 mL'
        """
        return (
            f"{self.printer} {self.channel} {self.start} to {self.end} "
            f"({self.source}), {self.used_ml:.1f} mL"
        )

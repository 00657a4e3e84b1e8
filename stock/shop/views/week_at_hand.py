"""The week's plan, made once and shared by all screens until the book, the day or the settings
change.

Planning takes seconds; Today, Reorder, Expiry and Orders all look at the same plan. Whoever asks
while it is being made waits for that one. Nothing here writes.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from stock.book.opening import Book
from stock.shop.settings import Settings, load_settings
from stock.shop.views.mark import Mark, book_mark

if TYPE_CHECKING:
    from stock.plan.clear_to_print import Clearance
    from stock.plan.decisions import Decisions, ExpiringLot
    from stock.plan.snapshot import Snapshot


@dataclass(eq=False)
class Week:
    """One snapshot and what was planned from it; the rest is worked out when first asked for."""

    mark: Mark
    settings: Settings
    snapshot: Snapshot
    _weekly: Decisions | None = None
    _expiring: dict[int, tuple[ExpiringLot, ...]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def weekly(self) -> Decisions:
        """The list."""
        from stock.shop.planning import list_from

        with self._lock:
            if self._weekly is None:
                self._weekly = list_from(self.snapshot)
            return self._weekly

    def expiring(self, within_days: int) -> tuple[ExpiringLot, ...]:
        """The shop's lots that reach their date within so many days."""
        from stock.plan.expiry import expiring
        from stock.shop.planning import own_lots

        with self._lock:
            if within_days not in self._expiring:
                self._expiring[within_days] = own_lots(expiring(self.snapshot, within_days))
            return self._expiring[within_days]


class WeekAtHand:
    """Keeps the last week planned."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: Week | None = None
        self._clear: tuple[Week, int, Clearance] | None = None

    def of(self, book: Book, day: date) -> Week:
        """The week of ``day`` as the book stands now."""
        from stock.shop.planning import snapshot_of

        with self._lock:
            mark, settings = book_mark(book), load_settings()
            kept = self._kept
            fresh = kept is not None and (kept.mark, kept.snapshot.day) == (mark, day)
            if kept is None or not fresh or kept.settings != settings:
                kept = self._kept = Week(mark, settings, snapshot_of(book, day))
            return kept

    def clearance(self, book: Book, day: date, days: int) -> Clearance:
        """Which jobs of the next days can be printed, as the book stands now."""
        from stock.shop.clearing import clear_jobs

        week = self.of(book, day)
        with week._lock:
            kept = self._clear
            if kept is None or kept[0] is not week or kept[1] != days:
                kept = self._clear = (week, days, clear_jobs(book, day, days))
            return kept[2]

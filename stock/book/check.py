"""``stock check``: everything the book must be, asked again from its rows.

Reads in one transaction and changes nothing. The rules stand in ``check_frame`` (file, triggers,
constraints), ``check_sums`` (amounts), ``check_story`` (undos, containers, days) and
``check_terms`` (packs and suppliers).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, func, select

from stock.book import check_frame, check_story, check_sums, check_terms
from stock.book.finding import Finding
from stock.book.opening import Book
from stock.book.tables import entry, movement

RULES: Final[tuple[Callable[[Connection], Iterator[Finding]], ...]] = (
    check_frame.file_sound,
    check_frame.append_only,
    check_frame.orphans,
    check_frame.constraints,
    check_sums.balances,
    check_sums.never_below_nothing,
    check_sums.deliveries,
    check_sums.measurements,
    check_story.same_item,
    check_story.reversals,
    check_story.containers,
    check_story.expiries,
    check_story.mixes,
    check_story.prints,
    check_story.dates,
    check_terms.order_days,
    check_terms.price_breaks,
)


@dataclass(frozen=True, slots=True)
class Checked:
    """What was looked at and what was found."""

    book: str
    entries: int
    movements: int
    findings: tuple[Finding, ...]

    @property
    def sound(self) -> bool:
        """Whether nothing is damaged (dates that cannot be may still deserve a look)."""
        return not any(finding.damage for finding in self.findings)

    def to_json(self) -> dict[str, Any]:
        """Counts and findings."""
        return {
            "book": self.book,
            "entries": self.entries,
            "movements": self.movements,
            "sound": self.sound,
            "findings": [finding.to_json() for finding in self.findings],
        }


def findings_in(
    connection: Connection, report: Callable[[int, int], None] | None = None
) -> tuple[Finding, ...]:
    """Every rule's findings, as seen by one transaction."""
    found: list[Finding] = []
    for number, rule in enumerate(RULES):
        if report is not None:
            report(number, len(RULES))
        found.extend(rule(connection))
    return tuple(found)


def check_book(book: Book, report: Callable[[int, int], None] | None = None) -> Checked:
    """Ask every rule of ``book``; ``report(done, total)`` follows along.

    Raises:
        BookUnusable: The file is damaged so badly that it cannot be read at all.
    """
    with book.reading() as connection:
        found = findings_in(connection, report)
        entries = connection.scalar(select(func.count()).select_from(entry)) or 0
        movements = connection.scalar(select(func.count()).select_from(movement)) or 0
    return Checked(book.shown, entries, movements, found)

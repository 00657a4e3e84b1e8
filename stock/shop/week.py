"""The week's run: what to buy, what expires, what can be printed, what needs a person.

One snapshot, one plan. Money is minor units, amounts base units. Whether something needs
attention is said in sentences; without one the week is quiet.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from stock.book.opening import Book
from stock.plan.decisions import Decisions, ExpiringLot
from stock.plan.snapshot import OnOrder, SupplierTerms
from stock.shop.certificates import LotPapers, expiring_certificates

if TYPE_CHECKING:
    from stock.ink.weigh_next import Look
    from stock.plan.clear_to_print import Clearance
    from stock.shop.forecast_log import Record
    from stock.shop.scorecard import LateLine

WITHIN_DAYS = 90
CLEAR_DAYS = 7
SOON_DAYS = 30
"""A lot that leaves a rest within a month needs somebody now, not at some time."""


@dataclass(frozen=True, eq=False)
class Week:
    """What the run found. ``look`` is the measurement worth most to the list, if one is."""

    on: date
    decisions: Decisions
    expiring: tuple[ExpiringLot, ...]
    certificates: tuple[LotPapers, ...]
    coming: tuple[OnOrder, ...]
    suppliers: dict[str, SupplierTerms]
    clear: Clearance
    accuracy: Record
    attention: tuple[str, ...]
    look: Look | None = None

    def to_json(self) -> dict[str, Any]:
        """The parts by name."""
        return {
            "on": self.on.isoformat(),
            "attention": list(self.attention),
            "weigh_next": self.look.sentence() if self.look is not None else None,
            "reorder": self.decisions.to_json(),
            "expiring": [lot.to_json() for lot in self.expiring],
            "clear": self.clear.to_json(),
            "accuracy": self.accuracy.to_json(),
            "certificates": [one.to_json() for one in self.certificates],
            "coming": [
                {
                    "purchase": line.purchase,
                    "item": line.item,
                    "supplier": line.supplier,
                    "amount": line.amount,
                    "promised_on": line.promised_on.isoformat() if line.promised_on else None,
                }
                for line in self.coming
            ],
        }


def the_week(book: Book, day: date, *, within_days: int = WITHIN_DAYS) -> Week:
    """Plan once and look at everything a week asks for."""
    from stock.plan.expiry import expiring
    from stock.shop.calibrating import next_look
    from stock.shop.clearing import clear_jobs
    from stock.shop.forecast_log import accuracy_record
    from stock.shop.planning import list_from, own_lots, snapshot_of
    from stock.shop.scorecard import late_among

    snapshot = snapshot_of(book, day)
    decisions = list_from(snapshot)
    lots = own_lots(expiring(snapshot, within_days))
    papers = expiring_certificates(book, day, within_days=within_days)
    clear = clear_jobs(book, day, CLEAR_DAYS)
    accuracy = accuracy_record(book, day)
    sent = [line for line in snapshot.on_order if line.sent]
    late = late_among(sent, snapshot.suppliers, day)
    said = _attention(day, decisions, lots, papers, late)
    return Week(
        day,
        decisions,
        lots,
        papers,
        snapshot.on_order,
        {supplier.code: supplier for supplier in snapshot.suppliers},
        clear,
        accuracy,
        (*said, *_of_jobs(clear), *_of_forecasts(accuracy)),
        next_look(book, day, snapshot),
    )


def _attention(
    day: date,
    decisions: Decisions,
    lots: tuple[ExpiringLot, ...],
    papers: tuple[LotPapers, ...],
    overdue: tuple[LateLine, ...],
) -> list[str]:
    said: list[str] = []
    if decisions.lines:
        first = min(line.order_by for line in decisions.lines)
        who = len(decisions.totals)
        said.append(
            f"{_many(len(decisions.lines), 'line')} to order from {_many(who, 'supplier')}, "
            f"the first by {first}."
        )
    late = [line for line in decisions.lines if line.order_by < day]
    if late:
        said.append(f"Too late to keep the promised service: {_named(line.item for line in late)}.")
    soon = [lot for lot in lots if lot.days <= SOON_DAYS and (lot.days < 0 or lot.left_mean > 0)]
    if soon:
        past = sum(lot.days < 0 for lot in soon)
        said.append(
            f"{_many(len(soon), 'lot')} will leave a rest within {SOON_DAYS} days"
            + (f", {past} of them past the date already." if past else ".")
        )
    gone = [one for one in papers if one.days is not None and one.days < 0]
    if gone:
        said.append(f"Certificate expired: {_named(f'{one.item} {one.lot}' for one in gone)}.")
    promised = dict.fromkeys(line.purchase for line in overdue if line.promised_on)
    if promised:
        said.append(f"Promised and not here: {_named(promised)}.")
    usual = dict.fromkeys(line.purchase for line in overdue if not line.promised_on)
    if usual:
        said.append(f"Longer under way than its supplier usually takes: {_named(usual)}.")
    return said


def _of_jobs(clear: Clearance) -> list[str]:
    said = []
    for verdict, words in (("short", "cannot be printed"), ("at risk", "may run short")):
        jobs = [f"{job.order}/{job.line}" for job in clear.jobs if job.verdict == verdict]
        if jobs:
            many = _many(len(jobs), "job")
            said.append(f"{many} of the next {clear.days} days {words}: {_named(jobs)}.")
    return said


def _of_forecasts(accuracy: Record) -> list[str]:
    reasons = (reason for found in accuracy.drifts.values() for reason in found.reasons)
    return list(dict.fromkeys(reasons)) if accuracy.drifting else []


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _named(names: Any, most: int = 5) -> str:
    shown = list(names)
    more = f" and {len(shown) - most} more" if len(shown) > most else ""
    return ", ".join(shown[:most]) + more


def next_runs(day: date, weekday: int, weeks: int = 4) -> list[date]:
    """The days of the next runs after ``day``; ``weekday`` Monday 0."""
    first = day + timedelta(days=(weekday - day.weekday() - 1) % 7 + 1)
    return [first + timedelta(weeks=week) for week in range(weeks)]

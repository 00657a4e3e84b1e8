"""The weekly list and the expiring lots: a snapshot of the book handed to the planner."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from stock.book.opening import Book
from stock.plan.decisions import Decisions, ExpiringLot
from stock.plan.snapshot import PlanSettings, Snapshot
from stock.shop.snapshot import take_snapshot


def plan_settings(book: Book) -> PlanSettings:
    """The shop's choices for planning."""
    return PlanSettings()


def snapshot_of(book: Book, day: date) -> Snapshot:
    """The book as the planner sees it on ``day``."""
    return take_snapshot(book, day, plan_settings(book))


def reorder_list(book: Book, day: date, *, supplier: str = "") -> Decisions:
    """What to buy on ``day``; only one supplier's lines when one is named."""
    from stock.plan.decide import plan

    decisions = plan(snapshot_of(book, day))
    if not supplier:
        return decisions
    return replace(
        decisions,
        lines=tuple(line for line in decisions.lines if line.supplier == supplier),
        totals=tuple(total for total in decisions.totals if total.supplier == supplier),
    )


def expiring_lots(book: Book, day: date, *, within_days: int = 90) -> tuple[ExpiringLot, ...]:
    """Lots whose last day of use lies within ``within_days`` of ``day``, soonest first."""
    from stock.plan.expiry import expiring

    return expiring(snapshot_of(book, day), within_days)

"""The book as the planner sees it: one frozen snapshot, read in one transaction."""

from __future__ import annotations

from datetime import date

from stock.book.opening import Book
from stock.plan.snapshot import PlanSettings, Snapshot
from stock.shop.estimating import Estimator
from stock.shop.snapshot.demand import history_of, misprints_of, order_lines_of, past_lines_of
from stock.shop.snapshot.machines import Machines, links_of, upkeep_of
from stock.shop.snapshot.supply import items_of, offers_of, on_order_of, stock_of, suppliers_of

__all__ = ["take_snapshot"]


def take_snapshot(book: Book, day: date, settings: PlanSettings) -> Snapshot:
    """Everything the planner may know about ``book`` on ``day``."""
    with book.reading() as connection:
        estimator = Estimator(connection)
        machines = Machines(connection, estimator, day)
        history = history_of(connection, day)
        return Snapshot(
            day=day,
            items=items_of(connection, day),
            stock=stock_of(connection, machines),
            on_order=on_order_of(connection),
            offers=offers_of(connection),
            suppliers=suppliers_of(connection, day, settings.horizon_weeks),
            order_lines=order_lines_of(connection, estimator, machines, day),
            past_lines=past_lines_of(connection, estimator, machines, day),
            misprints=misprints_of(connection),
            history=history,
            links=links_of(machines, history),
            upkeep=upkeep_of(machines),
            settings=settings,
        )

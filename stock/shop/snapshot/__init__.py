"""The book as the planner sees it: one frozen snapshot, read in one transaction."""

from __future__ import annotations

from datetime import date

from stock.book.opening import Book
from stock.plan.snapshot import PlanSettings, Snapshot
from stock.shop.estimating import Estimator
from stock.shop.recipes import recipes_of
from stock.shop.snapshot.buying import (
    newest_purchase_line,
    offers_of,
    on_order_of,
    suppliers_of,
)
from stock.shop.snapshot.demand import history_of, misprints_of
from stock.shop.snapshot.holdings import stock_of
from stock.shop.snapshot.items import USUAL_TARGETS, Targets, items_of
from stock.shop.snapshot.known_on import last_runs
from stock.shop.snapshot.machines import Machines, links_of, upkeep_of
from stock.shop.snapshot.orders import Orders

__all__ = ["Targets", "take_snapshot"]


def take_snapshot(
    book: Book,
    day: date,
    settings: PlanSettings,
    *,
    targets: Targets = USUAL_TARGETS,
    hour: int = 0,
) -> Snapshot:
    """Everything the planner may know about ``book`` at the end of ``day``.

    What was posted for later days does not count, so that a past day is seen as it was; terms of
    items, packs and suppliers are today's.

    Args:
        targets: Service and waste risk of items that state none.
        hour: Hour at which orders made from the plan go out.
    """
    with book.reading() as connection:
        estimator = Estimator(connection)
        machines = Machines(connection, estimator, day)
        recipes = recipes_of(connection)
        last_run = last_runs(connection)
        history = history_of(connection, day, last_run)
        orders = Orders(connection, estimator, machines, recipes, day, last_run)
        return Snapshot(
            day=day,
            items=items_of(connection, day, recipes, targets),
            stock=stock_of(connection, machines, recipes),
            on_order=on_order_of(connection, day),
            offers=offers_of(connection),
            suppliers=suppliers_of(connection, day, settings.horizon_weeks),
            order_lines=orders.still_open(),
            past_lines=orders.past(),
            misprints=misprints_of(connection, day),
            history=history,
            links=links_of(machines, history, recipes),
            upkeep=upkeep_of(machines, len(settings.weekdays)),
            settings=settings,
            hour=hour,
            newest_purchase_line=newest_purchase_line(connection),
        )

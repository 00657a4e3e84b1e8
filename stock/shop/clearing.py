"""Clear to print, from the book: the jobs of the next days, customers' garments looked for too."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import date

from sqlalchemy import func, select

from stock.book.opening import Book
from stock.book.tables import balance, customer_order, item, lot, order_line, place
from stock.errors import WrongUsage
from stock.plan.clear_to_print import Clearance, Job, Lack, clear_to_print
from stock.shop.planning import snapshot_of

MOST_DAYS = 60


def clear_jobs(book: Book, day: date, days: int = 5) -> Clearance:
    """Verdict for every firm job planned within ``days`` days, today the first.

    A customer's own garments are not the planner's stock: whether they are here is looked up per
    customer and garment, first job first.

    Raises:
        WrongUsage: Fewer than 1 or more than 60 days.
    """
    if not 1 <= days <= MOST_DAYS:
        raise WrongUsage(f"--days {days}: 1 to {MOST_DAYS} days can be looked at.")
    found = clear_to_print(snapshot_of(book, day), days)
    owned = _customer_lines(book, found)
    if not owned:
        return found
    here = _customer_stock(book)
    jobs: list[Job] = []
    for job in found.jobs:
        line = owned.get((job.order, job.line))
        if line is None:
            jobs.append(job)
            continue
        sku, owner = line
        left = here[owner, sku]
        here[owner, sku] = max(left - job.pieces, 0.0)
        if left >= job.pieces:
            jobs.append(job)
            continue
        lack = Lack(sku, "each", job.pieces, left, 1.0)
        said = f"{owner}'s own {sku}: {left:g} of {job.pieces:g} have been received."
        jobs.append(
            replace(
                job,
                verdict="short",
                chance=0.0,
                lacks=(lack, *job.lacks),
                notes=(*job.notes, said),
            )
        )
    return replace(found, jobs=tuple(jobs))


def _customer_lines(book: Book, found: Clearance) -> dict[tuple[str, int], tuple[str, str]]:
    """(garment, customer) of those jobs whose garments the customer brings."""
    wanted = {(job.order, job.line) for job in found.jobs}
    if not wanted:
        return {}
    with book.reading() as connection:
        rows = connection.execute(
            select(customer_order.c.ref, order_line.c.line, item.c.sku, order_line.c.owner)
            .join(customer_order, customer_order.c.id == order_line.c.order_id)
            .join(item, item.c.id == order_line.c.blank_id)
            .where(order_line.c.owner != "")
        ).all()
    return {(ref, n): (sku, owner) for ref, n, sku, owner in rows if (ref, n) in wanted}


def _customer_stock(book: Book) -> dict[tuple[str, str], float]:
    """Garments of customers on the shelves, by customer and garment."""
    with book.reading() as connection:
        rows = connection.execute(
            select(lot.c.owner, item.c.sku, func.sum(balance.c.amount))
            .join(lot, lot.c.id == balance.c.lot_id)
            .join(item, item.c.id == balance.c.item_id)
            .join(place, place.c.id == balance.c.place_id)
            .where(lot.c.owner != "", place.c.kind == "shelf")
            .group_by(lot.c.owner, item.c.sku)
        ).all()
    found: dict[tuple[str, str], float] = defaultdict(float)
    found.update({(owner, sku): float(amount) / 1000 for owner, sku, amount in rows})
    return found

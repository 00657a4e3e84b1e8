"""Clear to print, from the book: the jobs of the next days, customers' garments looked for too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import func, select

from stock.book.opening import Book
from stock.book.tables import balance, customer_order, item, lot, order_line, place
from stock.demand.known import OrderLine
from stock.errors import WrongUsage
from stock.plan.clear_to_print import Clearance, Job, Lack, clear_to_print, jobs_of
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
    snapshot = snapshot_of(book, day)
    missing = _missing_garments(book, jobs_of(snapshot.order_lines, day, days))
    found = clear_to_print(snapshot, days, absent=missing)
    jobs = tuple(_short_of_own(job, missing.get((job.order, job.line))) for job in found.jobs)
    return replace(found, jobs=jobs)


@dataclass(frozen=True, slots=True)
class _Missing:
    """A customer's garments that have not all come: how many are left for the job."""

    owner: str
    sku: str
    left: float


def _short_of_own(job: Job, missing: _Missing | None) -> Job:
    """The job, short where its customer's garments are not here."""
    if missing is None:
        return job
    lack = Lack(missing.sku, "each", job.pieces, missing.left, 1.0)
    said = (
        f"{missing.owner}'s own {missing.sku}: {missing.left:g} of {job.pieces:g} have been "
        "received."
    )
    return replace(
        job, verdict="short", chance=0.0, lacks=(lack, *job.lacks), notes=(*job.notes, said)
    )


def _missing_garments(book: Book, lines: Sequence[OrderLine]) -> dict[tuple[str, int], _Missing]:
    """Of jobs in turn, those whose customer's garments do not suffice; the first take first."""
    owned = _customer_lines(book)
    here = _customer_stock(book) if owned else {}
    missing = {}
    for line in lines:
        known = owned.get((line.order, line.line))
        if known is None:
            continue
        left = here.get(known, 0.0)
        here[known] = max(left - line.pieces, 0.0)
        if left < line.pieces:
            missing[line.order, line.line] = _Missing(*known, left)
    return missing


def _customer_lines(book: Book) -> dict[tuple[str, int], tuple[str, str]]:
    """(customer, garment) of the open lines whose garments the customer brings."""
    with book.reading() as connection:
        rows = connection.execute(
            select(customer_order.c.ref, order_line.c.line, order_line.c.owner, item.c.sku)
            .join(customer_order, customer_order.c.id == order_line.c.order_id)
            .join(item, item.c.id == order_line.c.blank_id)
            .where(order_line.c.owner != "")
        ).all()
    return {(ref, n): (owner, sku) for ref, n, owner, sku in rows}


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
    return {(owner, sku): float(amount) / 1000 for owner, sku, amount in rows}

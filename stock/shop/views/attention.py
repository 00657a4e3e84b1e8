"""What needs a person now: late deliveries, dry slots, overruns, dates, the list itself."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import func, select

from stock.book.opening import Book
from stock.book.tables import (
    customer_order,
    entry,
    item,
    order_line,
    overrun,
    place,
    purchase_order,
    rate,
    reading,
    supplier,
)
from stock.shop.views.stockroom import slots_now

LOW_SHARE = 0.15
"""A slot this empty is worth a look before the next long job: judgement, no source."""

RECENT_DAYS = 7


@dataclass(frozen=True, slots=True)
class Attention:
    """One thing: its kind, a sentence, and the screen where it is done."""

    kind: str
    text: str
    where: str
    where_name: str


def from_book(book: Book, day: date) -> list[Attention]:
    """What plain reading tells at once."""
    found: list[Attention] = []
    with book.reading() as connection:
        late = connection.execute(
            select(purchase_order.c.ref, supplier.c.code, purchase_order.c.promised_on)
            .join(supplier, supplier.c.id == purchase_order.c.supplier_id)
            .where(
                purchase_order.c.state.in_(("sent", "part received")),
                purchase_order.c.promised_on < day,
            )
            .order_by(purchase_order.c.promised_on)
        )
        for row in late:
            days = (day - row.promised_on).days
            found.append(
                Attention(
                    "late",
                    f"{row.ref} from {row.code} was promised for {row.promised_on}, "
                    f"{days} days ago.",
                    "receive",
                    "2 Receive",
                )
            )
        undone = select(entry.c.reverses).where(entry.c.reverses.is_not(None))
        over = connection.execute(
            select(place.c.code, item.c.sku, func.max(entry.c.day))
            .join(overrun, overrun.c.place_id == place.c.id)
            .join(item, item.c.id == overrun.c.item_id)
            .join(entry, entry.c.id == overrun.c.entry_id)
            .where(entry.c.day >= day - timedelta(days=RECENT_DAYS), entry.c.id.not_in(undone))
            .group_by(place.c.code, item.c.sku)
            .order_by(place.c.code)
        )
        for where, sku, when in over:
            found.append(
                Attention(
                    "check",
                    f"{sku} at {where} gave less than was asked on {when}: weigh or count it.",
                    "shelf",
                    "4 Shelf",
                )
            )
        behind = connection.execute(
            select(customer_order.c.ref, func.min(order_line.c.due_on))
            .join(order_line, order_line.c.order_id == customer_order.c.id)
            .where(customer_order.c.stage.in_(("confirmed", "released")), order_line.c.due_on < day)
            .group_by(customer_order.c.ref)
            .order_by(func.min(order_line.c.due_on))
            .limit(20)
        )
        for ref, due in behind:
            found.append(Attention("due", f"Order {ref} was due on {due}.", "press", "3 Press log"))
        calibrated = connection.scalar(select(func.count()).where(rate.c.calibrated.is_(True)))
        readings = connection.scalar(select(func.count()).select_from(reading))
        if not calibrated:
            found.append(
                Attention(
                    "rates",
                    "Ink rates are priors, not yet calibrated: weigh cartridges, or import the "
                    f"printer's job log, then stock calibrate ({readings or 0} readings so far).",
                    "shelf",
                    "4 Shelf",
                )
            )
    for slot in slots_now(book):
        if slot.level and slot.share < LOW_SHARE:
            found.append(
                Attention(
                    "low",
                    f"Slot {slot.slot} ({slot.item}) is at {slot.share:.0%}.",
                    "shelf",
                    "4 Shelf",
                )
            )
        if slot.effective_expiry is not None and slot.effective_expiry < day:
            found.append(
                Attention(
                    "date",
                    f"Slot {slot.slot} ({slot.item}) is past its date {slot.effective_expiry}: "
                    "test before a paid job.",
                    "expiry",
                    "7 Expiry",
                )
            )
    return found


def from_plan(book: Book, day: date) -> list[Attention]:
    """What the plan tells: lines to order today, lots that will leave a rest."""
    from stock.plan.decide import plan
    from stock.plan.expiry import expiring
    from stock.shop.planning import snapshot_of

    snapshot = snapshot_of(book, day)
    weekly = plan(snapshot)
    found: list[Attention] = []
    urgent = [line for line in weekly.lines if line.order_by <= day]
    if weekly.lines:
        names = ", ".join(line.item for line in urgent[:5])
        more = f", {len(urgent)} of them today: {names}" if urgent else ""
        found.append(
            Attention(
                "order",
                f"{len(weekly.lines)} lines on the week's list{more}.",
                "reorder",
                "6 Reorder",
            )
        )
    for lot in expiring(snapshot, 30):
        if lot.days >= 0 and lot.left_mean > 0.05 * lot.amount:
            left = f"{lot.left_mean:,.4g} {lot.unit}".replace(" each", "")
            found.append(
                Attention(
                    "date",
                    f"{lot.item} lot {lot.lot} at {lot.place}: {left} left on "
                    f"{lot.effective_expiry}.",
                    "expiry",
                    "7 Expiry",
                )
            )
    return found

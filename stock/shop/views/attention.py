"""What needs a person now: late deliveries, dry slots, overruns, dates, the list itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from stock.book.opening import Book
from stock.book.tables import (
    artwork,
    customer_order,
    entry,
    item,
    order_line,
    overrun,
    pack,
    place,
    printer,
    purchase_order,
    rate,
    reading,
    receipt,
    supplier,
)
from stock.shop.views.stockroom import SlotRow, slots_now

if TYPE_CHECKING:
    from stock.plan.clear_to_print import Clearance
    from stock.shop.views.week_at_hand import Week

LOW_SHARE = 0.15
"""A slot this empty is worth a look before the next long job: judgement, no source."""

RECENT_DAYS = 7
SOON_DAYS = 30
MOST_JOBS = 5
"""Jobs named one by one; of more there is one line, and the Orders screen shows them all."""


@dataclass(frozen=True, slots=True)
class Attention:
    """One thing: its kind, a sentence, and the screen where it is done.

    ``where`` is a screen, or ``screen:what`` with what is looked at there, ``import:kind`` or
    ``demo``.
    """

    kind: str
    text: str
    where: str
    where_name: str


FIRST_STEPS = (
    ("suppliers", supplier, "who sells to you"),
    ("items", item, "inks, pretreat, blanks, supplies"),
    ("packs", pack, "what is bought in which size, at which price"),
    ("printers", printer, "machines with their slots"),
    ("artworks", artwork, "what is printed"),
    ("orders", customer_order, "what is to be printed"),
    ("deliveries", receipt, "what is on the shelf"),
)

LOOK_AROUND = (
    "Or look around first in an invented shop: it is built in a folder of its own (some 20 "
    "seconds), this book stays as it is."
)


def first_steps(book: Book) -> list[Attention]:
    """What a young book still lacks, in the order in which it is taken in."""
    with book.reading() as connection:
        lacking = [
            (kind, meaning)
            for kind, table, meaning in FIRST_STEPS
            if connection.execute(select(table.c.id).limit(1)).first() is None
        ]
    found = [
        Attention(
            "start",
            f"No {kind} in the book yet ({meaning}): take in a file of them. "
            f"stock import --template {kind} shows what it looks like.",
            f"import:{kind}",
            "i Import",
        )
        for kind, meaning in lacking
    ]
    if len(lacking) == len(FIRST_STEPS):
        found.append(Attention("start", LOOK_AROUND, "demo", "Enter"))
    return found


def from_book(book: Book, day: date, slots: Sequence[SlotRow] | None = None) -> list[Attention]:
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
                    f"receive:{row.ref}",
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
                    f"shelf:{where}",
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
            found.append(
                Attention("due", f"Order {ref} was due on {due}.", f"press:{ref}", "3 Press log")
            )
        calibrated = connection.scalar(select(func.count()).where(rate.c.calibrated.is_(True)))
        readings = connection.scalar(select(func.count()).select_from(reading))
        if not calibrated and connection.scalar(select(func.count()).select_from(printer)):
            found.append(
                Attention(
                    "rates",
                    "Ink rates are priors, not yet calibrated: weigh cartridges, or import the "
                    f"printer's job log, then stock calibrate ({readings or 0} readings so far).",
                    "shelf",
                    "4 Shelf",
                )
            )
    for slot in slots_now(book) if slots is None else slots:
        if slot.level and slot.share < LOW_SHARE:
            found.append(
                Attention(
                    "low",
                    f"Slot {slot.slot} ({slot.item}) is at {slot.share:.0%}.",
                    f"shelf:{slot.slot}",
                    "4 Shelf",
                )
            )
        if slot.effective_expiry is not None and slot.effective_expiry < day:
            found.append(
                Attention(
                    "date",
                    f"Slot {slot.slot} ({slot.item}) is past its date {slot.effective_expiry}: "
                    "test before a paid job.",
                    f"shelf:{slot.slot}",
                    "4 Shelf",
                )
            )
    return found


def of_jobs(clear: Clearance) -> list[Attention]:
    """Jobs of the next days that cannot be printed, or may not, with what they lack."""
    last = clear.on + timedelta(days=RECENT_DAYS - 1)
    stuck = [job for job in clear.jobs if job.verdict in ("short", "at risk") and job.on <= last]
    found = []
    for job in stuck[:MOST_JOBS]:
        how = "cannot be printed" if job.verdict == "short" else "may run short"
        lacks = ", ".join(lack.item for lack in job.lacks[:3])
        found.append(
            Attention(
                "short",
                f"{job.order}/{job.line} for {job.on} {how}{f': {lacks}' if lacks else ''}.",
                f"orders:{job.order}/{job.line}",
                "5 Orders",
            )
        )
    if len(stuck) > MOST_JOBS:
        more = len(stuck) - MOST_JOBS
        many = "1 job more of this week is" if more == 1 else f"{more} jobs more of this week are"
        found.append(Attention("short", f"{many} short or at risk.", "orders", "5 Orders"))
    return found


def of_forecasts(book: Book, day: date) -> list[Attention]:
    """What the kept forecasts' record says when they drift."""
    from stock.shop.forecast_log import accuracy_record

    record = accuracy_record(book, day)
    reasons = dict.fromkeys(why for found in record.drifts.values() for why in found.reasons)
    return [Attention("drift", why, "reorder", "6 Reorder") for why in reasons]


def next_look_worth(book: Book, week: Week) -> list[Attention]:
    """The slot whose weighing could change the week's list most, if any could."""
    from stock.shop.calibrating import next_look

    look = next_look(book, week.snapshot.day, week.snapshot)
    if look is None:
        return []
    return [Attention("weigh", look.sentence(), f"shelf:{look.slot}", "4 Shelf")]


def _overdue(week: Week) -> list[Attention]:
    """Orders nobody gave a day for that are longer under way than their supplier usually takes."""
    from stock.shop.scorecard import late_among

    snapshot = week.snapshot
    waiting = [line for line in snapshot.on_order if line.sent and line.promised_on is None]
    found: dict[str, Attention] = {}
    for line in late_among(waiting, snapshot.suppliers, snapshot.day):
        text = (
            f"{line.purchase} from {line.supplier}, sent on {line.ordered_on}, is longer under way "
            f"than usual; now expected on {line.expected_on}."
        )
        where = Attention("late", text, f"receive:{line.purchase}", "2 Receive")
        found.setdefault(line.purchase, where)
    return list(found.values())


def of_week(week: Week) -> list[Attention]:
    """What the plan tells: lines to order today, lots that will leave a rest."""
    weekly = week.weekly
    found: list[Attention] = []
    urgent = [line for line in weekly.lines if line.order_by <= weekly.day]
    if weekly.lines:
        names = ", ".join(line.item for line in urgent[:5])
        more = f", {len(urgent)} of them today: {names}" if urgent else ""
        count = f"{len(weekly.lines)} lines" if len(weekly.lines) > 1 else "1 line"
        where = f"reorder:{urgent[0].item}" if urgent else "reorder"
        found.append(Attention("order", f"{count} on the week's list{more}.", where, "6 Reorder"))
    found += _overdue(week)
    for lot in week.expiring(SOON_DAYS):
        if lot.days >= 0 and lot.left_mean > 0.05 * lot.amount:
            left = f"{lot.left_mean:,.4g} {lot.unit}".replace(" each", "")
            found.append(
                Attention(
                    "date",
                    f"{lot.item} lot {lot.lot} at {lot.place}: {left} left on "
                    f"{lot.effective_expiry}.",
                    f"expiry:{lot.lot}",
                    "7 Expiry",
                )
            )
    return found

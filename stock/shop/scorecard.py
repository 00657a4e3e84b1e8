"""How suppliers have done: on time, in full, spread of lead times, price drift; what is late now.

Lead times are working days of the supplier; money ratios have no unit. A line is on time when its
last delivery came by the day it was promised for, or, without a promise, by the stated lead time;
in full when its first delivery brought all that was not cancelled. What is late is re-timed from
what the supplier has shown.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import Any

from sqlalchemy import Connection, select

from stock.book.opening import Book
from stock.book.tables import pack, purchase_line, purchase_order, supplier
from stock.plan.snapshot import OnOrder, SupplierTerms
from stock.shop.snapshot.buying import deliveries_of, on_order_of, suppliers_of

LEVELS = 400
LATE_LEVEL = 0.9
"""A line without a promise is late when nine in ten would have been here."""


@dataclass(frozen=True, slots=True)
class SupplierScore:
    """One supplier's record.

    Args:
        lines: Lines that came, wholly or in part.
        on_time, in_full: Shares of them; None without any.
        lead_days, lead_sd_days, lead_p90_days: What the plan believes, shown and stated together.
        stated_days: What the supplier states.
        price_drift: Median yearly change of what the same pack cost; None without two prices
            half a year apart.
        open_lines, late_lines: Sent lines still to come, and those of them that are late.
    """

    supplier: str
    name: str
    lines: int
    on_time: float | None
    in_full: float | None
    lead_days: float
    lead_sd_days: float
    lead_p90_days: float
    stated_days: float
    price_drift: float | None
    open_lines: int
    late_lines: int

    def to_json(self) -> dict[str, Any]:
        """Plain numbers; shares 0–1."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


@dataclass(frozen=True, slots=True)
class LateLine:
    """A line that is past its day, and when it is expected now (median, and nine in ten by)."""

    purchase: str
    item: str
    supplier: str
    amount: float
    ordered_on: date
    promised_on: date | None
    expected_on: date
    latest_on: date

    def to_json(self) -> dict[str, Any]:
        """Days as ISO dates."""
        found = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return {k: v.isoformat() if isinstance(v, date) else v for k, v in found.items()}


def scorecard(book: Book, day: date, *, supplier_code: str = "") -> tuple[SupplierScore, ...]:
    """Every supplier's record by ``day``, or one's.

    Raises:
        Unknown: No such supplier.
    """
    import numpy as np

    from stock.plan.lead_time import lead_time_of
    from stock.shop.finding import find

    with book.reading() as connection:
        if supplier_code:
            find(connection, supplier, supplier.c.code, supplier_code, "supplier")
        terms = suppliers_of(connection, day, 12)
        past = _past_lines(connection, day)
        drift = _price_drift(connection, day)
        coming = [line for line in on_order_of(connection, day) if line.sent]
        late = late_among(coming, terms, day)
    scores: list[SupplierScore] = []
    for one in terms:
        if supplier_code not in ("", one.code):
            continue
        lines = past.get(one.code, [])
        lead = lead_time_of(one, day)
        scores.append(
            SupplierScore(
                supplier=one.code,
                name=one.name,
                lines=len(lines),
                on_time=_share([_on_time(line, one) for line in lines]),
                in_full=_share([line.first_packs >= line.wanted for line in lines]),
                lead_days=round(lead.mean, 2),
                lead_sd_days=round(lead.sd, 2),
                lead_p90_days=float(lead.quantile(np.array([0.9]))[0]),
                stated_days=one.lead_days,
                price_drift=drift.get(one.code),
                open_lines=sum(line.supplier == one.code for line in coming),
                late_lines=sum(line.supplier == one.code for line in late),
            )
        )
    return tuple(scores)


def late_lines(book: Book, day: date) -> tuple[LateLine, ...]:
    """Sent lines that are past their day, soonest expected first."""
    with book.reading() as connection:
        coming = [line for line in on_order_of(connection, day) if line.sent]
        terms = suppliers_of(connection, day, 12)
    return late_among(coming, terms, day)


def late_among(
    coming: Sequence[OnOrder], terms: Sequence[SupplierTerms], day: date
) -> tuple[LateLine, ...]:
    """Which of these lines are late on ``day``, each with the days it is expected by now."""
    import numpy as np

    from stock.plan.lead_time import (
        Arrivals,
        due_offsets,
        lead_time_of,
        supplier_calendar,
        working_days_between,
    )
    from stock.plan.snapshot import PlanSettings

    by_code = {one.code: one for one in terms}
    levels = (np.arange(LEVELS) + 0.5) / LEVELS
    found: list[LateLine] = []
    for line in coming:
        one = by_code.get(line.supplier)
        if one is None:
            continue
        lead = lead_time_of(one, day)
        if line.promised_on is not None:
            late = line.promised_on < day
        else:
            waited = working_days_between(supplier_calendar(one), line.ordered_on, day)
            late = lead.share_within(waited - 1) >= LATE_LEVEL
        if not late:
            continue
        arrivals = Arrivals(one, PlanSettings(), day)
        offsets = np.sort(due_offsets(line, lead, arrivals, day, levels))
        found.append(
            LateLine(
                line.purchase,
                line.item,
                line.supplier,
                line.amount,
                line.ordered_on,
                line.promised_on,
                day + timedelta(days=int(offsets[LEVELS // 2])),
                day + timedelta(days=int(offsets[int(LEVELS * LATE_LEVEL)])),
            )
        )
    return tuple(sorted(found, key=lambda one: (one.expected_on, one.purchase, one.item)))


@dataclass(frozen=True, slots=True)
class _Past:
    ordered_on: date
    promised_on: date | None
    wanted: int
    first_packs: int
    last_on: date
    came: int


def _past_lines(connection: Connection, day: date) -> dict[str, list[_Past]]:
    come = deliveries_of(connection, day)
    rows = connection.execute(
        select(
            purchase_line,
            purchase_order.c.sent_on,
            purchase_order.c.created_on,
            purchase_order.c.promised_on.label("order_promised"),
            supplier.c.code,
        )
        .join(purchase_order, purchase_order.c.id == purchase_line.c.purchase_id)
        .join(supplier, supplier.c.id == purchase_order.c.supplier_id)
        .where(purchase_order.c.created_on <= day)
        .order_by(purchase_line.c.id)
    )
    found: dict[str, list[_Past]] = defaultdict(list)
    for row in rows:
        deliveries = list(come.get(row.id, ()))
        stated_on = row.stated_received_on
        if not deliveries and stated_on is not None and stated_on <= day:
            stated = row.packs if row.stated_received_packs is None else row.stated_received_packs
            deliveries = [(stated_on, stated)]
        if deliveries:
            first_day = deliveries[0][0]
            found[row.code].append(
                _Past(
                    row.sent_on or row.created_on,
                    row.promised_on or row.order_promised,
                    row.packs - row.cancelled_packs,
                    sum(packs for when, packs in deliveries if when == first_day),
                    deliveries[-1][0],
                    sum(packs for _, packs in deliveries),
                )
            )
    return found


def _on_time(line: _Past, one: SupplierTerms) -> bool:
    from stock.plan.lead_time import order_day, supplier_calendar, working_days_between

    if line.came < line.wanted:
        return False
    if line.promised_on is not None:
        return line.last_on <= line.promised_on
    try:
        taken = order_day(one, line.ordered_on)
    except ValueError:
        taken = line.ordered_on
    return working_days_between(supplier_calendar(one), taken, line.last_on) <= one.lead_days


def _share(flags: list[bool]) -> float | None:
    return round(sum(flags) / len(flags), 4) if flags else None


def _price_drift(connection: Connection, day: date) -> dict[str, float]:
    """Median over packs of the yearly change between their first and last price of two years."""
    rows = connection.execute(
        select(
            supplier.c.code,
            pack.c.id,
            purchase_order.c.created_on,
            purchase_line.c.price_minor,
        )
        .join(purchase_order, purchase_order.c.id == purchase_line.c.purchase_id)
        .join(pack, pack.c.id == purchase_line.c.pack_id)
        .join(supplier, supplier.c.id == purchase_order.c.supplier_id)
        .where(
            purchase_order.c.created_on > day - timedelta(days=731),
            purchase_order.c.created_on <= day,
            purchase_order.c.state != "cancelled",
            purchase_line.c.price_minor > 0,
        )
        .order_by(purchase_order.c.created_on, purchase_line.c.id)
    ).all()
    prices: dict[tuple[str, int], list[tuple[date, int]]] = defaultdict(list)
    for code, pack_id, when, price in rows:
        prices[code, pack_id].append((when, price))
    changes: dict[str, list[float]] = defaultdict(list)
    for (code, _), seen in prices.items():
        (first_on, first), (last_on, last) = seen[0], seen[-1]
        days = (last_on - first_on).days
        if days >= 180:
            changes[code].append((last / first) ** (365.25 / days) - 1)
    return {code: round(median(found), 4) for code, found in changes.items()}

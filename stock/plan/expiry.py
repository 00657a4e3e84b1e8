"""What expires soon, what will be left of it, and what can still be done.

Amounts are base units, values minor units, days calendar days. Advice names what helps; the
cautions defer to the safety data sheet and local rules. Nothing here orders or writes off.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from stock.demand.known import Floats, ItemTerms
from stock.plan.cover import Shelf, left_at_date, sort_out
from stock.plan.decisions import ExpiringLot
from stock.plan.findings import check_terms
from stock.plan.needs import DemandNeeds, Needs, course_of, horizon_for
from stock.plan.snapshot import Snapshot, StockLot

DISPOSAL = (
    "Dispose of ink, pretreat and flush by section 13 of the safety data sheet and the local "
    "rules; never down a drain unless they allow it; wear gloves and eye protection."
)
PAST_DATE = (
    "Past its date a lot is not known to be good: settled pigment clogs heads; the maker's data "
    "sheet decides."
)
SMALL_SHARE = 0.02
"""A rest below this share of a lot is not worth a measure (judgement)."""


def expiring(
    snapshot: Snapshot, within_days: int, needs: Needs | None = None
) -> tuple[ExpiringLot, ...]:
    """Lots whose effective date lies within ``within_days``, or is past, soonest first."""
    shelves = sort_out(snapshot.stock, snapshot.day)
    wanted = []
    for item in check_terms(snapshot).items:
        shelf = shelves.get(item.sku)
        if shelf is None:
            continue
        dated = [entry.last_day for entry in shelf.counted if entry.last_day is not None]
        past = any(reason.startswith("expired") for _, _, reason in shelf.left_out)
        if past or any(day <= within_days for day in dated):
            wanted.append(item)
    if not wanted:
        return ()
    source = needs or DemandNeeds(snapshot, horizon_for(snapshot, min(within_days, 180)))
    found: list[ExpiringLot] = []
    for start in range(0, len(wanted), 32):
        chunk = wanted[start : start + 32]
        course = course_of(source, [source.row(item.sku) for item in chunk])
        for row, item in enumerate(chunk):
            left = left_at_date(course, row, shelves[item.sku])
            found += lots_at_risk(snapshot, item, shelves[item.sku], left)
    near = [lot for lot in found if lot.days <= within_days]
    return tuple(sorted(near, key=lambda lot: (lot.effective_expiry, lot.item, lot.lot, lot.place)))


def lots_at_risk(
    snapshot: Snapshot, item: ItemTerms, shelf: Shelf, left: Floats
) -> list[ExpiringLot]:
    """Every lot of ``item`` that has a date or is past it.

    Args:
        left: Rest of each dated counted lot at its date, shape (lots, paths).
    """
    found = []
    dated = [entry for entry in shelf.counted if entry.last_day is not None]
    for place, entry in enumerate(dated):
        rest = left[place]
        share = entry.lot.value_minor / entry.lot.amount if entry.lot.amount > 0 else 0.0
        mean = float(rest.mean())
        assert entry.lot.effective_expiry is not None
        advice = _advice(snapshot, item, entry.lot, entry.amount, mean, dated[:place])
        found.append(
            ExpiringLot(
                item=item.sku,
                lot=entry.lot.lot,
                place=entry.lot.place,
                amount=entry.amount,
                unit=item.unit,
                sealed_expiry=entry.lot.sealed_expiry,
                effective_expiry=entry.lot.effective_expiry,
                days=(entry.lot.effective_expiry - snapshot.day).days,
                left_mean=mean,
                left_p90=float(np.quantile(rest, 0.9)),
                value_at_risk=mean * share,
                advice=advice,
                cautions=_cautions(item, mean, entry.amount),
                name=item.name,
            )
        )
    for lot, amount, reason in shelf.left_out:
        if reason.startswith("expired") and lot.effective_expiry is not None:
            found.append(_past(snapshot.day, item, lot, amount))
    return found


def _past(day: date, item: ItemTerms, lot: StockLot, amount: float) -> ExpiringLot:
    assert lot.effective_expiry is not None
    return ExpiringLot(
        item=item.sku,
        lot=lot.lot,
        place=lot.place,
        amount=amount,
        unit=item.unit,
        sealed_expiry=lot.sealed_expiry,
        effective_expiry=lot.effective_expiry,
        days=(lot.effective_expiry - day).days,
        left_mean=amount,
        left_p90=amount,
        value_at_risk=lot.value_minor,
        advice="Past its date: take it out of use, write it off or test it by the data sheet.",
        cautions=(PAST_DATE, *((DISPOSAL,) if item.kind != "blank" else ())),
        name=item.name,
    )


def _advice(
    snapshot: Snapshot,
    item: ItemTerms,
    lot: StockLot,
    amount: float,
    left: float,
    before: Sequence[object],
) -> str:
    if left <= SMALL_SHARE * amount:
        return "Use first." if not before else "Use after the lots that expire before it."
    used = amount - left
    days = (lot.effective_expiry - snapshot.day).days if lot.effective_expiry else 0
    other = sorted(
        {
            near.printer
            for near in snapshot.stock
            if near.item == item.sku and near.place_kind == "slot" and near.printer
        }
        - {lot.printer}
    )
    parts = []
    if lot.place_kind == "slot" and other:
        parts.append(f"Move it to the busier machine ({', '.join(other)})")
    elif lot.place_kind == "shelf" and used > 0:
        parts.append("Load or use it first, before any newer lot")
    if lot.place_kind == "shelf" and not lot.container and days > 14 and left > 0.5 * amount:
        parts.append("ask the supplier to take sealed packs back")
    parts.append("order no more of it until this is used")
    if used <= SMALL_SHARE * amount:
        parts.append("else plan to write it off at its date")
    sentence = "; ".join(parts)
    return sentence[0].upper() + sentence[1:] + "."


def _cautions(item: ItemTerms, left: float, amount: float) -> tuple[str, ...]:
    if left <= SMALL_SHARE * amount or item.kind == "blank":
        return ()
    return (DISPOSAL,)

"""Pick-up: what still comes in between now and the week it is due.

Of what is needed in a week, some is on the book today and some is not yet ordered. For each lead
(weeks until the week is due) the past says what still came in after that lead; that remainder is
added to what is on the book. Far ahead the plain forecast knows as much, so the two are blended
with weights learnt on past weeks. Amounts are in any one unit (pieces, mL); leads are weeks.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from stock.demand.known import Bools, Floats, PastOrderLine

MIN_WEEKS: Final = 8
"""Weeks with orders below which nothing is learnt."""
RECENT_WEEKS: Final = 26
"""Weeks over which the remainder is averaged."""
PRIOR_LEADS: Final = 8.0
"""Leads over which the trust in pick-up falls to 1/e before anything is learnt: a judgement."""
PRIOR_WEEKS: Final = 4.0
"""Past weeks that judgement counts for."""


@dataclass(frozen=True, eq=False)
class OrderBook:
    """How the book of each past week filled up.

    Args:
        first_day: First day of the oldest week.
        on_book: Amount due in the week and standing ``lead`` weeks before it began, shape
            (weeks, leads); lead 0 is the morning of its first day.
        to_come: Amount printed in the week that was placed later than that, same shape.
        final: Amount printed in the end, shape (weeks,).
        survived: Amount on the book at the lead that was printed in the end, same shape as
            ``on_book``; ``final`` = ``survived`` + ``to_come``.
    """

    first_day: date
    on_book: Floats
    to_come: Floats
    survived: Floats
    final: Floats


@dataclass(frozen=True, eq=False)
class Pickup:
    """What the shop's own orders say about what is still to come.

    Args:
        share_to_come: Share of a week's final amount not yet placed at lead 0, 1, …, shape
            (leads,).
        weight: Trust in pick-up against the plain forecast at each lead, 0 to 1.
        remainder: Mean amount still to come at each lead in recent weeks, shape (leads,).
        typical_order: Amount of one order, size-weighted.
        weeks: Weeks with orders learnt from.
        note: Why it cannot be used, or what it rests on; a sentence for the person.
    """

    share_to_come: Floats
    weight: Floats
    remainder: Floats
    typical_order: float
    weeks: int
    note: str

    @property
    def usable(self) -> bool:
        """Whether there was enough history to learn from."""
        return self.weeks >= MIN_WEEKS


def order_book(
    placed: Iterable[date],
    due: Iterable[date],
    amount: Iterable[float],
    printed: Iterable[bool],
    gone_on: Iterable[date | None],
    *,
    first_day: date,
    weeks: int,
    max_lead: int,
) -> OrderBook:
    """Replay the order book week by week.

    Args:
        placed, due: When each line was ordered, and for when.
        amount: Its amount.
        printed: Whether it was printed in the end.
        gone_on: Day a line not printed left the book; None: never known, so its due day.
        first_day: First day of the oldest week looked at.
        weeks: Number of weeks.
        max_lead: Largest lead.
    """
    base = np.datetime64(first_day, "D")
    placed_day = (np.array(list(placed), "datetime64[D]") - base).astype(int)
    due_list = list(due)
    due_day = (np.array(due_list, "datetime64[D]") - base).astype(int)
    amounts = np.array(list(amount), float)
    kept = np.array(list(printed), bool)
    gone = np.array(
        [d if g is None else g for g, d in zip(gone_on, due_list, strict=True)], "datetime64[D]"
    )
    gone_day = (gone - base).astype(int)
    week = due_day // 7
    inside = (week >= 0) & (week < weeks)
    on_book, survived, to_come = (np.zeros((weeks, max_lead + 1)) for _ in range(3))
    final = np.bincount(week[inside & kept], amounts[inside & kept], weeks).astype(float)
    for lead in range(max_lead + 1):
        looked_on = 7 * week - 7 * lead
        there = inside & (placed_day < looked_on) & (kept | (gone_day >= looked_on))
        later = inside & kept & (placed_day >= looked_on)
        on_book[:, lead] = np.bincount(week[there], amounts[there], weeks)
        stood = there & kept
        survived[:, lead] = np.bincount(week[stood], amounts[stood], weeks)
        to_come[:, lead] = np.bincount(week[later], amounts[later], weeks)
    return OrderBook(first_day, on_book, to_come, survived, final)


def learn_pickup(
    past_lines: Iterable[PastOrderLine], *, day: date, max_lead: int, one_off: bool = False
) -> Pickup:
    """Learn from past order lines, in pieces, how a week's book fills up.

    Weeks are the seven-day stretches that end the day before ``day``. Lost quotes never counted
    as orders; one-off jobs are left out unless asked for.
    """
    lines = [
        line
        for line in past_lines
        if line.outcome in ("printed", "cancelled")
        and line.due_on < day
        and (one_off or not line.one_off)
    ]
    if not lines:
        return no_pickup(max_lead, 0)
    printed = [line for line in lines if line.outcome == "printed"]
    due_weeks = {((day - line.due_on).days - 1) // 7 for line in printed}
    if len(due_weeks) < MIN_WEEKS:
        return no_pickup(max_lead, len(due_weeks))
    oldest = min(line.placed_on for line in lines)
    weeks = (day - oldest).days // 7
    book = order_book(
        [line.placed_on for line in lines],
        [line.due_on for line in lines],
        [line.pieces for line in lines],
        [line.outcome == "printed" for line in lines],
        [line.outcome_on for line in lines],
        first_day=day - timedelta(days=7 * weeks),
        weeks=weeks,
        max_lead=max_lead,
    )
    return pickup_of(book, [line.pieces for line in printed])


def no_pickup(max_lead: int, weeks: int) -> Pickup:
    """A pick-up that knows nothing and says so."""
    nothing = np.zeros(max_lead + 1)
    return Pickup(
        np.ones(max_lead + 1),
        nothing,
        nothing,
        1.0,
        weeks,
        f"{weeks} weeks of past orders; {MIN_WEEKS} are needed to learn what still comes in, "
        "so the plain forecast is used, less what is on the book",
    )


def pickup_of(book: OrderBook, sizes: Iterable[float]) -> Pickup:
    """Shares, weights and remainders from a replayed book."""
    weeks, leads = book.on_book.shape
    seen = seen_leads(weeks, leads)
    recent = seen & (np.arange(weeks) >= weeks - RECENT_WEEKS)[:, None]
    counts = np.maximum(recent.sum(axis=0), 1)
    remainder = np.where(recent, book.to_come, 0.0).sum(axis=0) / counts
    finals = np.where(recent, book.final[:, None], 0.0).sum(axis=0)
    share = np.divide(remainder * counts, finals, out=np.ones(leads), where=finals > 0)
    share = np.maximum.accumulate(np.clip(share, 0.0, 1.0))
    weight = blend_weights(book)
    drawn = np.array([size for size in sizes if size > 0])
    typical = float((drawn**2).sum() / drawn.sum()) if drawn.size else 1.0
    worked = int((book.final > 0).sum())
    return Pickup(
        share, weight, remainder, typical, worked, f"learnt from {worked} weeks of past orders"
    )


def seen_leads(weeks: int, leads: int) -> Bools:
    """Which (week, lead) pairs the record reaches back to: lead weeks before week t is ≥ 0."""
    return np.arange(weeks)[:, None] >= np.arange(leads)[None, :]


def blend_weights(book: OrderBook) -> Floats:
    """Weight of pick-up at each lead: least squares on past weeks, shrunk to a falling prior."""
    leads = book.on_book.shape[1]
    prior = np.exp(-np.arange(leads) / PRIOR_LEADS)
    weights = np.empty(leads)
    for lead in range(leads):
        by_pickup, by_plain, truth = past_forecasts(book, lead)
        gap = by_pickup - by_plain
        power = float((gap**2).sum())
        best = float((gap * (truth - by_plain)).sum()) / power if power > 0 else prior[lead]
        trust = len(truth) / (len(truth) + PRIOR_WEEKS)
        weights[lead] = np.clip(trust * best + (1 - trust) * prior[lead], 0.0, 1.0)
    return weights


def past_forecasts(book: OrderBook, lead: int, start: int = 4) -> tuple[Floats, Floats, Floats]:
    """What pick-up and the plain forecast would have said ``lead`` weeks ahead, and the truth."""
    weeks = len(book.final)
    by_pickup, by_plain, truth = [], [], []
    levels = _levels(book.final)
    for target in range(start + lead, weeks):
        known = target - lead
        low = max(lead, known - RECENT_WEEKS)
        if known <= low:
            continue
        stood = book.on_book[low:known, lead].sum()
        kept = book.survived[low:known, lead].sum() / stood if stood > 0 else 1.0
        rest = book.to_come[low:known, lead].mean()
        by_pickup.append(book.on_book[target, lead] * kept + rest)
        by_plain.append(levels[known - 1])
        truth.append(book.final[target])
    return np.array(by_pickup), np.array(by_plain), np.array(truth)


def _levels(values: Floats, alpha: float = 0.2) -> Floats:
    """Smoothed level after each week, begun at the mean of the first four."""
    level = float(values[:4].mean()) if len(values) else 0.0
    found = np.empty(len(values))
    for week, value in enumerate(values):
        level += alpha * (float(value) - level)
        found[week] = level
    return found

"""Replay: what other ways of ordering would have cost over a shop's own past, or a table's.

The past is walked week by week; each policy sees only what was known then, the planner's own by the
very function of the weekly list. Lead times are those that suppliers really had (from the book), or
drawn from a list. Amounts are base units, money is minor units inside and the main unit in JSON;
weeks begin on Mondays.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from stock.book.opening import Book
from stock.clock import monday_of
from stock.demand.draws import stream
from stock.demand.known import Floats
from stock.errors import Refused, WrongUsage
from stock.plan.decisions import main_unit

if TYPE_CHECKING:
    from stock.plan.replay import Past, Verdict
    from stock.plan.snapshot import Offer, Snapshot, SupplierTerms

Report = Callable[[int, int], None]

SHORT_SHARE: Final = 0.2
"""Cost of one unit short for a week where the item states none, as a share of its value: the
replay studies' assumption, stated beside the result."""
LEAST_BEFORE: Final = 8
"""Weeks that must lie before the first one replayed: no policy decides from nothing."""
USUAL_WEEKS: Final = 26
SHORT_SPAN: Final = 13
PATHS: Final = 1000
"""Half of what the list draws. The same paths judge every week: over seeds a replay of seven
kitchen ingredients (yaz, ``ddop``) cost 5,784 to 6,537 with 300, 5,773 and 5,937 with 1,000."""


@dataclass(frozen=True, slots=True)
class Costs:
    """Assumed costs of a table's items, minor units; shares are of the unit's value."""

    unit_value: float = 1000.0
    order_line: float = 200.0
    hold_per_week: float = 0.004
    short_per_week: float = SHORT_SHARE


@dataclass(frozen=True, slots=True)
class PolicyResult:
    """What one way of ordering did, all items together; money in minor units."""

    policy: str
    cost: float
    holding: float
    ordering: float
    shortage: float
    outdating: float
    orders: int
    fill_rate: float
    days_short: int
    mean_stock_value: float | None
    is_bound: bool = False

    def to_json(self) -> dict[str, Any]:
        """Money in the main unit."""
        return {
            "policy": self.policy,
            "cost": main_unit(self.cost),
            "holding": main_unit(self.holding),
            "ordering": main_unit(self.ordering),
            "shortage": main_unit(self.shortage),
            "outdating": main_unit(self.outdating),
            "orders": self.orders,
            "fill_rate": None if self.is_bound else self.fill_rate,
            "days_short": None if self.is_bound else self.days_short,
            "mean_stock_value": None
            if self.mean_stock_value is None
            else main_unit(self.mean_stock_value),
            "bound": self.is_bound,
        }


@dataclass(frozen=True, slots=True)
class Replayed:
    """Policies compared, cheapest first, over the weeks from ``first`` on."""

    first: date
    weeks: int
    items: int
    currency: str
    results: tuple[PolicyResult, ...]
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The span, the results, the assumptions."""
        return {
            "from": self.first.isoformat(),
            "weeks": self.weeks,
            "items": self.items,
            "currency": self.currency,
            "policies": [result.to_json() for result in self.results],
            "notes": list(self.notes),
        }


def replay_past(past: Past, currency: str, notes: Sequence[str], report: Report) -> Replayed:
    """Walk ``past`` with every policy and with perfect knowledge."""
    from stock.plan.bound import clairvoyant
    from stock.plan.policies import FixedLevel, LastPack, Planned, TextbookNormal, WeeksOfCover
    from stock.plan.replay import Policy, walk

    policies: list[Policy] = [
        FixedLevel(),
        WeeksOfCover(),
        LastPack(),
        TextbookNormal(),
        TextbookNormal(with_lot=True, name="textbook normal with lots"),
        Planned("the weekly list", paths=PATHS),
    ]
    found: list[PolicyResult] = []
    for done, policy in enumerate(policies):
        report(done, len(policies) + 1)
        found.append(_result(past, walk(past, policy)))
    report(len(policies), len(policies) + 1)
    found.append(_result(past, clairvoyant(past), is_bound=True))
    found.sort(key=lambda one: (one.cost, one.policy))
    said = list(notes)
    if past.weeks < SHORT_SPAN:
        said.append(
            f"{past.weeks} weeks are few: what is left at the end counts for nothing, which "
            "favours ways that let the shelf run down"
        )
    return Replayed(
        past.first_monday, past.weeks, len(past.items), currency, tuple(found), tuple(said)
    )


def _result(past: Past, verdict: Verdict, *, is_bound: bool = False) -> PolicyResult:
    return PolicyResult(
        policy=verdict.policy,
        cost=verdict.total(),
        holding=float(verdict.holding.sum()),
        ordering=float(verdict.ordering.sum()),
        shortage=float(verdict.shortage.sum()),
        outdating=float(verdict.outdating.sum()),
        orders=int(verdict.orders.sum()),
        fill_rate=verdict.fill_rate(),
        days_short=int(verdict.days_short.sum()),
        mean_stock_value=None if is_bound else float((verdict.mean_stock * past.unit_value).sum()),
        is_bound=is_bound,
    )


def past_of_table(
    path: Path, lead_days: Sequence[int], first: date | None, last: date | None, costs: Costs
) -> tuple[Past, list[str]]:
    """The past of a CSV of series (``unique_id,ds,y``); each week's need is spread over Mon–Fri.

    Args:
        lead_days: Lead times in calendar days that orders are drawn from, one per week.
        first, last: First and last week replayed; default: the later half.
        costs: Assumed for every item.
    """
    from stock.demand.history_file import read_series
    from stock.plan.replay import Past

    if not lead_days or any(not 0 <= days <= 365 for days in lead_days):
        raise WrongUsage("--lead-days: expected calendar days from 0 to 365, as 7,9,14.")
    table = read_series(path)
    history = table.history
    mondays = [day.astype(object) for day in history.mondays.astype("datetime64[D]")]
    start, weeks = _span(mondays[0], len(mondays), first, last)
    begin = (start - mondays[0]).days // 7
    ahead = np.nan_to_num(history.values[:, begin : begin + weeks])
    need = np.zeros((len(history.keys), weeks, 7))
    need[:, :, :5] = ahead[:, :, None] / 5
    before = history.values[:, :begin]
    known = np.asarray(~np.isnan(before).all(axis=1))
    if not known.any():
        raise Refused(f"{path}: no series is known before {start}.")
    kept = np.flatnonzero(known)
    usual = np.nanmean(before[kept], axis=1)
    draws = stream(0, "replay", "lead times")
    leads = draws.choice(np.array(lead_days, np.int64), (1, weeks))
    count = len(kept)
    past = Past(
        items=tuple(history.keys[row] for row in kept),
        first_monday=start,
        before=before[kept],
        need=need[kept].reshape(count, 7 * weeks),
        supplier=np.zeros(count, np.int64),
        lead_days=leads,
        earlier_leads=(np.array(lead_days, np.int64),),
        unit_value=np.full(count, costs.unit_value),
        order_cost=np.full(count, costs.order_line),
        hold_per_week=costs.hold_per_week,
        short_per_week=np.full(count, costs.short_per_week * costs.unit_value),
        start=usual * (float(np.mean(lead_days)) / 7 + 2),
        life_days=np.zeros(count, np.int64),
    )
    notes = list(table.notes)
    if count < known.size:
        notes.append(f"{known.size - count} series that began later are left out")
    notes.append(
        f"assumed: a unit is worth {costs.unit_value / 100:g}, an order line costs "
        f"{costs.order_line / 100:g}, holding {costs.hold_per_week:.1%} and shortage "
        f"{costs.short_per_week:.0%} of value per week; each starts with the usual need of its "
        "lead time and two weeks"
    )
    return past, notes


def _span(
    known_from: date, known_weeks: int, first: date | None, last: date | None
) -> tuple[date, int]:
    """First Monday and number of weeks to replay within what is known."""
    if first is None:
        begin = max(LEAST_BEFORE, known_weeks - max(USUAL_WEEKS, known_weeks // 2))
        start = known_from + timedelta(days=7 * begin)
    else:
        start = monday_of(first)
    ends = known_from + timedelta(days=7 * known_weeks)
    if last is not None:
        ends = min(ends, monday_of(last) + timedelta(days=7))
    weeks = (ends - start).days // 7
    before = (start - known_from).days // 7
    if before < LEAST_BEFORE or weeks < 1:
        raise Refused(
            f"{max(before, 0)} weeks before {start} and {max(weeks, 0)} from then on are known; "
            f"a replay needs {LEAST_BEFORE} before and 1 to replay."
        )
    return start, weeks


def past_of_book(
    book: Book, day: date, first: date | None, last: date | None
) -> tuple[Past, list[str]]:
    """The book's own past: what every bought item lost day by day, and how long suppliers took.

    Raises:
        Refused: Too few weeks are in the book.
    """
    from stock.plan.replay import Past
    from stock.shop.planning import plan_settings, snapshot_of
    from stock.shop.snapshot.daily import daily_loss, first_loss

    with book.reading() as connection:
        began = first_loss(connection)
    until = monday_of(day)
    if began is None or began >= until:
        raise Refused("The book holds no complete week of use yet: there is nothing to replay.")
    known_from = monday_of(began)
    start, weeks = _span(known_from, (until - known_from).days // 7, first, last)
    settings = plan_settings(book, day)
    snapshot = snapshot_of(book, start - timedelta(days=1))
    end = start + timedelta(days=7 * weeks)
    with book.reading() as connection:
        loss = daily_loss(connection, known_from, end)
    offers = _first_offers(snapshot)
    items = [one for one in snapshot.items if one.reorder and one.sku in offers and one.sku in loss]
    if not items:
        raise Refused("No item that is bought was used: there is nothing to replay.")
    skus = [one.sku for one in items]
    daily = np.array([_settled(loss[sku]) for sku in skus])
    before = (start - known_from).days
    codes = sorted({offers[sku].supplier for sku in skus})
    suppliers = {one.code: one for one in snapshot_of(book, day).suppliers}
    value = np.array([offers[sku].price_minor / offers[sku].amount for sku in skus])
    stated = np.array([one.shortage_cost_minor for one in items])
    usable = _usable(snapshot)
    past = Past(
        items=tuple(skus),
        first_monday=start,
        before=_by_week(daily[:, :before]),
        need=daily[:, before:],
        supplier=np.array([codes.index(offers[sku].supplier) for sku in skus], np.int64),
        lead_days=np.array([_real_leads(suppliers[code], start, weeks) for code in codes]),
        earlier_leads=tuple(_leads_before(suppliers[code], start) for code in codes),
        unit_value=value,
        order_cost=np.array([_line_cost(suppliers[offers[sku].supplier]) for sku in skus]),
        hold_per_week=settings.holding_per_week,
        short_per_week=np.where(stated > 0, stated, SHORT_SHARE * value),
        start=np.array([usable.get(sku, 0.0) for sku in skus]),
        life_days=np.array([_life(offers[one.sku], one.shelf_life_days) for one in items]),
        weekdays=settings.weekdays,
    )
    notes = [
        f"where an item states no shortage cost, {SHORT_SHARE:.0%} of its value per week is "
        "assumed; packs, minimums and price breaks play no part"
    ]
    return past, notes


def _first_offers(snapshot: Snapshot) -> dict[str, Offer]:
    """Each item's preferred or else first offer."""
    found: dict[str, Offer] = {}
    for offer in snapshot.offers:
        if offer.amount > 0 and (offer.item not in found or offer.preferred):
            found.setdefault(offer.item, offer)
    return found


def _usable(snapshot: Snapshot) -> dict[str, float]:
    from stock.plan.cover import sort_out

    return {sku: shelf.amount for sku, shelf in sort_out(snapshot.stock, snapshot.day).items()}


def _by_week(daily: Floats) -> Floats:
    """Weekly sums; unknown before an item's first use."""
    count, days = daily.shape
    weekly = daily.reshape(count, days // 7, 7).sum(axis=2)
    for row in range(count):
        used = np.flatnonzero(weekly[row])
        weekly[row, : used[0] if used.size else 0] = np.nan
    return np.asarray(weekly)


def _settled(net: Floats) -> Floats:
    """Daily loss without days below 0: what the scale gave back lowers the rest of its week."""
    weekly = net.reshape(-1, 7)
    positive = np.maximum(weekly, 0.0)
    gross, left = positive.sum(axis=1), np.maximum(weekly.sum(axis=1), 0.0)
    share = np.divide(left, gross, out=np.zeros_like(gross), where=gross > 0)
    return np.asarray((positive * share[:, None]).ravel())


def _life(offer: Offer, usual: int | None) -> int:
    """Days a delivery can be used, its first day counted; 0: it does not expire."""
    days = offer.shelf_life_days if offer.shelf_life_days is not None else usual
    return 0 if days is None else days + 1


def _line_cost(one: SupplierTerms) -> float:
    """What one more line costs: its own cost and its part of the order's."""
    lines: dict[date, int] = defaultdict(int)
    for placed, *_ in one.lead_history:
        lines[placed] += 1
    usual = sum(lines.values()) / len(lines) if lines else 3.0
    return one.line_cost_minor + one.order_cost_minor / usual


def _stated_days(one: SupplierTerms) -> int:
    return max(round(one.lead_days * 7 / 5), 0)


def _leads_before(one: SupplierTerms, start: date) -> np.ndarray[Any, np.dtype[np.int64]]:
    seen = [(came - placed).days for placed, came, _, _ in one.lead_history if came < start]
    return np.array([days for days in seen if days >= 0] or [_stated_days(one)], np.int64)


def _real_leads(one: SupplierTerms, start: date, weeks: int) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Calendar days an order of each week really took: of the order placed nearest to it."""
    seen = sorted(
        (placed, (came - placed).days) for placed, came, _, _ in one.lead_history if came >= placed
    )
    if not seen:
        return np.full(weeks, _stated_days(one), np.int64)
    found = []
    for week in range(weeks):
        monday = start + timedelta(days=7 * week)
        nearest = min(seen, key=lambda order: (abs((order[0] - monday).days), order[0], order[1]))
        found.append(nearest[1])
    return np.array(found, np.int64)

"""The weekly list and the expiring lots: a snapshot of the book handed to the planner."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from stock.book.opening import Book
from stock.demand.explode import LAPSED_DAYS, has_lapsed
from stock.demand.known import OrderLine
from stock.errors import Fault, InputFaults, Unknown
from stock.plan.decisions import Decisions, ExpiringLot, ReorderLine
from stock.plan.snapshot import PlanSettings, Snapshot
from stock.shop.settings import KINDS, Settings, load_settings
from stock.shop.snapshot import Targets, take_snapshot
from stock.shop.snapshot.holdings import WITHIN
from stock.units import shown_amount

if TYPE_CHECKING:
    from collections.abc import Iterable

OVERDUE_DAYS = 30
"""An order line this long past its day is asked about: it is probably done or dead (judgement)."""


def plan_settings(
    book: Book | None = None, day: date | None = None, settings: Settings | None = None
) -> PlanSettings:
    """The shop's choices for planning; its calendar reaches two years around ``day``.

    They are the station's settings, whichever ``book`` it works on.

    Raises:
        InputFaults: The settings hold faults, or name a country whose holidays nobody knows.
    """
    from stock.clock import calendar_of, today

    known = settings or load_settings()
    middle = (day or today()).year
    years = range(middle - 2, middle + 3)
    try:
        calendar = calendar_of(
            known.weekdays, known["calendar.closed"], known["calendar.country"], years
        )
    except ValueError:
        origin = known.effective["calendar.country"].origin
        line = int(origin.rpartition(":")[2]) if origin.startswith(f"{known.path}:") else 0
        expected = "a country (and region) whose public holidays are known"
        fault = Fault(line, "calendar.country", repr(known["calendar.country"]), expected)
        raise InputFaults(str(known.path), [fault]) from None
    return PlanSettings(
        review_days=known["week.review_days"],
        horizon_weeks=known["plan.horizon_weeks"],
        paths=known["plan.paths"],
        seed=known["plan.seed"],
        holding_per_week=known["plan.holding_per_week"],
        misprint_prior=(known["plan.misprint_rate"], known["plan.misprint_weight"]),
        weekdays=calendar.weekdays,
        closed=calendar.closed,
        peak_factor=known.season,
        currency=known["currency"],
        blend_autoets=known["plan.autoets"],
        units=known["units"],
    )


def targets(settings: Settings) -> Targets:
    """What holds for items that state no target of their own."""
    return Targets(
        {kind: settings[f"service.{kind}"] for kind in KINDS},
        settings["service.measure"],
        {kind: settings[f"waste_risk.{kind}"] for kind in KINDS},
    )


def snapshot_of(book: Book, day: date) -> Snapshot:
    """The book as the planner sees it on ``day``."""
    settings = load_settings()
    return take_snapshot(
        book,
        day,
        plan_settings(book, day, settings),
        targets=targets(settings),
        hour=settings["week.order_hour"],
    )


def reorder_list(book: Book, day: date, *, supplier: str = "") -> Decisions:
    """What to buy on ``day``; only one supplier's lines when one is named.

    Raises:
        Unknown: No such supplier.
    """
    return list_from(snapshot_of(book, day), supplier=supplier)


def list_from(snapshot: Snapshot, *, supplier: str = "") -> Decisions:
    """The weekly list of a snapshot: packs by their content, mixes told apart, old orders named.

    Raises:
        Unknown: No such supplier.
    """
    from stock.plan.decide import plan

    if supplier and all(supplier != known.code for known in snapshot.suppliers):
        import difflib

        names = [known.code for known in snapshot.suppliers]
        raise Unknown("supplier", supplier, difflib.get_close_matches(supplier, names, 3, 0.6))
    decisions = plan(snapshot)
    within = _amounts_within_mixes(snapshot)
    rests = {(offer.supplier, offer.pack): offer.unusable_rest for offer in snapshot.offers}
    lines = tuple(
        _by_content(
            _with_mixes(line, within),
            rests.get((line.supplier, line.pack), 0.0),
            snapshot.settings.units,
        )
        for line in decisions.lines
        if not supplier or line.supplier == supplier
    )
    return replace(
        decisions,
        lines=lines,
        totals=tuple(t for t in decisions.totals if not supplier or t.supplier == supplier),
        expiring=own_lots(decisions.expiring),
        newest_purchase_line=snapshot.newest_purchase_line,
        findings=decisions.findings + tuple(_overdue(snapshot)) + tuple(_guessed(snapshot, lines)),
    )


def _with_mixes(line: ReorderLine, within: dict[str, str]) -> ReorderLine:
    if line.item not in within or not line.why:
        return line
    return replace(line, why=(line.why[0], within[line.item], *line.why[1:]))


def _by_content(line: ReorderLine, rest: float, system: str) -> ReorderLine:
    """A line planned by what comes out of its packs, told by what is in them."""
    if rest <= 0 or not line.packs:
        return line
    usable = line.amount / line.packs
    full, never, counts = (
        shown_amount(amount, line.unit, system) for amount in (usable + rest, rest, usable)
    )
    said = f"A pack holds {full}; {never} of it never come out, so it counts as {counts}."
    return replace(line, amount=line.amount + line.packs * rest, why=(*line.why, said))


def own_lots(lots: Iterable[ExpiringLot]) -> tuple[ExpiringLot, ...]:
    """Lots that stand on a shelf, without the concentrate counted again within a ready mix."""
    return tuple(lot for lot in lots if WITHIN not in lot.lot)


def _amounts_within_mixes(snapshot: Snapshot) -> dict[str, str]:
    """A sentence for each concentrate of which some is on the shelf as ready mix."""
    amounts: dict[str, float] = {}
    units = {item.sku: item.unit for item in snapshot.items}
    for lot in snapshot.stock:
        if WITHIN in lot.lot:
            amounts[lot.item] = amounts.get(lot.item, 0.0) + lot.amount

    def written(sku: str, amount: float) -> str:
        return shown_amount(amount, units.get(sku, ""), snapshot.settings.units)

    return {
        sku: f"Of what is here, {written(sku, amount)} is within ready mix, counted by the "
        "concentrate in it."
        for sku, amount in amounts.items()
    }


def _overdue(snapshot: Snapshot) -> list[str]:
    limit = snapshot.day - timedelta(days=OVERDUE_DAYS)
    lapsed = [line for line in snapshot.order_lines if has_lapsed(line, snapshot.day)]
    old = [
        line
        for line in snapshot.order_lines
        if (line.scheduled_on or line.due_on) < limit and line.stage != "quote"
    ]
    said = []
    if old:
        many = "1 order line is" if len(old) == 1 else f"{len(old)} order lines are"
        counts = "counts" if len(old) == 1 else "count"
        said.append(
            f"{many} more than {OVERDUE_DAYS} days past their day and still {counts} as needed "
            f"today ({_orders_of(old)}): log their prints or cancel them."
        )
    if lapsed:
        quotes = dict.fromkeys(line.order for line in lapsed)
        many = "1 quote is" if len(quotes) == 1 else f"{len(quotes)} quotes are"
        counts = "counts" if len(quotes) == 1 else "count"
        said.append(
            f"{many} more than {LAPSED_DAYS} days past the day asked for and {counts} as lost "
            f"({_orders_of(lapsed)}): what is still wanted needs a new day, the rest can be "
            "cancelled."
        )
    return said


def _guessed(snapshot: Snapshot, lines: tuple[ReorderLine, ...]) -> list[str]:
    """Sizes on the list that nobody has asked for yet: their need is a guess from other sizes."""
    known = set(snapshot.history.keys) | {lot.item for lot in snapshot.stock}
    known |= {use.item for line in snapshot.order_lines for use in line.uses}
    family = {item.sku: item.family for item in snapshot.items if item.size and not item.replaces}
    new = [line.item for line in lines if line.item in family and line.item not in known]
    if not new:
        return []
    named = ", ".join(new[:5]) + (", …" if len(new) > 5 else "")
    return [
        f"{named}: never used, stocked or ordered; the need is guessed from how other sizes of the "
        "same style sell. What is not sold in that size is left out by reorder = no."
    ]


def _orders_of(lines: list[OrderLine]) -> str:
    named = list(dict.fromkeys(line.order for line in lines))
    return ", ".join(named[:5]) + (", …" if len(named) > 5 else "")


def expiring_lots(book: Book, day: date, *, within_days: int = 90) -> tuple[ExpiringLot, ...]:
    """Lots whose last day of use lies within ``within_days`` of ``day``, soonest first."""
    from stock.plan.expiry import expiring

    return own_lots(expiring(snapshot_of(book, day), within_days))

"""What if: the same snapshot with one thing changed, planned again; the book is not touched.

A question is a short sentence:

    lead SUPPLIER +5            its deliveries take 5 working days longer (or -2)
    closed SUPPLIER             it neither takes orders nor sends what is open
    closed SUPPLIER until DATE  it does neither until then
    demand +20%                 everything not yet booked, of every item
    demand ITEM +20%            of one item, or of a kind (ink, pretreat, blank, supply)
    printer like PRINTER        one more machine with the upkeep of that one, for the same work
    printer like PRINTER +20%   and so many of that one's prints more, with their garments
    won ORDER                   a quote becomes an order
    lost ORDER                  a quote or order falls away
    job like ORDER due DATE     the same job once more, for that day

Upper and lower case and filler words do not matter. Nothing here reads the book.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from stock.clock import WorkCalendar
from stock.demand.known import History, OrderLine
from stock.errors import Unknown, WrongUsage
from stock.plan.decisions import Decisions, ReorderLine, main_unit
from stock.plan.snapshot import Snapshot, SupplierTerms

QUESTIONS = (
    *("lead SUPPLIER +5", "closed SUPPLIER [until DATE]", "demand [ITEM|KIND] +20%"),
    *("printer like PRINTER [+20%]", "won ORDER", "lost ORDER", "job like ORDER due DATE"),
)
_FILLERS = frozenset(
    {"if", "what", "is", "are", "the", "a", "an", "for", "of", "by", "days", "one"}
)
MOST_DAYS = 120
KINDS = ("ink", "pretreat", "blank", "supply")


@dataclass(frozen=True, slots=True)
class Changed:
    """A snapshot with the change made, and the change in a sentence."""

    snapshot: Snapshot
    said: str


@dataclass(frozen=True, slots=True)
class Difference:
    """One line of the list before and after; None where it is not on that list."""

    item: str
    before: ReorderLine | None
    after: ReorderLine | None

    def to_json(self) -> dict[str, Any]:
        """Both sides with packs, amount, cost, day and chance."""
        return {
            "item": self.item,
            "before": _side(self.before),
            "after": _side(self.after),
        }


def _side(line: ReorderLine | None) -> dict[str, Any] | None:
    if line is None:
        return None
    return {
        "supplier": line.supplier,
        "pack": line.pack,
        "packs": line.packs,
        "amount": line.amount,
        "unit": line.unit,
        "cost": main_unit(line.cost),
        "order_by": line.order_by.isoformat(),
        "stockout_chance": line.stockout_chance,
    }


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Two lists compared."""

    said: tuple[str, ...]
    before: Decisions
    after: Decisions

    @property
    def differences(self) -> tuple[Difference, ...]:
        """Lines that differ in packs, supplier, day or (by a point) chance, by item."""
        old = {line.item: line for line in self.before.lines}
        new = {line.item: line for line in self.after.lines}
        return tuple(
            Difference(sku, old.get(sku), new.get(sku))
            for sku in sorted(old | new)
            if _differ(old.get(sku), new.get(sku))
        )

    def to_json(self) -> dict[str, Any]:
        """The change, both totals, every line that differs."""
        return {
            "on": self.before.day.isoformat(),
            "currency": self.before.currency,
            "what_if": list(self.said),
            "before": {"lines": len(self.before.lines), "total": _total(self.before)},
            "after": {"lines": len(self.after.lines), "total": _total(self.after)},
            "differences": [one.to_json() for one in self.differences],
            "findings": list(self.after.findings),
        }


def _differ(old: ReorderLine | None, new: ReorderLine | None) -> bool:
    if old is None or new is None:
        return True
    plain = ("packs", "pack", "supplier", "order_by")
    if any(getattr(old, name) != getattr(new, name) for name in plain):
        return True
    return abs(old.stockout_chance - new.stockout_chance) >= 0.01


def _total(weekly: Decisions) -> float:
    return main_unit(sum(total.total for total in weekly.totals))


def compare(snapshot: Snapshot, questions: Sequence[str]) -> WhatIf:
    """The list of ``snapshot`` and the list with all these changes made, one after another.

    Raises:
        WrongUsage: A question nobody understands.
        Unknown: A supplier, item, printer or order the snapshot does not have.
    """
    from stock.shop.planning import list_from

    changed, said = snapshot, []
    for question in questions:
        made = change(changed, question)
        changed = made.snapshot
        said.append(made.said)
    return WhatIf(tuple(said), list_from(snapshot), list_from(changed))


def change(snapshot: Snapshot, question: str) -> Changed:
    """The snapshot with one change made."""
    words = [word for word in re.split(r"[\s,:]+", question.strip()) if word]
    words = [word for word in words if word.lower().rstrip("?") not in _FILLERS]
    makers: dict[str, Callable[[Snapshot, list[str], str], Changed]] = {
        "lead": _lead,
        "closed": _closed,
        "demand": _demand,
        "printer": _printer,
        "won": _won,
        "lost": _lost,
        "job": _job,
    }
    if not words or words[0].lower() not in makers:
        raise _not_understood(question)
    return makers[words[0].lower()](snapshot, words[1:], question)


def _not_understood(question: str) -> WrongUsage:
    return WrongUsage(f"--what-if {question!r} was not understood; try {'; '.join(QUESTIONS)}.")


def _known(name: str, known: Sequence[str], what: str) -> str:
    by_lower = {one.lower(): one for one in known}
    found = by_lower.get(name.lower())
    if found is None:
        raise Unknown(what, name, difflib.get_close_matches(name, list(known), 3, 0.6))
    return found


def _day(text: str, question: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise WrongUsage(f"--what-if {question!r}: {text!r} is no day as 2026-03-20.") from None


def _supplier(snapshot: Snapshot, name: str) -> SupplierTerms:
    codes = [one.code for one in snapshot.suppliers]
    code = _known(name, codes, "supplier")
    return next(one for one in snapshot.suppliers if one.code == code)


def _replaced(snapshot: Snapshot, one: SupplierTerms) -> tuple[SupplierTerms, ...]:
    return tuple(one if old.code == one.code else old for old in snapshot.suppliers)


def _lead(snapshot: Snapshot, words: list[str], question: str) -> Changed:
    if len(words) != 2 or not re.fullmatch(r"[+-]?\d{1,3}", words[1]):
        raise _not_understood(question)
    one, days = _supplier(snapshot, words[0]), int(words[1])
    if abs(days) > MOST_DAYS:
        raise WrongUsage(f"--what-if {question!r}: at most {MOST_DAYS} days either way.")
    calendar = WorkCalendar(frozenset(range(5)) | one.order_days, one.closed)
    slipped = replace(
        one,
        lead_days=max(one.lead_days + days, 0.0),
        lead_history=tuple(
            (min(_moved(calendar, placed, -days), came), came, asked, brought)
            for placed, came, asked, brought in one.lead_history
        ),
    )
    on_order = tuple(
        replace(line, promised_on=_moved(calendar, line.promised_on, days))
        if line.supplier == one.code and line.promised_on is not None
        else line
        for line in snapshot.on_order
    )
    word = "longer" if days >= 0 else "less"
    return Changed(
        replace(snapshot, suppliers=_replaced(snapshot, slipped), on_order=on_order),
        f"{one.code} takes {abs(days)} working days {word}, open orders too",
    )


def _moved(calendar: WorkCalendar, day: date, steps: int) -> date:
    """``day`` moved by so many working days, forwards or backwards."""
    moved, left, step = day, abs(steps), timedelta(days=1 if steps > 0 else -1)
    for _ in range(20 * MOST_DAYS):
        if left == 0:
            break
        moved += step
        left -= calendar.works_on(moved)
    return moved


def _closed(snapshot: Snapshot, words: list[str], question: str) -> Changed:
    if len(words) not in (1, 3) or (len(words) == 3 and words[1].lower() not in ("until", "till")):
        raise _not_understood(question)
    one = _supplier(snapshot, words[0])
    if len(words) == 1:
        return Changed(
            replace(
                snapshot,
                offers=tuple(offer for offer in snapshot.offers if offer.supplier != one.code),
                on_order=tuple(line for line in snapshot.on_order if line.supplier != one.code),
            ),
            f"{one.code} is closed for good, and what it still owes does not come",
        )
    until = _day(words[2], question)
    days = (until - snapshot.day).days
    if not 0 <= days <= 366:
        raise WrongUsage(f"--what-if {question!r}: {until} is not within a year from now.")
    shut = frozenset(snapshot.day + timedelta(days=n) for n in range(days + 1))
    closed = replace(one, closed=one.closed | shut)
    calendar = WorkCalendar(frozenset(range(5)) | closed.order_days, closed.closed)
    reopens = calendar.next_working_day(until + timedelta(days=1))
    on_order = tuple(
        replace(line, promised_on=reopens)
        if line.supplier == one.code and line.promised_on is not None and line.promised_on <= until
        else line
        for line in snapshot.on_order
    )
    return Changed(
        replace(snapshot, suppliers=_replaced(snapshot, closed), on_order=on_order),
        f"{one.code} is closed until {until}",
    )


def _demand(snapshot: Snapshot, words: list[str], question: str) -> Changed:
    match = re.fullmatch(r"([+-]?\d{1,4}(?:\.\d+)?)%", words[-1]) if words else None
    if match is None or len(words) > 2:
        raise _not_understood(question)
    factor = 1 + float(match[1]) / 100
    if not 0 <= factor <= 100:
        raise WrongUsage(f"--what-if {question!r}: from -100% to +9900%.")
    skus = [item.sku for item in snapshot.items]
    kind = words[0].lower() if len(words) == 2 and words[0].lower() in KINDS else ""
    chosen: set[str] | None = None
    what = "everything"
    if kind:
        chosen = {item.sku for item in snapshot.items if item.kind == kind}
        what = kind
    elif len(words) == 2:
        what = _known(words[0], skus, "item")
        chosen = {what}
    history = snapshot.history
    values = history.values.copy()
    if chosen is None:
        values *= factor
        links = snapshot.links
    else:
        linked = {link.item for link in snapshot.links}
        for row, key in enumerate(history.keys):
            if key in chosen and key not in linked:
                values[row] *= factor
        links = tuple(
            replace(link, factor=link.factor * factor, factor_sd=link.factor_sd * factor)
            if link.item in chosen
            else link
            for link in snapshot.links
        )
    return Changed(
        replace(snapshot, history=replace(history, values=values), links=links),
        f"need of {what} not yet booked changes by {float(match[1]):+g} %",
    )


def _printer(snapshot: Snapshot, words: list[str], question: str) -> Changed:
    """One more machine: its daily upkeep, and if asked for, more prints.

    The same jobs take as much on two machines as on one. What fills it first stays usable stock;
    only what never comes out of its slots is lost.
    """
    if len(words) not in (2, 3) or words[0].lower() != "like":
        raise _not_understood(question)
    printers = sorted({loss.printer for loss in snapshot.upkeep if loss.printer})
    name = _known(words[1], printers, "printer with upkeep")
    more = tuple(
        replace(loss, printer=f"{name} again") for loss in snapshot.upkeep if loss.printer == name
    )
    changed = replace(snapshot, upkeep=snapshot.upkeep + more)
    said = f"one more machine with the daily upkeep of {name}"
    if len(words) == 2:
        return Changed(
            changed, f"{said}, for the same jobs (+20% after its name: more prints as well)"
        )
    match = re.fullmatch(r"\+(\d{1,4}(?:\.\d+)?)%", words[2])
    if match is None:
        raise _not_understood(question)
    share = float(match[1]) / 100
    history = _with_more_prints(snapshot, name, share)
    return Changed(
        replace(changed, history=history), f"{said}, and {100 * share:g} % of its prints more"
    )


def _with_more_prints(snapshot: Snapshot, printer: str, share: float) -> History:
    """The history had ``printer`` printed so much more: its drivers, and what all prints use.

    Garments, pretreat and whatever else has a record of its own grow by that machine's part of all
    prints.
    """
    history = snapshot.history
    values = history.values.copy()
    of_all = [row for row, key in enumerate(history.keys) if key.startswith("prints:")]
    everything = float(np.nansum(values[of_all]))
    own = float(np.nansum(values[[r for r in of_all if history.keys[r] == f"prints:{printer}"]]))
    part = own / everything if everything > 0 else 0.0
    for row, key in enumerate(history.keys):
        if key.startswith(("cm2:", "prints:")):
            values[row] *= 1 + share if key.rpartition(":")[2] == printer else 1
        else:
            values[row] *= 1 + share * part
    return replace(history, values=values)


def _lines_of(snapshot: Snapshot, name: str) -> tuple[str, list[OrderLine]]:
    refs = list(dict.fromkeys(line.order for line in snapshot.order_lines))
    ref = _known(name, refs, "open order or quote")
    return ref, [line for line in snapshot.order_lines if line.order == ref]


def _won(snapshot: Snapshot, words: list[str], question: str) -> Changed:
    if len(words) != 1:
        raise _not_understood(question)
    ref, lines = _lines_of(snapshot, words[0])
    if all(line.stage != "quote" for line in lines):
        raise WrongUsage(f"--what-if {question!r}: {ref} is an order already.")
    won = tuple(
        replace(line, stage="confirmed", win_probability=1.0) if line.order == ref else line
        for line in snapshot.order_lines
    )
    return Changed(replace(snapshot, order_lines=won), f"quote {ref} becomes an order")


def _lost(snapshot: Snapshot, words: list[str], question: str) -> Changed:
    if len(words) != 1:
        raise _not_understood(question)
    ref, _ = _lines_of(snapshot, words[0])
    left = tuple(line for line in snapshot.order_lines if line.order != ref)
    return Changed(replace(snapshot, order_lines=left), f"{ref} falls away")


def _job(snapshot: Snapshot, words: list[str], question: str) -> Changed:
    shaped = len(words) == 4 and words[0].lower() == "like" and words[2].lower() == "due"
    if not shaped:
        raise _not_understood(question)
    ref, lines = _lines_of(snapshot, words[1])
    due = _day(words[3], question)
    if due < snapshot.day:
        raise WrongUsage(f"--what-if {question!r}: {due} is past.")
    more = tuple(
        replace(
            line,
            order=f"{ref} again",
            stage="confirmed",
            win_probability=1.0,
            placed_on=snapshot.day,
            due_on=due,
            scheduled_on=None,
        )
        for line in lines
    )
    return Changed(
        replace(snapshot, order_lines=snapshot.order_lines + more),
        f"the job of {ref} comes once more, due {due}",
    )

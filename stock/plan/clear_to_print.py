"""Clear to print: can each job of the next days be printed with what is loaded and on the shelf?

Jobs are walked in their order over many courses: each takes its garments, pretreat and ink, with
misprints, with rates that may be wrong, from slots whose level may be wrong; machines take their
upkeep in between; what is past its date is left alone. A slot that runs dry is fed from the shelf
by the pack. Amounts are base units, days calendar days. Nothing here orders or reserves anything.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, Literal

import numpy as np

from stock.demand.chances import MisprintRates, misprint_rates
from stock.demand.draws import stream
from stock.demand.known import Floats, OrderLine
from stock.plan.cover import CountedLot, sort_out
from stock.plan.snapshot import Snapshot

COURSES = 1000
SURE = 0.95
"""A job is clear when at least so many courses get through (judgement)."""
EVEN = 0.5
Verdict = Literal["clear", "load", "at risk", "short"]


@dataclass(frozen=True, slots=True)
class Lack:
    """What a job may lack, with everything here counted.

    Args:
        needed: What the job takes on average, base units.
        here: What is left for it on average when its turn comes.
        chance: Chance that it is not enough.
        coming: What is on order of it.
        past_date: What is there of it but past its date by then.
    """

    item: str
    unit: str
    needed: float
    here: float
    chance: float
    coming: float = 0.0
    past_date: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """Plain numbers."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


@dataclass(frozen=True, slots=True)
class Feed:
    """An ink that runs dry in a machine during a job, though the shelf has more of it."""

    printer: str
    item: str
    chance: float

    def to_json(self) -> dict[str, Any]:
        """Plain numbers."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


@dataclass(frozen=True, slots=True)
class Job:
    """One order line to print, with its verdict.

    Args:
        on: Day it is planned for: scheduled, else due; overdue jobs are for today.
        chance: Chance that all of it is here when its turn comes.
        lacks: What may be missing, likeliest first.
        feeds: What to load before it.
        notes: What could not be judged, in sentences.
    """

    order: str
    line: int
    on: date
    printer: str
    pieces: float
    verdict: Verdict
    chance: float
    lacks: tuple[Lack, ...] = ()
    feeds: tuple[Feed, ...] = ()
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Stable keys."""
        return {
            "order": self.order,
            "line": self.line,
            "on": self.on.isoformat(),
            "printer": self.printer,
            "pieces": self.pieces,
            "verdict": self.verdict,
            "chance": self.chance,
            "missing": [lack.to_json() for lack in self.lacks],
            "load": [feed.to_json() for feed in self.feeds],
            "notes": list(self.notes),
        }


@dataclass(frozen=True, slots=True)
class Clearance:
    """Every job of the next days in its order; ``better`` is an order that lets more through.

    ``better`` holds (order, line) pairs: first the jobs that can all be printed one after another,
    then those that wait; empty where the order given is as good.
    """

    on: date
    days: int
    jobs: tuple[Job, ...]
    better: tuple[tuple[str, int], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Jobs in turn, and the better order or null."""
        return {
            "on": self.on.isoformat(),
            "days": self.days,
            "jobs": [job.to_json() for job in self.jobs],
            "better_order": [{"order": ref, "line": line} for ref, line in self.better] or None,
        }


def clear_to_print(
    snapshot: Snapshot,
    days: int,
    courses: int = COURSES,
    *,
    absent: Collection[tuple[str, int]] = (),
) -> Clearance:
    """Walk the firm jobs planned for the next ``days`` days (today is the first).

    Args:
        absent: (order, line) of jobs whose garments are not stock and not here, a customer's own:
            a better order lets the others through first.
    """
    jobs = jobs_of(snapshot.order_lines, snapshot.day, days)
    rates = misprint_rates(snapshot.misprints, snapshot.settings.misprint_prior)
    hall = _Hall(snapshot, courses)
    found = tuple(hall.take(line, rates) for line in jobs)
    return Clearance(snapshot.day, days, found, _better(snapshot, jobs, rates, absent))


def jobs_of(lines: Iterable[OrderLine], day: date, days: int) -> list[OrderLine]:
    """Firm lines planned within ``days`` days, in the order they are to be printed."""
    last = day + timedelta(days=days - 1)
    firm = [line for line in lines if line.stage != "quote" and line.pieces > 0]
    near = [line for line in firm if planned_on(line, day) <= last]
    return sorted(
        near, key=lambda line: (planned_on(line, day), line.due_on, line.order, line.line)
    )


def planned_on(line: OrderLine, day: date) -> date:
    """The day a line is for: scheduled, else due, and never before ``day``."""
    return max(line.scheduled_on or line.due_on, day)


@dataclass(eq=False)
class _Pile:
    """Lots of one item at one place, first expired first: how much is left in each course."""

    lots: list[tuple[int | None, Floats]] = field(default_factory=list)

    def left(self, day: int) -> Floats | float:
        """What may be used on day offset ``day``."""
        return sum((amount for last, amount in self.lots if last is None or last >= day), 0.0)

    def draw(self, wanted: Floats, day: int) -> Floats:
        """Take up to ``wanted``; what could not be taken is returned."""
        missing = wanted.copy()
        for last, amount in self.lots:
            if last is None or last >= day:
                taken = np.minimum(amount, missing)
                amount -= taken
                missing -= taken
        return missing


class _Hall:
    """Slots and shelves while the jobs are walked; one course without chance is the average."""

    def __init__(self, snapshot: Snapshot, courses: int) -> None:
        self.snapshot, self.courses = snapshot, courses
        self.by_chance = courses > 1
        self.units = {item.sku: item.unit for item in snapshot.items}
        self.kinds = {item.sku: item.kind for item in snapshot.items}
        self.shelf: dict[str, _Pile] = {}
        self.slots: dict[tuple[str, str], _Pile] = {}
        self.pack: dict[str, float] = {}
        self.errors: dict[str, Floats] = {}
        self.upkeep_until: dict[tuple[str, str], int] = {}
        self.coming: dict[str, float] = {}
        for offer in snapshot.offers:
            if offer.preferred or offer.item not in self.pack:
                self.pack[offer.item] = offer.amount
        for line in snapshot.on_order:
            self.coming[line.item] = self.coming.get(line.item, 0.0) + line.amount
        for sku, shelf in sort_out(snapshot.stock, snapshot.day).items():
            for counted in shelf.counted:
                self._put(sku, counted)

    def _put(self, sku: str, counted: CountedLot) -> None:
        lot = counted.lot
        amount = np.full(self.courses, counted.amount)
        if lot.amount_sd > 0 and self.by_chance:
            draws = stream(self.snapshot.settings.seed, "level", lot.place, lot.lot)
            amount = np.maximum(amount + lot.amount_sd * draws.standard_normal(self.courses), 0.0)
        if lot.place_kind == "slot":
            pile = self.slots.setdefault((lot.printer, sku), _Pile())
        else:
            pile = self.shelf.setdefault(sku, _Pile())
        pile.lots.append((counted.last_day, amount))

    def take(self, line: OrderLine, rates: MisprintRates) -> Job:
        """Print one job in every course and say how it went."""
        on = planned_on(line, self.snapshot.day)
        offset = (on - self.snapshot.day).days
        pieces = self._pieces(line, rates)
        short = np.zeros(self.courses, bool)
        lacks: list[Lack] = []
        feeds: list[Feed] = []
        for use in line.uses:
            wanted = pieces * np.maximum(use.amount + use.sd * self._error(use.item), 0.0)
            self._keep_up(line.printer, use.item, offset)
            here = self._left(line.printer, use.item, offset)
            missing, dry = self._draw(line.printer, use.item, wanted, offset)
            gone = missing > 1e-6 * np.maximum(wanted, 1.0)
            short |= gone
            if gone.mean() > 1 - SURE:
                lacks.append(
                    Lack(
                        use.item,
                        self.units.get(use.item, ""),
                        float(wanted.mean()),
                        float(np.mean(here)),
                        float(gone.mean()),
                        self.coming.get(use.item, 0.0),
                        self._past_date(line.printer, use.item, on),
                    )
                )
            if (dry & ~gone).mean() > 1 - SURE:
                feeds.append(Feed(line.printer, use.item, float((dry & ~gone).mean())))
        chance = float(1 - short.mean())
        return Job(
            order=line.order,
            line=line.line,
            on=on,
            printer=line.printer,
            pieces=line.pieces,
            verdict=_verdict(chance, bool(feeds)),
            chance=chance,
            lacks=tuple(sorted(lacks, key=lambda lack: (-lack.chance, lack.item))),
            feeds=tuple(sorted(feeds, key=lambda feed: (-feed.chance, feed.item))),
            notes=self._notes(line),
        )

    def fits(self, line: OrderLine, rates: MisprintRates) -> bool:
        """Whether the job can be finished on average; it is taken only if so."""
        offset = (planned_on(line, self.snapshot.day) - self.snapshot.day).days
        made = line.pieces * (1 + rates.rate(line.location))
        for use in line.uses:
            self._keep_up(line.printer, use.item, offset)
            if np.mean(self._left(line.printer, use.item, offset)) < made * use.amount - 1e-9:
                return False
        for use in line.uses:
            self._draw(line.printer, use.item, np.array([made * use.amount]), offset)
        return True

    def _past_date(self, printer: str, sku: str, on: date) -> float:
        return sum(
            lot.amount
            for lot in self.snapshot.stock
            if lot.item == sku
            and not lot.owner
            and lot.place_kind != "quarantine"
            and (lot.place_kind != "slot" or lot.printer == printer)
            and lot.effective_expiry is not None
            and lot.effective_expiry < on
        )

    def _notes(self, line: OrderLine) -> tuple[str, ...]:
        inked = any(self.kinds.get(use.item) == "ink" for use in line.uses)
        return () if inked else ("Ink is not judged: no artwork of it is measured.",)

    def _pieces(self, line: OrderLine, rates: MisprintRates) -> Floats:
        draws = stream(self.snapshot.settings.seed, "clear", line.order, line.line)
        whole = max(1, round(line.pieces))
        spoiled = draws.binomial(whole, rates.rate(line.location), self.courses)
        return np.asarray(line.pieces + spoiled * (line.pieces / whole), float)

    def _error(self, sku: str) -> Floats:
        """How wrong an item's rate is in each course, the same for all jobs."""
        if not self.by_chance:
            return np.zeros(1)
        if sku not in self.errors:
            draws = stream(self.snapshot.settings.seed, "clear rate", sku)
            self.errors[sku] = draws.standard_normal(self.courses)
        return self.errors[sku]

    def _keep_up(self, printer: str, sku: str, offset: int) -> None:
        """Take what the machine drinks by itself up to the morning of ``offset``."""
        since = self.upkeep_until.get((printer, sku), 0)
        if offset <= since:
            return
        self.upkeep_until[printer, sku] = offset
        for loss in self.snapshot.upkeep:
            if loss.item == sku and loss.printer == printer:
                daily = np.maximum(loss.per_day + loss.per_day_sd * self._error(sku), 0.0)
                self._draw(printer, sku, daily * (offset - since), offset)

    def _left(self, printer: str, sku: str, offset: int) -> Floats | float:
        loaded = self.slots.get((printer, sku))
        shelf = self.shelf.get(sku)
        return (loaded.left(offset) if loaded else 0.0) + (shelf.left(offset) if shelf else 0.0)

    def _draw(
        self, printer: str, sku: str, wanted: Floats, offset: int
    ) -> tuple[Floats, np.ndarray[Any, np.dtype[np.bool_]]]:
        """Draw from the machine's slots, fed by the pack from the shelf: (missing, ran dry)."""
        shelf = self.shelf.setdefault(sku, _Pile())
        if self.kinds.get(sku) != "ink":
            return shelf.draw(wanted, offset), np.zeros(self.courses, bool)
        slot = self.slots.setdefault((printer, sku), _Pile())
        missing = slot.draw(wanted, offset)
        dry = missing > 1e-9
        if not dry.any():
            return missing, dry
        pack = self.pack.get(sku, 0.0)
        packs = np.ceil(missing / pack) * pack if pack > 0 else missing
        loaded = np.where(dry, packs, 0.0)
        loaded -= shelf.draw(loaded, offset)
        slot.lots.append((None, loaded))
        return slot.draw(missing, offset), dry


def _verdict(chance: float, feeds: bool) -> Verdict:
    if chance >= SURE:
        return "load" if feeds else "clear"
    return "at risk" if chance >= EVEN else "short"


def _better(
    snapshot: Snapshot,
    jobs: Sequence[OrderLine],
    rates: MisprintRates,
    absent: Collection[tuple[str, int]],
) -> tuple[tuple[str, int], ...]:
    """Jobs that fit one after another first, those that do not last; empty when all fit.

    On averages: a job that does not fit takes nothing, so that what is here goes to jobs that can
    be finished.
    """
    hall = _Hall(snapshot, 1)
    first: list[OrderLine] = []
    later: list[OrderLine] = []
    for line in jobs:
        here = (line.order, line.line) not in absent
        (first if here and hall.fits(line, rates) else later).append(line)
    better = [*first, *later]
    if not later or not first or better == list(jobs):
        return ()
    return tuple((line.order, line.line) for line in better)

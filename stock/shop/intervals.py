"""What the machine really drank between two looks at it, beside what it printed meanwhile.

From the book: loads, swaps, weighings, dips, counters and the printer's own job log become
intervals of use (mL) with covered area by mode (cm² of full tone), garments, start-ups and
calendar days, which ``stock.ink`` fits rates to. Undone entries do not count.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, or_, select

from stock.book.tables import (
    container,
    entry,
    movement,
    place,
    print_run,
    printer,
    reading,
)
from stock.ink.mode import CHANNELS
from stock.shop.estimating import Estimator, find_line

if TYPE_CHECKING:
    from stock.ink.interval import Interval

WEIGH_SD_ML = 2.0
"""A shop scale reads to a gram or two: judgement, no source."""
DIP_SD_SHARE = 0.02
SWAP_SD_SHARE = 0.015
COUNTER_SD_SHARE = 0.01
JOB_SD_SHARE = 0.02
"""Spread of the other sources, as a share of the container or of the use: judgement, no source."""

Moment = tuple[date, int]
"""Business day and entry: entries of one day stand in the order they were made."""


@dataclass(frozen=True, slots=True)
class LevelLook:
    """A level known at a moment, mL; ``source`` of the interval that ends here."""

    at: Moment
    level_ml: float
    sd_ml: float
    source: str


class Printed:
    """Running sums of what one printer printed, to be cut by moments."""

    def __init__(self, rows: list[Any], starts: list[Moment]) -> None:
        self.moments: list[Moment] = [(row.day, row.entry_id) for row in rows]
        self.rows = rows
        self.starts = sorted(starts)

    def between(
        self, after: Moment, until: Moment, channel: str
    ) -> tuple[dict[str, float], float, float]:
        """(covered cm² by mode, garments, start-ups) after one moment up to another."""
        first, last = bisect_right(self.moments, after), bisect_right(self.moments, until)
        covered: dict[str, float] = defaultdict(float)
        prints = 0.0
        for row in self.rows[first:last]:
            area = getattr(row, f"{channel.lower()}_cm2")
            covered[row.mode] += area
            if area > 0:
                # Estimates charge the overhead of a print only to channels that print.
                prints += row.pieces
        began = bisect_right(self.starts, until) - bisect_right(self.starts, after)
        return dict(covered), prints, float(began)


def intervals_of(connection: Connection, *, printer_code: str = "") -> list[Interval]:
    """All intervals of use the book holds, of one printer or of all."""
    found: list[Interval] = []
    machines = select(printer.c.id, printer.c.code).order_by(printer.c.code)
    if printer_code:
        machines = machines.where(printer.c.code == printer_code)
    for machine in connection.execute(machines):
        printed = printed_by(connection, machine.id)
        slots = connection.execute(
            select(place).where(place.c.printer_id == machine.id, place.c.kind == "slot")
        ).all()
        for slot in slots:
            looks = _tank(connection, slot) if slot.feed == "tank" else _boxes(connection, slot)
            for before, after, added in looks:
                found.append(
                    _interval(connection, machine.code, slot, slots, printed, before, after, added)
                )
        found += _counters(connection, machine, printed)
        found += _jobs(connection, machine)
    return found


def _kept(column: Any) -> Any:
    """Condition: the entry was not undone and is no undo."""
    undone = select(entry.c.reverses).where(entry.c.reverses.is_not(None))
    return column.not_in(undone)


def printed_by(connection: Connection, printer_id: int) -> Printed:
    rows = connection.execute(
        select(
            entry.c.day,
            print_run.c.entry_id,
            print_run.c.mode,
            (print_run.c.good + print_run.c.misprints).label("pieces"),
            *(print_run.c[f"{channel.lower()}_cm2"] for channel in CHANNELS),
        )
        .join(entry, entry.c.id == print_run.c.entry_id)
        .where(print_run.c.printer_id == printer_id, _kept(entry.c.id))
        .order_by(entry.c.day, entry.c.id)
    ).all()
    starts = connection.execute(
        select(entry.c.day, entry.c.id)
        .join(movement, movement.c.entry_id == entry.c.id)
        .join(place, place.c.id == movement.c.from_place_id)
        .where(entry.c.kind == "start", place.c.printer_id == printer_id, _kept(entry.c.id))
        .distinct()
    )
    return Printed(list(rows), [(day, entry_id) for day, entry_id in starts])


def _boxes(connection: Connection, slot: Any) -> Iterator[tuple[LevelLook, LevelLook, float]]:
    """Looks at each cartridge that was in the slot: loaded full, weighed, taken out dry."""
    loads = connection.execute(
        select(
            movement.c.to_container_id,
            movement.c.day,
            movement.c.entry_id,
            movement.c.amount,
            container.c.capacity,
        )
        .join(container, container.c.id == movement.c.to_container_id)
        .join(entry, entry.c.id == movement.c.entry_id)
        .where(
            movement.c.to_place_id == slot.id,
            entry.c.kind.in_(("load", "swap")),
            ~entry.c.note.like("assumed%"),
            _kept(entry.c.id),
        )
        .order_by(movement.c.day, movement.c.entry_id)
    ).all()
    looked = defaultdict(list)
    for row in _levels(connection, slot):
        looked[row.container_id].append(row)
    for load in loads:
        capacity = load.capacity / 1000
        full = LevelLook(
            (load.day, load.entry_id), load.amount / 1000, SWAP_SD_SHARE * capacity, "load"
        )
        before = full
        for row in looked[load.to_container_id]:
            sd = SWAP_SD_SHARE * capacity if row.kind == "swap" else WEIGH_SD_ML
            after = LevelLook((row.day, row.entry_id), row.level / 1000, sd, row.kind)
            if after.at > before.at:
                yield before, after, 0.0
                before = after


def _tank(connection: Connection, slot: Any) -> Iterator[tuple[LevelLook, LevelLook, float]]:
    """Looks at a tank: dipped or weighed, with what was poured in between."""
    poured = connection.execute(
        select(movement.c.day, movement.c.entry_id, movement.c.amount)
        .join(entry, entry.c.id == movement.c.entry_id)
        .where(
            movement.c.to_place_id == slot.id,
            entry.c.kind.in_(("load", "topup")),
            _kept(entry.c.id),
        )
        .order_by(movement.c.day, movement.c.entry_id)
    ).all()
    before: LevelLook | None = None
    for row in _levels(connection, slot):
        capacity = (slot.capacity or row.level) / 1000
        sd = WEIGH_SD_ML if row.kind == "weigh" else DIP_SD_SHARE * capacity
        after = LevelLook((row.day, row.entry_id), row.level / 1000, sd, row.kind)
        if before is not None and after.at > before.at:
            added = sum(
                pour.amount for pour in poured if before.at < (pour.day, pour.entry_id) <= after.at
            )
            yield before, after, added / 1000
        before = after


def _levels(connection: Connection, slot: Any) -> list[Any]:
    return list(
        connection.execute(
            select(
                reading.c.kind,
                reading.c.day,
                reading.c.entry_id,
                reading.c.container_id,
                reading.c.level,
            )
            .where(
                reading.c.place_id == slot.id,
                reading.c.kind.in_(("weigh", "dip", "swap")),
                reading.c.level.is_not(None),
                _kept(reading.c.entry_id),
            )
            .order_by(reading.c.day, reading.c.entry_id)
        )
    )


def _interval(
    connection: Connection,
    printer_code: str,
    slot: Any,
    slots: Sequence[Any],
    printed: Printed,
    before: LevelLook,
    after: LevelLook,
    added_ml: float,
) -> Interval:
    from stock.ink.interval import Interval

    covered, prints, starts = printed.between(before.at, after.at, slot.channel)
    share = _share(connection, slot, slots, before.at, after.at)
    return Interval(
        printer=printer_code,
        channel=slot.channel,
        source=after.source,
        start=before.at[0],
        end=after.at[0],
        used_ml=before.level_ml + added_ml - after.level_ml,
        used_sd_ml=(before.sd_ml**2 + after.sd_ml**2) ** 0.5,
        covered_cm2={mode: area * share for mode, area in covered.items()},
        prints=prints * share,
        starts=starts * share,
        days=(after.at[0] - before.at[0]).days * share,
    )


def _share(
    connection: Connection, slot: Any, slots: Sequence[Any], after: Moment, until: Moment
) -> float:
    """This slot's part of what its channel gave: 1 for a channel with one slot."""
    mates = [other.id for other in slots if other.channel == slot.channel]
    if len(mates) == 1:
        return 1.0
    drawn = dict.fromkeys(mates, 0)
    rows = connection.execute(
        select(movement.c.from_place_id, movement.c.day, movement.c.entry_id, movement.c.amount)
        .join(place, place.c.id == movement.c.to_place_id)
        .where(
            movement.c.from_place_id.in_(mates),
            movement.c.day >= after[0],
            movement.c.day <= until[0],
            or_(place.c.kind == "printed", place.c.kind == "upkeep", place.c.kind == "waste"),
        )
    )
    for where, day, entry_id, amount in rows:
        if after < (day, entry_id) <= until:
            drawn[where] += amount
    total = sum(drawn.values())
    return drawn[slot.id] / total if total else 1.0 / len(mates)


def _counters(connection: Connection, machine: Any, printed: Printed) -> Iterator[Interval]:
    from stock.ink.interval import Interval

    rows = connection.execute(
        select(reading.c.channel, reading.c.day, reading.c.entry_id, reading.c.counter)
        .where(
            reading.c.kind == "counter",
            reading.c.printer_id == machine.id,
            reading.c.channel != "",
            _kept(reading.c.entry_id),
        )
        .order_by(reading.c.channel, reading.c.day, reading.c.entry_id)
    ).all()
    for one, two in pairwise(rows):
        if one.channel != two.channel or two.counter < one.counter:
            continue
        used = two.counter - one.counter
        after, until = (one.day, one.entry_id), (two.day, two.entry_id)
        covered, prints, starts = printed.between(after, until, one.channel)
        yield Interval(
            printer=machine.code,
            channel=one.channel,
            source="counter",
            start=one.day,
            end=two.day,
            used_ml=used,
            used_sd_ml=max(COUNTER_SD_SHARE * used, 0.5),
            covered_cm2=covered,
            prints=prints,
            starts=starts,
            days=float((two.day - one.day).days),
        )


def _jobs(connection: Connection, machine: Any) -> Iterator[Interval]:
    """The printer's own job log: ink of one job, with the area its order line covers."""
    from stock.ink.interval import Interval

    estimator = Estimator(connection)
    rows = connection.execute(
        select(
            reading.c.channel,
            reading.c.day,
            reading.c.used_ml,
            reading.c.pieces,
            entry.c.note,
        )
        .join(entry, entry.c.id == reading.c.entry_id)
        .where(
            reading.c.kind == "jobink",
            reading.c.printer_id == machine.id,
            _kept(reading.c.entry_id),
        )
        .order_by(reading.c.day, reading.c.id)
    )
    lines: dict[str, Any] = {}
    for row in rows:
        order, _, number = row.note.rpartition("/")
        if not order or not number.isdigit():
            continue
        if row.note not in lines:
            lines[row.note] = find_line(connection, order, int(number))
        line = lines[row.note]
        use = estimator.line_use(line, row.day, machine.id)
        mode = estimator.mode(line.mode).code
        area = use.covered_cm2.get(row.channel, 0.0)
        if area <= 0 and row.used_ml <= 0:
            continue  # a channel that did not print took nothing, as estimated: no news
        yield Interval(
            printer=machine.code,
            channel=row.channel,
            source="jobink",
            start=row.day,
            end=row.day,
            used_ml=row.used_ml,
            used_sd_ml=max(JOB_SD_SHARE * row.used_ml, 0.02),
            covered_cm2={mode: area * row.pieces},
            prints=row.pieces if area > 0 else 0.0,
            starts=0.0,
            days=0.0,
        )

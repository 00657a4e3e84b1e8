"""Logging prints: what a run took from slots, pretreat and shelf, good pieces and misprints.

A print is never refused for lack of stock: it happened. What a place could not give is noted as
an overrun and asks for a look at that place. Amounts are integers of thousandths.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from sqlalchemy import Connection, Select, bindparam, func, select, update

from stock.book.drawing import Draw
from stock.book.opening import Book
from stock.book.posting import Posting
from stock.book.tables import customer_order, entry, item, order_line, print_run, printer
from stock.clock import now_utc
from stock.errors import Outdated, Refused
from stock.ink.mode import CHANNELS
from stock.shop.choosing import past_date, past_date_in_slot
from stock.shop.estimating import Estimator, LineUse, all_lines, find_line
from stock.shop.feeding import Feeder
from stock.shop.finding import find
from stock.shop.recipes import amount_of_grams
from stock.shop.slots import (
    Overrun,
    draw_from_shelf,
    move_draws,
    note_overrun,
    slots_of,
)
from stock.shop.upkeep import DailyUpkeep
from stock.units import format_amount, from_thousandths, to_thousandths

MOST_PIECES = 1_000_000


@dataclass(frozen=True, slots=True)
class Used:
    """What a print took of one item, from where and which lots (thousandths)."""

    item: str
    amount: int
    unit: str
    places: tuple[str, ...]
    lots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Printed:
    """A logged print."""

    entry: int
    used: tuple[Used, ...]
    overruns: tuple[Overrun, ...]
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """With the contract's keys; amounts in base units."""
        return {
            "entry": self.entry,
            "used": [
                {
                    "item": used.item,
                    "amount": from_thousandths(used.amount),
                    "unit": used.unit,
                    "places": list(used.places),
                    "lots": list(used.lots),
                }
                for used in self.used
            ],
            "overruns": [
                {
                    "item": over.item,
                    "place": over.place,
                    "asked": from_thousandths(over.asked),
                    "taken": from_thousandths(over.taken),
                    "unit": over.unit,
                    "say": overrun_sentence(over),
                }
                for over in self.overruns
            ],
            "notes": list(self.notes),
        }


def overrun_sentence(over: Overrun) -> str:
    """What an overrun asks of a person."""
    asked, taken = format_amount(over.asked, over.unit), format_amount(over.taken, over.unit)
    return f"Check {over.place}: {over.item} gave {taken} of {asked} asked."


@dataclass(frozen=True, slots=True)
class PrintLog:
    """One run to log."""

    order: str
    line: int
    good: int
    misprints: int
    on: date
    printer: str = ""
    location: str = ""
    source_ref: str | None = None
    note: str = ""


def log_print(
    book: Book,
    log: PrintLog,
    *,
    who: str = "",
    assume_swaps: bool = False,
    left: int | None = None,
) -> Printed:
    """Log one print run and return what it took.

    Args:
        left: Pieces that were left to print when somebody looked; None: nobody did.

    Raises:
        Outdated: Another number is left by now: the run was logged by somebody else, it seems.
        Refused: No such order line, or no pieces.
        Unknown: No such printer.
    """

    def work(connection: Connection) -> Printed:
        if left is not None:
            _still_left(connection, log, left)
        posting = Posting(connection, who=who, at=now_utc())
        poster = PrintPoster(posting, assume_swaps=assume_swaps)
        printed = poster.post(log)
        posting.flush()
        settle_orders(connection, [log.order])
        return printed

    return book.write(work)


def _still_left(connection: Connection, log: PrintLog, left: int) -> None:
    line = find_line(connection, log.order, log.line)
    locked = select(order_line.c.quantity).where(order_line.c.id == line.id).with_for_update()
    quantity = int(connection.execute(locked).scalar_one())
    now = quantity - pieces_printed(connection, [line.id]).get(line.id, 0)
    if now != left:
        raise Outdated(f"{log.order}/{log.line}", f"{left}", f"{now} of {quantity} left to print")


class PrintPoster:
    """Posts print runs one after another within one posting."""

    def __init__(self, posting: Posting, *, assume_swaps: bool, whole: bool = False) -> None:
        self.posting = posting
        self.connection = posting.connection
        self.feeder = Feeder(posting, assume_swaps=assume_swaps)
        self.estimator = Estimator(self.connection)
        self.upkeep = DailyUpkeep(posting, self.estimator, self.feeder)
        self._lines: dict[tuple[str, int], Any] = (
            {(line.ref, line.line): line for line in all_lines(posting.connection)} if whole else {}
        )
        self._pretreats: list[tuple[int, float]] | None = None
        self._printers: dict[str, int] = {}
        self._held: set[int] = set()
        self._only_printer: int | None = None

    def _printer_id(self, log: PrintLog, line: Any) -> int | None:
        if log.printer:
            if log.printer not in self._printers:
                row = find(self.connection, printer, printer.c.code, log.printer, "printer")
                self._printers[log.printer] = row.id
            return self._printers[log.printer]
        if line.printer_id is not None:
            found: int = line.printer_id
            return found
        if self._only_printer is None:
            ids = self.connection.scalars(select(printer.c.id).where(printer.c.active)).all()
            self._only_printer = ids[0] if len(ids) == 1 else -1
            if len(ids) > 1:
                self._only_printer = -1
        return self._only_printer if self._only_printer > 0 else None

    def _line(self, log: PrintLog) -> Any:
        key = (log.order, log.line)
        if key not in self._lines:
            self._lines[key] = find_line(self.connection, log.order, log.line)
        return self._lines[key]

    def post(self, log: PrintLog) -> Printed:
        """Append one run; see :func:`log_print`."""
        pieces = log.good + log.misprints
        if log.good < 0 or log.misprints < 0 or not 0 < pieces <= MOST_PIECES:
            raise Refused(
                f"{log.good} good and {log.misprints} misprints were given; "
                f"expected whole numbers that add up to 1 or more."
            )
        line = self._line(log)
        if line.stage == "cancelled":
            raise Refused(f"Order {log.order} is cancelled; import it as released before printing.")
        printer_id = self._printer_id(log, line)
        use = self.estimator.line_use(line, log.on, printer_id)
        posting = self.posting
        self._hold(printer_id, line.blank_id)
        if printer_id is not None:
            self.upkeep.post_until(printer_id, log.on - timedelta(days=1))
        entry_id = posting.entry("print", log.on, note=log.note, source_ref=log.source_ref)
        posting.add(
            print_run,
            entry_id=entry_id,
            order_line_id=line.id,
            printer_id=printer_id,
            mode=self.estimator.mode(line.mode).code,
            location=log.location or line.location,
            good=log.good,
            misprints=log.misprints,
            calibrated=use.calibrated,
            **{
                f"{channel.lower()}_cm2": use.covered_cm2.get(channel, 0.0) * pieces
                for channel in CHANNELS
            },
        )
        run = _Run(self, entry_id, log)
        if use.ml and printer_id is None:
            run.notes.append("No printer was named, so no ink was drawn: name one with --printer.")
        elif printer_id is not None:
            for channel, ml in use.ml.items():
                if ml > 0:
                    run.take_ink(printer_id, channel, ml)
        if use.pretreat_g > 0:
            run.take_pretreat(use)
        run.take_blanks(line)
        if not self.feeder.assume_swaps:
            run.notes.extend(self._more_than_ordered(log, line))
            if not use.covered_cm2:
                lacks = "has no artwork" if line.artwork_id is None else "has unmeasured artwork"
                run.notes.append(
                    f"The line {lacks}: its garments were taken, ink and pretreat were not."
                )
        run.notes.extend(note for note in use.notes if use.covered_cm2)
        notes = tuple(dict.fromkeys(run.notes))
        return Printed(entry_id, tuple(run.used), tuple(run.overruns), notes)

    def _more_than_ordered(self, log: PrintLog, line: Any) -> list[str]:
        """Good pieces beyond the order: they happened, yet a slip of the keys looks like it."""
        printed = pieces_printed(self.connection, [line.id]).get(line.id, 0) + log.good
        if log.good == 0 or printed <= line.quantity:
            return []
        return [
            f"{log.order} line {log.line} asks for {line.quantity:,} pieces; "
            f"{printed:,} good ones are logged now."
        ]

    def _hold(self, printer_id: int | None, blank_id: int) -> None:
        """Lock all this run may draw, in one fixed order."""
        slots = []
        if printer_id is not None and printer_id not in self._held:
            self._held.add(printer_id)
            places = self.posting.places.values()
            slots = [held.id for held in places if held.printer_id == printer_id]
        pretreats = [found[0] for found in self.pretreats()]
        self.posting.hold_together([blank_id, *pretreats], slots)

    def pretreats(self) -> list[tuple[int, float]]:
        """(item id, its units per g) of pretreat that is ready to spray: concentrates are not."""
        if self._pretreats is None:
            concentrates = set(
                self.connection.scalars(select(item.c.mixed_from).where(item.c.mixed_from != ""))
            )
            rows = self.connection.execute(
                select(item.c.id, item.c.unit, item.c.sku, item.c.density_g_per_ml)
                .where(item.c.kind == "pretreat", item.c.unit.in_(("g", "mL")))
                .order_by(item.c.id)
            )
            self._pretreats = [
                (row.id, amount_of_grams(1.0, row.unit, row.density_g_per_ml))
                for row in rows
                if row.sku not in concentrates
            ]
        return self._pretreats


class _Run:
    """The draws of one run."""

    def __init__(self, poster: PrintPoster, entry_id: int, log: PrintLog) -> None:
        self.poster, self.posting, self.entry_id, self.log = poster, poster.posting, entry_id, log
        self.used: list[Used] = []
        self.overruns: list[Overrun] = []
        self.notes: list[str] = []

    def _sharing(self, left_for_good: int) -> Callable[[list[Draw]], None]:
        """Books draws: the good pieces' share goes to printed, the misprints' to waste."""

        def post(draws: list[Draw]) -> None:
            nonlocal left_for_good
            for_good: list[Draw] = []
            for_waste: list[Draw] = []
            for draw in draws:
                part = min(draw.amount, left_for_good)
                left_for_good -= part
                if part:
                    for_good.append(Draw(draw.holding, part))
                if draw.amount > part:
                    for_waste.append(Draw(draw.holding, draw.amount - part))
            log, posting = self.log, self.posting
            move_draws(posting, self.entry_id, log.on, for_good, posting.place("PRINTED"))
            move_draws(posting, self.entry_id, log.on, for_waste, posting.place("WASTE"))

        return post

    def _note_use(self, draws: list[Draw]) -> None:
        by_item: dict[int, list[Draw]] = {}
        for draw in draws:
            by_item.setdefault(draw.holding.item_id, []).append(draw)
        for item_id, mine in by_item.items():
            sku, unit = self.posting.names(item_id)
            places = dict.fromkeys(self.posting.places[d.holding.place_id].code for d in mine)
            lots = dict.fromkeys(draw.holding.lot_code for draw in mine)
            self.used.append(
                Used(sku, sum(d.amount for d in mine), unit, tuple(places), tuple(lots))
            )

    def take_ink(self, printer_id: int, channel: str, ml: float) -> None:
        """Draw one channel's ink for all pieces from the printer's slots."""
        slots = slots_of(self.posting, printer_id, channel)
        if not slots:
            self.notes.append(f"The printer has no slot for channel {channel}: nothing was drawn.")
            return
        if not self.poster.feeder.assume_swaps:  # a file from months ago names no swaps
            for slot in slots:
                self.notes += past_date_in_slot(self.posting, slot, self.log.on)
        per_piece = to_thousandths(ml)
        asked = per_piece * (self.log.good + self.log.misprints)
        draws = self.poster.feeder.take(
            slots, asked, self.log.on, self._sharing(per_piece * self.log.good)
        )
        self._note_use(draws)
        taken = sum(draw.amount for draw in draws)
        if taken < asked:
            item_id = slots[0].item_id or (draws[0].holding.item_id if draws else None)
            if item_id is None:
                self.notes.append(f"Slot {slots[0].code} is empty and takes no known item.")
                return
            self.overruns.append(
                note_overrun(self.posting, self.entry_id, item_id, slots[0], asked, taken)
            )

    def take_pretreat(self, use: LineUse) -> None:
        """Draw pretreat for all pieces, opened canisters and early dates first."""
        pieces = self.log.good + self.log.misprints
        ready = self.poster.pretreats()
        if not ready:
            self.notes.append("No pretreat is in the book: none was drawn.")
            return
        per_piece_mg = to_thousandths(use.pretreat_g)
        left_mg, good_mg = per_piece_mg * pieces, per_piece_mg * self.log.good
        taken_first = 0
        for place, (item_id, per_gram) in enumerate(ready):
            wanted = round(left_mg * per_gram)
            if wanted <= 0:
                break
            draws = draw_from_shelf(self.posting, item_id, wanted, day=self.log.on)
            for draw in draws:
                self.notes += past_date(self.posting, draw.holding, self.log.on)
            taken = sum(draw.amount for draw in draws)
            taken_first = taken if place == 0 else taken_first
            self._sharing(round(good_mg * per_gram))(draws)
            self._note_use(draws)
            taken_mg = round(taken / per_gram)
            left_mg = 0 if taken == wanted else left_mg - taken_mg
            good_mg = max(good_mg - taken_mg, 0)
        missing = round(left_mg * ready[0][1])
        if missing > 0:
            shelf = self.posting.place("SHELF")
            asked = taken_first + missing
            self.overruns.append(
                note_overrun(self.posting, self.entry_id, ready[0][0], shelf, asked, taken_first)
            )

    def take_blanks(self, line: Any) -> None:
        """Draw one blank per piece, a misprint's too; a customer's line draws only its own."""
        asked = 1000 * (self.log.good + self.log.misprints)
        draws = draw_from_shelf(
            self.posting, line.blank_id, asked, day=self.log.on, owner=line.owner
        )
        taken = sum(draw.amount for draw in draws)
        self._sharing(1000 * self.log.good)(draws)
        self._note_use(draws)
        if taken < asked:
            shelf = self.posting.place("SHELF")
            self.overruns.append(
                note_overrun(self.posting, self.entry_id, line.blank_id, shelf, asked, taken)
            )


def good_by_line() -> Select[Any]:
    """Good pieces by order line, as a query; undone runs do not count."""
    undone = select(entry.c.reverses).where(entry.c.reverses.is_not(None))
    return (
        select(print_run.c.order_line_id, func.sum(print_run.c.good).label("good"))
        .where(print_run.c.entry_id.not_in(undone), print_run.c.order_line_id.is_not(None))
        .group_by(print_run.c.order_line_id)
    )


def pieces_printed(connection: Connection, line_ids: list[int] | None = None) -> dict[int, int]:
    """Good pieces by order line; undone runs do not count."""
    query = good_by_line()
    if line_ids is not None:
        query = query.where(print_run.c.order_line_id.in_(line_ids))
    return {line: int(good) for line, good in connection.execute(query)}


def settle_orders(connection: Connection, refs: list[str]) -> None:
    """An order whose every line is fully printed becomes ``printed``, and back when undone."""
    wanted = list(dict.fromkeys(refs))
    stages: dict[str, list[int]] = {"printed": [], "released": []}
    for start in range(0, len(wanted), 400):
        _judge(connection, wanted[start : start + 400], stages)
    for stage, ids in stages.items():
        if ids:
            connection.execute(
                update(customer_order)
                .where(customer_order.c.id == bindparam("row"))
                .values(stage=stage),
                [{"row": order_id} for order_id in ids],
            )


def _judge(connection: Connection, refs: list[str], stages: dict[str, list[int]]) -> None:
    """Add each order whose stage must change to the list of its new stage."""
    rows = connection.execute(
        select(
            customer_order.c.id,
            customer_order.c.stage,
            order_line.c.id.label("line_id"),
            order_line.c.quantity,
        )
        .join(order_line, order_line.c.order_id == customer_order.c.id)
        .where(customer_order.c.ref.in_(refs))
    ).all()
    printed = pieces_printed(connection, [row.line_id for row in rows])
    done: dict[int, bool] = {}
    stage: dict[int, str] = {}
    for row in rows:
        enough = printed.get(row.line_id, 0) >= row.quantity
        done[row.id] = done.get(row.id, True) and enough
        stage[row.id] = row.stage
    for order_id, finished in done.items():
        if finished and stage[order_id] in ("quote", "confirmed", "released"):
            stages["printed"].append(order_id)
        elif not finished and stage[order_id] == "printed" and _has_runs(connection, order_id):
            stages["released"].append(order_id)


def _has_runs(connection: Connection, order_id: int) -> bool:
    """Whether any run of that order is in the book (an old order may be printed without one)."""
    return (
        connection.scalar(
            select(func.count())
            .select_from(print_run)
            .join(order_line, order_line.c.id == print_run.c.order_line_id)
            .where(order_line.c.order_id == order_id)
        )
        or 0
    ) > 0

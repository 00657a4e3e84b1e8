"""What a machine drinks without printing: cleaning, circulation, start-ups, test prints.

Amounts by channel are mL. Nothing here is refused for lack of ink: it was used; what a slot could
not give is noted as an overrun. Daily upkeep goes by calendar days, printed on or not, and is
posted for every day since the last one posted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from sqlalchemy import Connection, func, select

from stock.book.containers import loaded_in
from stock.book.drawing import Draw
from stock.book.holding import Place
from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import container_event, entry, place, printer
from stock.errors import Refused
from stock.shop.choosing import Choice, chosen_draws
from stock.shop.done import Done, done
from stock.shop.estimating import Estimator
from stock.shop.feeding import Feeder
from stock.shop.finding import find
from stock.shop.slots import Overrun, draw_from_slots, move_draws, note_overrun, slots_of
from stock.units import format_amount, to_thousandths

DAILY = "upkeep"
"""Kind of the entries that :func:`catch_up` posts; their source reference names printer and day."""

EVENTS = ("clean", "circulate", "start")
MOST_DAYS = 3660


def run_upkeep(
    book: Book,
    printer_code: str,
    kind: str,
    *,
    on: date,
    ml: Mapping[str, float] | None = None,
    who: str = "",
    note: str = "",
) -> Done:
    """Post one cleaning, circulation or start-up of a printer.

    Args:
        kind: ``clean``, ``circulate`` or ``start``.
        ml: Amount by channel; missing: what a start-up takes by the printer's rates.

    Raises:
        Unknown: No such printer.
        Refused: Another kind, a channel the printer has no slot for, or no amount known.
    """

    def work(posting: Posting) -> Done:
        if kind not in EVENTS:
            raise Refused(f"{kind!r} is not one of {', '.join(EVENTS)}.")
        machine = find(posting.connection, printer, printer.c.code, printer_code, "printer")
        amounts = dict(ml) if ml else _start_amounts(posting, machine.id, on)
        if not any(amount > 0 for amount in amounts.values()):
            raise Refused(f"No rate of {printer_code} says how much a {kind} takes: give it.")
        entry_id = posting.entry(kind, on, note=note)
        notes = _draw(posting, entry_id, machine, amounts, on, "UPKEEP")
        return done(posting, entry_id, notes)

    return post(book, work, who=who)


def trial_print(
    book: Book,
    printer_code: str,
    ml: Mapping[str, float],
    *,
    on: date,
    blank: str = "",
    blank_lot: str = "",
    pieces: int = 1,
    who: str = "",
    note: str = "",
) -> Done:
    """Post a test print or nozzle check: its ink is upkeep, a blank spent on it is waste.

    Raises:
        Unknown: No such printer or blank.
        NotEnough: The blank is not on a shelf.
    """

    def work(posting: Posting) -> Done:
        machine = find(posting.connection, printer, printer.c.code, printer_code, "printer")
        if not blank and not any(amount > 0 for amount in ml.values()):
            raise Refused("A test print takes ink, a blank, or both: say how much.")
        draws = []
        if blank:
            wanted = Choice(sku=blank, lot=blank_lot, amount=to_thousandths(pieces))
            draws = chosen_draws(posting, wanted, on)
        entry_id = posting.entry("trial", on, note=note)
        notes = _draw(posting, entry_id, machine, ml, on, "UPKEEP")
        move_draws(posting, entry_id, on, draws, posting.place("WASTE"))
        return done(posting, entry_id, notes)

    return post(book, work, who=who)


def _start_amounts(posting: Posting, printer_id: int, day: date) -> dict[str, float]:
    rates = Estimator(posting.connection).rates(printer_id, "", day)
    return {channel: rate.per_start_ml for channel, rate in rates.items()}


def _draw(
    posting: Posting,
    entry_id: int,
    machine: Any,
    ml: Mapping[str, float],
    day: date,
    target: str,
) -> list[str]:
    notes = []
    for channel, amount in ml.items():
        asked = to_thousandths(amount)
        if asked < 0:
            raise Refused(f"{amount:g} mL of {channel} is less than nothing.")
        if asked == 0:
            continue
        slots = slots_of(posting, machine.id, channel)
        if not slots:
            raise Refused(f"{machine.code} has no slot for channel {channel}.")
        over = _draw_channel(posting, entry_id, slots, asked, day, target)
        if over is not None:
            taken, wanted = (format_amount(part, over.unit) for part in (over.taken, over.asked))
            notes.append(f"Check {over.place}: {over.item} gave {taken} of {wanted} asked")
    return notes


def _draw_channel(
    posting: Posting, entry_id: int, slots: list[Any], asked: int, day: date, target: str
) -> Overrun | None:
    draws = draw_from_slots(slots, posting, asked)
    taken = move_draws(posting, entry_id, day, draws, posting.place(target))
    if taken == asked:
        return None
    item_id = draws[0].holding.item_id if draws else slots[0].item_id
    if item_id is None:
        return None
    return note_overrun(posting, entry_id, item_id, slots[0], asked, taken)


@dataclass(frozen=True, slots=True)
class CaughtUp:
    """Days of daily upkeep posted by printer, and the slots that ran dry meanwhile."""

    days: Mapping[str, int]
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Days by printer."""
        return {"days": dict(self.days), "notes": list(self.notes)}

    def __str__(self) -> str:
        posted = ", ".join(f"{code}: {days} days" for code, days in self.days.items() if days)
        return f"Daily upkeep posted: {posted or 'nothing was missing'}"


def catch_up(book: Book, through: date, *, who: str = "") -> CaughtUp:
    """Post daily upkeep (rate per calendar day) of every active printer up to ``through``.

    Starts the day after the last one posted, or the day ink was first loaded. Running it twice
    posts nothing twice.
    """
    with book.reading() as connection:
        machines = connection.execute(
            select(printer.c.id, printer.c.code).where(printer.c.active).order_by(printer.c.id)
        ).all()
        missing = any(
            (first := _first_missing(connection, machine.id)) is not None and first <= through
            for machine in machines
        )
    if not missing:
        return CaughtUp({machine.code: 0 for machine in machines})

    def work(posting: Posting) -> CaughtUp:
        slots = [held.id for held in posting.places.values() if held.kind == "slot"]
        posting.hold_places(slots)
        posting.hold_together((), slots)
        upkeep = DailyUpkeep(posting, Estimator(posting.connection), Feeder(posting))
        days = {
            machine.code: upkeep.post_until(machine.id, through, already_loaded=True)
            for machine in machines
        }
        return CaughtUp(days, tuple(upkeep.notes.values()))

    return post(book, work, who=who)


class DailyUpkeep:
    """Posts each printer's upkeep day by day within one posting, each day once."""

    def __init__(self, posting: Posting, estimator: Estimator, feeder: Feeder) -> None:
        self.posting, self.estimator, self.feeder = posting, estimator, feeder
        self.notes: dict[str, str] = {}
        self._next: dict[int, date | None] = {}

    def post_until(self, printer_id: int, through: date, *, already_loaded: bool = False) -> int:
        """Post the missing days of one printer up to ``through``; returns how many.

        A printer that was never loaded begins on the day after ``through``: from its first run
        on it drinks every day. ``already_loaded``: begin where it was first loaded instead.
        """
        if printer_id not in self._next:
            self._next[printer_id] = _first_missing(self.posting.connection, printer_id)
        first = self._next[printer_id]
        if first is None:
            if not already_loaded:
                self._next[printer_id] = through + timedelta(days=1)
            return 0
        count = min((through - first).days + 1, MOST_DAYS)
        for step in range(count):
            self._one_day(printer_id, first + timedelta(days=step))
        if count > 0:
            self._next[printer_id] = first + timedelta(days=count)
        return max(count, 0)

    def _one_day(self, printer_id: int, day: date) -> None:
        posting = self.posting
        entry_id = posting.entry(DAILY, day, source_ref=f"{DAILY}:{printer_id}:{day.isoformat()}")
        upkeep = posting.place("UPKEEP")
        for channel, rate in self.estimator.rates(printer_id, "", day).items():
            asked = to_thousandths(rate.per_day_ml)
            slots = [
                slot
                for slot in slots_of(posting, printer_id, channel)
                if self.feeder.assume_swaps or loaded_in(posting, slot.id)
            ]
            if asked <= 0 or not slots:
                continue
            draws = self.feeder.take(
                slots, asked, day, lambda batch: _book(posting, entry_id, day, batch, upkeep)
            )
            taken = sum(draw.amount for draw in draws)
            item_id = slots[0].item_id or (draws[0].holding.item_id if draws else None)
            if taken < asked and item_id is not None:
                over = note_overrun(posting, entry_id, item_id, slots[0], asked, taken)
                self.notes.setdefault(
                    over.place, f"Check {over.place}: by the book it ran dry on {day}"
                )


def _book(posting: Posting, entry_id: int, day: date, draws: list[Draw], target: Place) -> None:
    move_draws(posting, entry_id, day, draws, target)


def _first_missing(connection: Connection, printer_id: int) -> date | None:
    """The first day of this printer without daily upkeep; None when it was never loaded."""
    last: date | None = connection.scalar(
        select(func.max(entry.c.day)).where(
            entry.c.kind == DAILY, entry.c.source_ref.like(f"{DAILY}:{printer_id}:%")
        )
    )
    if last is not None:
        return last + timedelta(days=1)
    loaded: date | None = connection.scalar(
        select(func.min(entry.c.day))
        .join(container_event, container_event.c.entry_id == entry.c.id)
        .join(place, place.c.id == container_event.c.place_id)
        .where(place.c.printer_id == printer_id, container_event.c.state == "loaded")
    )
    return loaded

"""What a print costs: an order's lines estimated and as they really went, or a quote from a file.

Money is minor units inside, major units with the currency beside it in JSON. An estimate uses
today's rates and the average cost of what is on hand (else the pack's price); the real cost uses
what the order's print runs took, at the cost of the lots they took it from. Customers' garments
cost nothing. A real cost has no upkeep in it: nobody can say whose cleaning it was.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Row, select

from stock.book.opening import Book
from stock.book.tables import item
from stock.errors import Refused, Unknown
from stock.plan.print_cost import Part, PieceCost
from stock.shop.estimating import Estimator, LineUse, all_lines
from stock.shop.finding import find
from stock.shop.prices import ItemPrice, item_prices
from stock.shop.real_cost import RealCost, real_costs
from stock.shop.snapshot.demand import misprints_of
from stock.shop.snapshot.machines import Machines
from stock.shop.upkeep_share import WINDOW_DAYS, UpkeepShare, upkeep_share

if TYPE_CHECKING:
    from stock.demand.chances import MisprintRates


@dataclass(frozen=True, slots=True)
class LineCost:
    """One order line: what a good piece is estimated to cost, and what its runs took."""

    line: int
    blank: str
    pieces: int
    piece: PieceCost
    calibrated: bool
    real: RealCost | None
    notes: tuple[str, ...] = ()

    @property
    def estimated_minor(self) -> float:
        """All pieces of the line."""
        return self.piece.total_minor * self.pieces

    def to_json(self) -> dict[str, Any]:
        """Money in major units."""
        return {
            "line": self.line,
            "blank": self.blank,
            "pieces": self.pieces,
            "per_piece": self.piece.to_json(),
            "estimated": round(self.estimated_minor / 100, 4),
            "calibrated": self.calibrated,
            "real": self.real.to_json() if self.real is not None else None,
            "notes": list(self.notes),
        }


@dataclass(frozen=True, slots=True)
class OrderCost:
    """An order's cost, line by line."""

    order: str
    on: date
    currency: str
    lines: tuple[LineCost, ...]

    def to_json(self) -> dict[str, Any]:
        """Money in major units; ``real`` counts the lines that were printed."""
        real = [line.real for line in self.lines if line.real is not None]
        return {
            "order": self.order,
            "on": self.on.isoformat(),
            "currency": self.currency,
            "pieces": sum(line.pieces for line in self.lines),
            "lines": [line.to_json() for line in self.lines],
            "estimated": round(sum(line.estimated_minor for line in self.lines) / 100, 4),
            "real": round(sum(one.total_minor for one in real) / 100, 4) if real else None,
        }


@dataclass(frozen=True, slots=True)
class Quote:
    """A quote for printing one file on so many pieces.

    ``any_misprint`` is the chance that at least one piece is spoiled: have a spare garment.
    """

    file: str
    garment: str
    pieces: int
    currency: str
    piece: PieceCost
    any_misprint: float
    calibrated: bool
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Money in major units."""
        return {
            "file": self.file,
            "garment": self.garment,
            "pieces": self.pieces,
            "currency": self.currency,
            "per_piece": self.piece.to_json(),
            "total": round(self.piece.total_minor * self.pieces / 100, 4),
            "total_sd": round(self.piece.total_sd_minor * self.pieces / 100, 4),
            "chance_of_a_misprint": round(self.any_misprint, 6),
            "calibrated": self.calibrated,
            "notes": list(self.notes),
        }


class _Costing:
    """Prices, rates and upkeep of one book on one day."""

    def __init__(self, connection: Connection, day: date, prior: tuple[float, float]) -> None:
        from stock.demand.chances import misprint_rates

        self.connection, self.day = connection, day
        self.estimator = Estimator(connection)
        self.machines = Machines(connection, self.estimator, day)
        self.by_id = item_prices(connection)
        self.by_sku: dict[str, ItemPrice] = {price.sku: price for price in self.by_id.values()}
        self.misprints: MisprintRates = misprint_rates(misprints_of(connection, day), prior)
        self.share: UpkeepShare = upkeep_share(
            connection, day, self.machines, self.estimator, self.by_sku
        )
        self.pretreat = _ready_pretreat(connection)

    def piece(
        self,
        use: LineUse,
        *,
        printer_id: int | None,
        blank: str,
        owner: str = "",
        location: str = "",
        prints_per_day: float | None = None,
    ) -> tuple[PieceCost, list[str]]:
        """The cost of one good piece, and what a person should know about it."""
        notes: list[str] = []
        at = printer_id if printer_id is not None else self.machines.default
        ink: dict[str, Part] = {}
        for channel, ml in use.ml.items():
            sku = self.machines.ink(at, channel)
            if ml > 0:
                sd = use.ml_sd.get(channel, 0.0)
                ink[channel] = self._part(sku, ml, "mL", notes, f"ink {channel}", sd)
        pretreat = None
        if use.pretreat_g > 0:
            grams, sd = use.pretreat_g, use.pretreat_g_sd
            pretreat = self._part(self.pretreat, grams, "g", notes, "pretreat", sd)
        garment = None
        if blank:
            garment = self._part(blank, 1.0, "each", notes, "blank")
            if owner:
                garment = Part(blank, 1.0, "each", 0.0)
                notes.append(f"{blank} is {owner}'s own: it costs the shop nothing.")
        upkeep = self.share.per_piece(at, prints_per_day)
        if upkeep is None:
            notes.append(
                f"Nothing was printed in the last {WINDOW_DAYS} days, so upkeep has no share here: "
                "say how many prints a day to expect (--prints-per-day)."
            )
        elif at is not None and at not in self.share.posted:
            notes.append("No upkeep was posted: its share is by the printer's daily rates.")
        rate = self.misprints.rate(location)
        return PieceCost(ink, pretreat, garment, upkeep, rate), notes

    def _part(
        self, sku: str, amount: float, unit: str, notes: list[str], what: str, sd: float = 0.0
    ) -> Part:
        price = self.by_sku.get(sku)
        if price is None:
            notes.append(f"The book has no {what}: counted without a price.")
            return Part(what, amount, unit, 0.0, sd)
        if price.basis == "unknown":
            notes.append(f"{sku} has no price in the book: counted without one.")
        elif price.basis == "list":
            notes.append(f"{sku} is not on hand: its pack's price is used.")
        return Part(sku, amount, unit, price.per_unit_minor, sd)


def _ready_pretreat(connection: Connection) -> str:
    concentrates = set(connection.scalars(select(item.c.mixed_from).where(item.c.mixed_from != "")))
    ready = connection.scalars(
        select(item.c.sku).where(item.c.kind == "pretreat", item.c.unit == "g").order_by(item.c.id)
    )
    return next((sku for sku in ready if sku not in concentrates), "")


def order_cost(
    book: Book, ref: str, day: date, *, prints_per_day: float | None = None
) -> OrderCost:
    """What an order costs: estimated per good piece, and what its runs really took.

    Raises:
        Unknown: No such order.
    """
    from stock.shop.planning import plan_settings

    settings = plan_settings(book)
    with book.reading() as connection:
        lines = sorted(
            (line for line in all_lines(connection) if line.ref == ref), key=lambda row: row.line
        )
        if not lines:
            raise Unknown("order", ref)
        costing = _Costing(connection, day, settings.misprint_prior)
        real = real_costs(connection, [line.id for line in lines])
        found = tuple(_line(costing, line, real.get(line.id), prints_per_day) for line in lines)
        return OrderCost(ref, day, settings.currency, found)


def _line(
    costing: _Costing, line: Row[Any], real: RealCost | None, prints_per_day: float | None
) -> LineCost:
    use = costing.estimator.line_use(line, costing.day)
    piece, notes = costing.piece(
        use,
        printer_id=line.printer_id,
        blank=line.sku,
        owner=line.owner,
        location=line.location,
        prints_per_day=prints_per_day,
    )
    return LineCost(
        line.line,
        line.sku,
        line.quantity,
        piece,
        use.calibrated,
        real,
        tuple(dict.fromkeys([*use.notes, *notes])),
    )


def quote_cost(
    book: Book,
    file: Path,
    day: date,
    *,
    width_cm: float | None,
    height_cm: float | None,
    garment: Any,
    pieces: int = 1,
    blank: str = "",
    mode: str = "",
    printer: str = "",
    location: str = "",
    prints_per_day: float | None = None,
) -> Quote:
    """What printing a file would cost, per good piece and for all of them.

    Raises:
        Refused: A file or size that cannot be; a number of prints a day that is none.
        Unknown: No such blank, mode or printer.
    """
    from stock.demand.chances import chance_of_misprint
    from stock.ink.measure import estimate, measure_shares
    from stock.ink.mode import PretreatDose
    from stock.shop.planning import plan_settings

    if prints_per_day is not None and not prints_per_day > 0:
        raise Refused(f"{prints_per_day:g} prints a day share nothing; expected more than 0.")
    if not 0 < pieces <= 1_000_000:
        raise Refused(f"{pieces} pieces were given; expected a whole number from 1.")
    settings = plan_settings(book)
    notes: list[str] = []
    with book.reading() as connection:
        costing = _Costing(connection, day, settings.misprint_prior)
        estimator = costing.estimator
        if mode and mode not in estimator.modes():
            raise Unknown("print mode", mode, sorted(estimator.modes()))
        machine = _printer_id(connection, printer) or costing.machines.default
        the_mode = estimator.mode(mode)
        dose = PretreatDose()
        if blank:
            dose, shade = estimator.dose(find(connection, item, item.c.sku, blank, "item").id, day)
            if shade and (shade == "dark") != (garment == "dark"):
                notes.append(f"{blank} is {shade} by the book; the quote is for {garment}.")
        measured = estimate(
            measure_shares(file, garment=garment, mode=the_mode),
            width_cm=width_cm,
            height_cm=height_cm,
            rates=estimator.rates(machine, the_mode.code, day),
            dose=dose,
            garment=garment,
        )
        use = LineUse(
            measured.ml,
            measured.ml_sd,
            measured.covered_cm2,
            measured.pretreat_g,
            measured.pretreat_g_sd,
            measured.calibrated,
        )
        piece, said = costing.piece(
            use,
            printer_id=machine,
            blank=blank,
            location=location,
            prints_per_day=prints_per_day,
        )
        if not blank:
            notes.append("No garment was named (--blank SKU), so none is counted.")
        return Quote(
            measured.file,
            garment,
            pieces,
            settings.currency,
            piece,
            chance_of_misprint(pieces, piece.misprint_rate),
            measured.calibrated,
            tuple(dict.fromkeys([*measured.notes, *notes, *said])),
        )


def _printer_id(connection: Connection, code: str) -> int | None:
    from stock.book.tables import printer

    return find(connection, printer, printer.c.code, code, "printer").id if code else None

"""What one piece of an order line takes: artwork shares × printed size × rates, from the book.

Ink in mL by channel, pretreat in g, each with a standard deviation. Rates are those valid on the
day asked for, so that a past print keeps the rate it was posted with.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Row, Select, insert, select

from stock.book.opening import Book
from stock.book.tables import (
    artwork,
    artwork_share,
    customer_order,
    item,
    order_line,
    print_mode,
    printer,
    rate,
)
from stock.errors import ArtworkUnreadable, Refused
from stock.ink.mode import CHANNELS, Garment, PretreatDose, PrintMode, Rate, prior_rates
from stock.shop.doses import Doses

DEFAULT_MODE = "standard"


@dataclass(frozen=True, slots=True)
class LineUse:
    """Per piece: ink by channel (mL) and pretreat (g) with standard deviations."""

    ml: Mapping[str, float]
    ml_sd: Mapping[str, float]
    covered_cm2: Mapping[str, float]
    pretreat_g: float
    pretreat_g_sd: float
    calibrated: bool
    notes: tuple[str, ...] = ()


NOTHING = LineUse({}, {}, {}, 0.0, 0.0, False)


def mode_of(parameters: Mapping[str, Any], code: str) -> PrintMode:
    """A print mode from the JSON the book keeps."""
    known = dict(parameters)
    curve = known.get("tone_curve")
    if curve:
        known["tone_curve"] = {
            channel: tuple((float(x), float(y)) for x, y in points)
            for channel, points in curve.items()
        }
    return PrintMode(**{**known, "code": code})


def modes_in(connection: Connection) -> dict[str, PrintMode]:
    """All print modes by code; the default mode is always among them."""
    found = {
        row.code: mode_of(row.parameters, row.code)
        for row in connection.execute(select(print_mode.c.code, print_mode.c.parameters))
    }
    found.setdefault(DEFAULT_MODE, PrintMode(code=DEFAULT_MODE))
    return found


@dataclass
class Estimator:
    """Estimates for the order lines of one connection; what it read once it keeps."""

    connection: Connection
    _modes: dict[str, PrintMode] = field(default_factory=dict)
    _rates: dict[int, list[Row[Any]]] | None = None
    _rates_of: dict[tuple[int | None, str, date | None], dict[str, Rate]] = field(
        default_factory=dict
    )
    _shares: dict[tuple[int, str, str], Any] = field(default_factory=dict)
    _shares_read: bool = False
    _blanks: dict[int, Row[Any]] = field(default_factory=dict)
    _doses: Doses | None = None
    _uses: dict[tuple[Any, ...], LineUse] = field(default_factory=dict)

    def modes(self) -> dict[str, PrintMode]:
        """Print modes by code."""
        if not self._modes:
            self._modes = modes_in(self.connection)
        return self._modes

    def mode(self, code: str) -> PrintMode:
        """The mode of that code; an unknown or empty one is the default."""
        known = self.modes()
        return known.get(code or DEFAULT_MODE) or known[DEFAULT_MODE]

    def rates(self, printer_id: int | None, mode_code: str, day: date) -> dict[str, Rate]:
        """Rates by channel of a printer as believed on ``day``; priors where there are none."""
        mode = self.mode(mode_code)
        key = (printer_id, mode.code, self._rates_day(printer_id, day))
        known = self._rates_of.get(key)
        if known is None:
            known = self._rates_of[key] = self._rates_on(printer_id, mode, day)
        return known

    def _rates_on(self, printer_id: int | None, mode: PrintMode, day: date) -> dict[str, Rate]:
        found = prior_rates(mode)
        chosen: dict[str, tuple[bool, Row[Any]]] = {}
        for row in self._rate_rows(printer_id):
            if row.valid_from > day or row.mode not in ("", mode.code):
                continue
            exact = row.mode == mode.code
            before = chosen.get(row.channel)
            if before is None or exact >= before[0]:
                chosen[row.channel] = (exact, row)
        for channel, (_, row) in chosen.items():
            prior = found.get(channel)
            laydown, laydown_sd = row.per_cm2_ul, row.per_cm2_ul_sd
            if laydown is None and prior is not None:
                laydown, laydown_sd = prior.per_cm2_ul, prior.per_cm2_ul_sd
            found[channel] = Rate(
                per_cm2_ul=laydown or 0.0,
                per_cm2_ul_sd=laydown_sd or 0.0,
                per_print_ml=row.per_print_ml,
                per_print_ml_sd=row.per_print_ml_sd,
                per_start_ml=row.per_start_ml,
                per_start_ml_sd=row.per_start_ml_sd,
                per_day_ml=row.per_day_ml,
                per_day_ml_sd=row.per_day_ml_sd,
                prior_share=row.prior_share,
                calibrated=row.calibrated,
            )
        return found

    def _rate_rows(self, printer_id: int | None) -> list[Row[Any]]:
        """The rates kept for a printer, oldest first."""
        if self._rates is None:
            self._rates = {}
            rows = select(rate).order_by(rate.c.valid_from, rate.c.id)
            for row in self.connection.execute(rows):
                self._rates.setdefault(row.printer_id, []).append(row)
        return self._rates.get(printer_id, []) if printer_id is not None else []

    def _rates_day(self, printer_id: int | None, day: date) -> date | None:
        """The newest ``valid_from`` in force: estimates do not change between two of them."""
        newest = None
        for row in self._rate_rows(printer_id):
            if row.valid_from > day:
                break
            newest = row.valid_from
        return newest

    def dose(self, blank_id: int, day: date) -> tuple[PretreatDose, str]:
        """(pretreat dose as believed on ``day``, shade) of a blank."""
        blank = self._blanks.get(blank_id)
        if blank is None:
            blank = self._blanks[blank_id] = self.connection.execute(
                select(item).where(item.c.id == blank_id)
            ).one()
        if self._doses is None:
            self._doses = Doses(self.connection)
        return self._doses.of(blank, day), blank.shade

    def shares(self, artwork_id: int, garment: str, mode_code: str) -> Any | None:
        """The artwork's shares as kept, None when it was never measured so."""
        from stock.ink.measure import Shares

        if not self._shares_read:
            self._shares_read = True
            for row in self.connection.execute(
                select(
                    artwork_share.c.artwork_id,
                    artwork_share.c.garment,
                    artwork_share.c.mode,
                    artwork_share.c.shares,
                )
            ):
                self._shares[(row.artwork_id, row.garment, row.mode)] = Shares.from_dict(row.shares)
        return self._shares.get((artwork_id, garment, mode_code))

    def line_use(self, line: Any, day: date, printer_id: int | None = None) -> LineUse:
        """Per piece of an order line (a row with blank, artwork, mode, size and printer)."""
        if line.artwork_id is None:
            return NOTHING
        printed_by = printer_id if printer_id is not None else line.printer_id
        dose, shade = self.dose(line.blank_id, day)
        garment: Garment = "dark" if shade == "dark" else "light"
        mode = self.mode(line.mode)
        key = (
            line.artwork_id,
            garment,
            mode.code,
            line.width_cm,
            line.height_cm,
            printed_by,
            self._rates_day(printed_by, day),
            dose,
        )
        known = self._uses.get(key)
        if known is None:
            known = self._uses[key] = self._estimate(
                line, garment, mode, dose, self.rates(printed_by, mode.code, day)
            )
        return known

    def _estimate(
        self,
        line: Any,
        garment: Garment,
        mode: PrintMode,
        dose: PretreatDose,
        rates: Mapping[str, Rate],
    ) -> LineUse:
        from stock.ink.measure import estimate

        shares = self.shares(line.artwork_id, garment, mode.code)
        if shares is None:
            return LineUse({}, {}, {}, 0.0, 0.0, False, ("artwork not measured",))
        found = estimate(
            shares,
            width_cm=line.width_cm,
            height_cm=line.height_cm,
            rates=rates,
            dose=dose,
            garment=garment,
        )
        return LineUse(
            {channel: found.ml.get(channel, 0.0) for channel in CHANNELS},
            {channel: found.ml_sd.get(channel, 0.0) for channel in CHANNELS},
            dict(found.covered_cm2),
            found.pretreat_g,
            found.pretreat_g_sd,
            found.calibrated,
        )


def unmeasured(connection: Connection) -> list[tuple[int, str, str, Garment, str]]:
    """(artwork id, artwork, file, garment, mode) that order lines need and nobody measured."""
    known = modes_in(connection)
    wanted = connection.execute(
        select(
            order_line.c.artwork_id, artwork.c.code, artwork.c.file, item.c.shade, order_line.c.mode
        )
        .join(artwork, artwork.c.id == order_line.c.artwork_id)
        .join(item, item.c.id == order_line.c.blank_id)
        .distinct()
    )
    there = set(
        connection.execute(
            select(artwork_share.c.artwork_id, artwork_share.c.garment, artwork_share.c.mode)
        )
    )
    combinations: set[tuple[int, str, str, Garment, str]] = {
        (
            row.artwork_id,
            row.code,
            row.file,
            "dark" if row.shade == "dark" else "light",
            row.mode if row.mode in known else DEFAULT_MODE,
        )
        for row in wanted
    }
    return sorted(c for c in combinations if (c[0], c[3], c[4]) not in there)


def measure_artworks(
    book: Book, *, on_progress: Callable[[int, int], None] = lambda _done, _total: None
) -> list[str]:
    """Measure what order lines need and keep the shares; returns a sentence per unreadable file."""
    with book.reading() as connection:
        wanted = unmeasured(connection)
        modes = modes_in(connection)
    if not wanted:
        return []
    from stock.ink.batch import MeasureJob, measure_jobs

    jobs = [
        MeasureJob(Path(file), garment, modes[mode_code])
        for _, _, file, garment, mode_code in wanted
    ]
    answers = measure_jobs(jobs, on_progress=lambda done, total, _: on_progress(done, total))
    complaints: list[str] = []
    rows: list[dict[str, Any]] = []
    for (artwork_id, code, _, garment, mode_code), shares in zip(wanted, answers, strict=True):
        if isinstance(shares, ArtworkUnreadable):
            complaints.append(f"Artwork {code}: {shares}")
            continue
        rows.append(
            {
                "artwork_id": artwork_id,
                "garment": garment,
                "mode": mode_code,
                "shares": shares.to_dict(),
            }
        )
    if rows:
        book.write(lambda connection: _keep_shares(connection, rows))
    return complaints


def _keep_shares(connection: Connection, rows: Iterable[Mapping[str, Any]]) -> None:
    there = set(
        connection.execute(
            select(artwork_share.c.artwork_id, artwork_share.c.garment, artwork_share.c.mode)
        )
    )
    fresh = [r for r in rows if (r["artwork_id"], r["garment"], r["mode"]) not in there]
    if fresh:
        connection.execute(insert(artwork_share), fresh)


def _lines() -> Select[Any]:
    return (
        select(
            order_line,
            customer_order.c.stage,
            customer_order.c.ref,
            customer_order.c.customer,
            item.c.sku,
            item.c.shade,
            printer.c.code.label("printer"),
        )
        .join(customer_order, customer_order.c.id == order_line.c.order_id)
        .join(item, item.c.id == order_line.c.blank_id)
        .outerjoin(printer, printer.c.id == order_line.c.printer_id)
    )


def all_lines(connection: Connection) -> Iterable[Row[Any]]:
    """Every order line with its order's stage and customer and the blank's sku."""
    return connection.execute(_lines())


def find_line(connection: Connection, order: str, line: int) -> Row[Any]:
    """One order line; see :func:`all_lines`.

    Raises:
        Refused: No such order or line.
    """
    rows = connection.execute(
        _lines().where(customer_order.c.ref == order).order_by(order_line.c.line)
    ).all()
    if not rows:
        raise Refused(f"There is no order {order!r} in the book.")
    for row in rows:
        if row.line == line:
            return row
    numbers = ", ".join(str(row.line) for row in rows)
    raise Refused(f"Order {order} has no line {line}; its lines are {numbers}.")

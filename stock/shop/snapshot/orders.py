"""Orders of the book, open and past, each line with what a piece of it takes."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any, Literal

from sqlalchemy import Connection, Row, Select, or_, select

from stock.book.tables import customer_order, item, order_line
from stock.demand.known import OrderLine, PastOrderLine, PieceUse, Stage
from stock.shop.estimating import Estimator
from stock.shop.recipes import Recipes
from stock.shop.snapshot.known_on import pieces_done
from stock.shop.snapshot.machines import Machines

Outcome = Literal["printed", "cancelled", "lost", "open"]

PAST_WEEKS = 104
"""Lines that ended longer ago than this teach nothing more about how orders come in (judgement)."""


class Orders:
    """Every order line placed by a day, with how it stood at its end.

    ``last_run`` is the day of each line's last run (:func:`known_on.last_runs`). Lines of orders
    that ended and were placed more than two years ago are left out.
    """

    def __init__(
        self,
        connection: Connection,
        estimator: Estimator,
        machines: Machines,
        recipes: Recipes,
        day: date,
        last_run: Mapping[int, date],
    ) -> None:
        self.day = day
        self._estimator, self._machines, self._recipes = estimator, machines, recipes
        self._done = pieces_done(connection, day)
        self._last_run = last_run
        self._uses: dict[tuple[object, ...], tuple[PieceUse, ...]] = {}
        rows: list[Row[Any]] = list(connection.execute(_lines(day)))
        self.rows = [(row, *self._outcome(row)) for row in rows]

    def still_open(self) -> tuple[OrderLine, ...]:
        """Lines not yet fully printed, cancelled or lost, by due day."""
        found: list[OrderLine] = []
        for row, outcome, _ in self.rows:
            if outcome != "open":
                continue
            pieces = row.quantity - self._done.get(row.id, 0)
            if pieces <= 0:
                continue
            stage: Stage = row.stage if row.stage in ("quote", "released") else "confirmed"
            found.append(
                OrderLine(
                    order=row.ref,
                    line=row.line,
                    stage=stage,
                    placed_on=row.placed_on,
                    due_on=row.due_on,
                    pieces=float(pieces),
                    location=row.location,
                    win_probability=row.win_probability if stage == "quote" else 1.0,
                    customer_kind=row.customer_kind,
                    scheduled_on=row.scheduled_on,
                    printer=self._machines.codes.get(self._printer(row), ""),
                    uses=self.uses(row),
                    owner=row.owner,
                )
            )
        found.sort(key=lambda line: (line.due_on, line.order, line.line))
        return tuple(found)

    def past(self) -> tuple[PastOrderLine, ...]:
        """Every line with how it ended: what pick-up and win rates learn from."""
        found: list[PastOrderLine] = []
        for row, outcome, ended in self.rows:
            found.append(
                PastOrderLine(
                    order=row.ref,
                    placed_on=row.placed_on,
                    due_on=row.due_on,
                    pieces=float(row.quantity),
                    outcome=outcome,
                    outcome_on=ended,
                    was_quote=row.was_quote,
                    customer_kind=row.customer_kind,
                    one_off=row.one_off,
                    uses=self.uses(row),
                )
            )
        return tuple(found)

    def _outcome(self, row: Any) -> tuple[Outcome, date | None]:
        """How a line stood by the day, and since when; what ended later was open then."""
        if row.stage == "printed":
            ended = self._last_run.get(row.id) or row.outcome_on
            outcome: Outcome = "printed"
        elif row.stage == "cancelled":
            ended = row.outcome_on
            outcome = "lost" if row.was_quote else "cancelled"
        else:
            return "open", None
        if ended is not None and ended > self.day:
            return "open", None
        return outcome, ended

    def _printer(self, row: Any) -> int | None:
        at: int | None = row.printer_id
        return at if at is not None else self._machines.default

    def uses(self, row: Any) -> tuple[PieceUse, ...]:
        """What one piece takes: ink by channel, pretreat, and the garment unless it is brought."""
        key = (
            *(row.sku, row.artwork_id, row.mode, row.width_cm, row.height_cm),
            *(row.printer_id, row.owner),
        )
        known = self._uses.get(key)
        if known is not None:
            return known
        at = self._printer(row)
        use = self._estimator.line_use(row, self.day, at)
        by_ink: dict[str, tuple[float, float]] = {}
        for channel, ml in use.ml.items():
            sku = self._machines.ink(at, channel)
            if ml > 0 and sku:
                before = by_ink.get(sku, (0.0, 0.0))
                by_ink[sku] = (before[0] + ml, (before[1] ** 2 + use.ml_sd[channel] ** 2) ** 0.5)
        uses = [PieceUse(sku, ml, sd) for sku, (ml, sd) in by_ink.items()]
        uses += self._recipes.uses(use.pretreat_g, use.pretreat_g_sd)
        if not row.owner:
            uses.append(PieceUse(row.sku, 1.0))
        self._uses[key] = found = tuple(uses)
        return found


def _lines(day: date) -> Select[Any]:
    line = order_line.c
    return (
        select(
            *(line.id, line.order_id, line.line, line.blank_id, line.quantity, line.due_on),
            *(line.artwork_id, line.mode, line.printer_id, line.location, line.width_cm),
            *(line.height_cm, line.scheduled_on, line.owner),
            item.c.sku,
            customer_order.c.ref,
            customer_order.c.stage,
            customer_order.c.placed_on,
            customer_order.c.was_quote,
            customer_order.c.outcome_on,
            customer_order.c.win_probability,
            customer_order.c.customer_kind,
            customer_order.c.one_off,
        )
        .join(customer_order, customer_order.c.id == order_line.c.order_id)
        .join(item, item.c.id == order_line.c.blank_id)
        .where(
            customer_order.c.placed_on <= day,
            or_(
                customer_order.c.placed_on >= day - timedelta(weeks=PAST_WEEKS),
                customer_order.c.stage.in_(("quote", "confirmed", "released")),
            ),
        )
        .order_by(customer_order.c.placed_on, customer_order.c.id, order_line.c.line)
    )

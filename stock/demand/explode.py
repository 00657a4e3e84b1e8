"""Order lines turned into what each item will be needed for, day by day, with its uncertainty.

Amounts are in each item's base unit, days are calendar days from the planning day. Firm lines
are thinned by the chance that they are cancelled, quotes by the chance that they are won, and
every line carries its misprints: a misprint spends the garment, the pretreat and the ink again.
An order is won or cancelled as a whole, all its lines together. Garments a customer brings are not
needed from the shelf. Nothing here knows stock.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from stock.demand.chances import CancelHazard, MisprintRates, WinRates
from stock.demand.known import Floats, ItemTerms, OrderLine

LAPSED_DAYS: Final = 30
"""A quote so many days past the day it was for counts as lost (judgement, no source)."""


@dataclass(frozen=True, slots=True)
class Exploded:
    """One order line, ready to be drawn from.

    Args:
        line: The line itself.
        offset: Day on which it is needed, counted from the planning day; overdue is 0.
        probability: Chance that it is printed at all: win × not cancelled.
        misprint_rate: Chance that one piece is spoiled.
        uses: (row of the item, mean per piece, standard deviation per piece).
    """

    line: OrderLine
    offset: int
    probability: float
    misprint_rate: float
    uses: tuple[tuple[int, float, float], ...]

    @property
    def is_quote(self) -> bool:
        """Whether the line still has to be won."""
        return self.line.stage == "quote"


@dataclass(frozen=True, eq=False)
class FirmNeed:
    """Need known from order lines, per item and day.

    Args:
        items: Skus, the rows.
        lines: The exploded lines that fall within the horizon.
        firm_mean, quote_mean: Expected need, shape (items, days).
        variance: Variance of both together, shape (items, days); orders are taken as independent,
            the rate of one item as wrong by the same amount in all its lines of a day.
        unknown: (order, line, item) of uses whose item is not among the rows.
    """

    items: tuple[str, ...]
    lines: tuple[Exploded, ...]
    firm_mean: Floats
    quote_mean: Floats
    variance: Floats
    unknown: tuple[tuple[str, int, str], ...]

    @property
    def mean(self) -> Floats:
        """Expected need from orders and quotes, shape (items, days)."""
        return self.firm_mean + self.quote_mean


def explode(
    order_lines: Iterable[OrderLine],
    items: Sequence[ItemTerms],
    *,
    day: date,
    horizon_days: int,
    misprints: MisprintRates,
    wins: WinRates,
    hazard: CancelHazard,
) -> FirmNeed:
    """Need per item and day from the lines not yet printed.

    A line is needed on the day it is scheduled to print, else on its due day; a day already past
    means the planning day. Lines beyond the horizon are left out, and so are quotes that have
    lapsed: nobody waits for what was asked for so long ago.

    Args:
        order_lines: Quotes, confirmed and released lines, pieces still to print.
        items: The rows, in order.
        day: The planning day, day 0.
        horizon_days: Number of days looked at.
    """
    rows = {item.sku: row for row, item in enumerate(items)}
    kinds = [item.kind for item in items]
    shape = (len(items), horizon_days)
    firm, quotes, variance = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    rate_sd: dict[tuple[int, int], float] = {}
    together: dict[tuple[str, int, int], tuple[float, float]] = {}
    kept: list[Exploded] = []
    unknown: list[tuple[str, int, str]] = []
    for line in order_lines:
        needed_on = line.scheduled_on or line.due_on
        offset = max(0, (needed_on - day).days)
        if offset >= horizon_days or line.pieces <= 0 or has_lapsed(line, day):
            continue
        uses = []
        for use in line.uses:
            row = rows.get(use.item)
            if row is None:
                unknown.append((line.order, line.line, use.item))
            elif not (line.owner and kinds[row] == "blank"):
                uses.append((row, use.amount, use.sd))
        chance = hazard.survival(offset)
        if line.stage == "quote":
            given = line.win_probability
            if given is None:
                given = wins.probability((day - line.placed_on).days, line.customer_kind)
            chance *= min(max(given, 0.0), 1.0)
        rate = misprints.rate(line.location)
        kept.append(Exploded(line, offset, chance, rate, tuple(uses)))
        made = line.pieces * (1 + rate)
        made_var = line.pieces * rate * (1 - rate)
        pieces_mean = chance * made
        target = quotes if line.stage == "quote" else firm
        for row, amount, sd in uses:
            target[row, offset] += pieces_mean * amount
            variance[row, offset] += chance * made_var * amount**2
            whole = (line.order, row, offset)
            together[whole] = (chance, together.get(whole, (chance, 0.0))[1] + made * amount)
            at = (row, offset)
            rate_sd[at] = rate_sd.get(at, 0.0) + pieces_mean * sd
    for (_, row, offset), (chance, amount) in together.items():
        variance[row, offset] += chance * (1 - chance) * amount**2
    for (row, offset), sd in rate_sd.items():
        variance[row, offset] += sd**2
    return FirmNeed(
        tuple(item.sku for item in items), tuple(kept), firm, quotes, variance, tuple(unknown)
    )


def has_lapsed(line: OrderLine, day: date) -> bool:
    """Whether a line is a quote whose day went by so long ago that it counts as lost."""
    needed_on = line.scheduled_on or line.due_on
    return line.stage == "quote" and (day - needed_on).days > LAPSED_DAYS


def by_item(need: FirmNeed) -> Mapping[str, Floats]:
    """Expected need per day by sku, for items that have any."""
    total = need.mean
    return {sku: total[row] for row, sku in enumerate(need.items) if total[row].any()}

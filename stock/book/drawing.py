"""Which lots an amount is drawn from: FEFO on a shelf, in proportion from a blend.

Pure: holdings in, draws out; amounts are integers of thousandths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from stock.book.holding import Holding


@dataclass(frozen=True, slots=True)
class Draw:
    """So much from that holding."""

    holding: Holding
    amount: int


def fefo(
    holdings: Sequence[Holding], amount: int, *, day: date, lot: str | None = None
) -> list[Draw]:
    """First expired, first out: the earliest last day first, then the older lot.

    Lots past their date on ``day`` come after all others: what was printed was printed, but a
    fresh lot is the likelier one. Returns draws of less than ``amount`` when there is less.
    ``lot`` keeps to one lot code.
    """
    ranked = sorted(
        (held for held in holdings if held.amount > 0 and (lot is None or held.lot_code == lot)),
        key=lambda held: (held.last_day < day, held.last_day, held.lot_id, held.container_id or 0),
    )
    draws: list[Draw] = []
    for held in ranked:
        if amount <= 0:
            break
        taken = min(held.amount, amount)
        draws.append(Draw(held, taken))
        amount -= taken
    return draws


def apportion(weights: Sequence[int], units: int) -> list[int]:
    """Share whole ``units`` in proportion to ``weights`` by the largest remainder (Hare quota).

    Exact on integers; ties go to the earlier weight. The parts add up to ``units``.

    >>> apportion([47_000, 16_000, 15_900, 12_000, 6_100, 3_100], 10)
    [5, 2, 1, 1, 1, 0]
    """
    total = sum(weights)
    if total <= 0:
        raise ValueError("nothing to share in proportion to")
    shares = [divmod(weight * units, total) for weight in weights]
    parts = [whole for whole, _ in shares]
    by_remainder = sorted(range(len(weights)), key=lambda n: -shares[n][1])
    for index in by_remainder[: units - sum(parts)]:
        parts[index] += 1
    return parts


def blended(holdings: Sequence[Holding], amount: int) -> list[Draw]:
    """From a blend every lot gives its share; largest remainder, so that not a µL is lost.

    Returns draws of less than ``amount`` when there is less.
    """
    there = [held for held in holdings if held.amount > 0]
    amount = min(amount, sum(held.amount for held in there))
    if amount <= 0:
        return []
    if len(there) == 1:
        return [Draw(there[0], amount)]
    parts = apportion([held.amount for held in there], amount)
    return [Draw(held, part) for held, part in zip(there, parts, strict=True) if part]

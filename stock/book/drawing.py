"""Which lots an amount is drawn from: FEFO on a shelf, in proportion from a blend.

Pure: holdings in, draws out; amounts are integers of thousandths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from stock.book.posting import Holding


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


def blended(holdings: Sequence[Holding], amount: int) -> list[Draw]:
    """From a blend every lot gives its share; largest remainder, so that not a µL is lost.

    Returns draws of less than ``amount`` when there is less.
    """
    there = [held for held in holdings if held.amount > 0]
    total = sum(held.amount for held in there)
    amount = min(amount, total)
    if amount <= 0:
        return []
    shares = [divmod(held.amount * amount, total) for held in there]
    taken = [whole for whole, _ in shares]
    missing = amount - sum(taken)
    by_remainder = sorted(range(len(there)), key=lambda n: (-shares[n][1], there[n].lot_id))
    for index in by_remainder[:missing]:
        taken[index] += 1
    return [Draw(held, part) for held, part in zip(there, taken, strict=True) if part]

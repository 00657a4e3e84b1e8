"""What scanned or typed codes of one box mean: a delivery ready to book, or what is still open.

Reads the book only to learn which item a code belongs to and whether its lots carry dates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.receive import Delivery

SHOWN_GS = "␝"
"""Stands for the separator (FNC1, ASCII 29) that a scanner types, so that it can be seen."""


@dataclass(frozen=True, slots=True)
class Ready:
    """A delivery that says everything."""

    delivery: Delivery


@dataclass(frozen=True, slots=True)
class Waits:
    """The item is known, its lot or date is not: the label's second code, or a person, says it."""

    sku: str
    delivery: Delivery
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NotTied:
    """A GTIN that belongs to no item yet."""

    gtin: str
    texts: tuple[str, ...]


Meaning = Ready | Waits | NotTied


def meaning_of(
    book: Book, texts: Sequence[str], on: date, *, packs: int | None, lot: str, expires: date | None
) -> Meaning:
    """What the codes of one box say, filled up by what was typed beside them.

    Raises:
        BarcodeUnreadable: A code that is no code.
        Refused: A suspect code, or codes of two boxes.
    """
    from stock.errors import Refused
    from stock.shop.scanning import deliveries_of
    from stock.shop.views.stockroom import facts_of_item, item_of_gtin

    made = deliveries_of(
        [text.replace(SHOWN_GS, "\x1d") for text in texts],
        on,
        packs=packs,
        lot=lot,
        expires=expires,
    )
    if len(made) > 1:
        raise Refused(
            "Another box was scanned before the first one's lot and date were known: "
            "scan its second code, or type them; Escape drops it."
        )
    delivery = made[0]
    if delivery.gtin:
        known = item_of_gtin(book, delivery.gtin)
        if known is None:
            return NotTied(delivery.gtin, tuple(texts))
        sku, dated = known
    else:
        facts = facts_of_item(book, delivery.sku)
        sku, dated = facts.sku, facts.kind in ("ink", "pretreat")
    if dated and (not delivery.lot or delivery.expires is None) and len(texts) < 2:
        return Waits(sku, delivery, tuple(texts))
    return Ready(replace(delivery, on=on))

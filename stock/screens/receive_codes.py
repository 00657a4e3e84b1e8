"""What scanned or typed codes of one box mean: a delivery ready to book, or what is still open.

Reads the book only to learn which item a code belongs to and whether its lots carry dates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from stock.screens.widgets.code_field import SHOWN_GS

if TYPE_CHECKING:
    from stock.shop import Book
    from stock.shop.receive import Delivery

LEAST_OF_A_CODE = 8
"""Digits of the shortest GTIN (GS1 General Specifications, GTIN-8)."""


@dataclass(frozen=True, slots=True)
class Ready:
    """A delivery that says everything."""

    delivery: Delivery
    text: str


@dataclass(frozen=True, slots=True)
class Waits:
    """The item is known, its lot or date is not: the label's second code, or a person, says it.

    ``again``: its first code came a second time.
    """

    sku: str
    delivery: Delivery
    texts: tuple[str, ...]
    again: bool = False


@dataclass(frozen=True, slots=True)
class NextBox:
    """A code of another box while one waits."""

    text: str


@dataclass(frozen=True, slots=True)
class NotTied:
    """A GTIN that belongs to no item yet."""

    gtin: str
    texts: tuple[str, ...]


Meaning = Ready | Waits | NextBox | NotTied


def like_a_code(text: str) -> bool:
    """Whether a text was scanned rather than typed, by its look.

    >>> like_a_code("(01)09521234543213"), like_a_code("4006381333931"), like_a_code("INK-C")
    (True, True, False)
    """
    return sum(letter.isdigit() for letter in text) >= LEAST_OF_A_CODE


def meaning_of(
    book: Book, texts: Sequence[str], on: date, *, packs: int | None, lot: str, expires: date | None
) -> Meaning:
    """What the codes of one box say, filled up by what was typed beside them.

    Raises:
        BarcodeUnreadable: A code that is no code.
        Refused: A suspect code.
    """
    from stock.shop.scanning import deliveries_of
    from stock.shop.views.stockroom import facts_of_item, item_of_gtin

    again = len(texts) > 1 and texts[-1] == texts[0]
    if again:
        texts = texts[:1]
    made = deliveries_of(
        [text.replace(SHOWN_GS, "\x1d") for text in texts],
        on,
        packs=packs,
        lot=lot,
        expires=expires,
    )
    if len(made) > 1:
        return NextBox(texts[-1])
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
        return Waits(sku, delivery, tuple(texts), again)
    return Ready(replace(delivery, on=on), texts[-1])

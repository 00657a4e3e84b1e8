"""What a label says: the text for people and the GS1 fields for the scanner.

Labels of lots carry GTIN (or our own item code), expiry and lot; labels of containers, shelves
and slots our own code. Whatever goes into a symbol is read back through the scanner's path before
it is drawn, so that no label is made that the scanner would not understand. Lengths are mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from stock.errors import BarcodeUnreadable
from stock.exchange.barcodes import parse_code
from stock.exchange.gs1_fields import FNC1, read_elements, shown
from stock.exchange.own_codes import AI, OwnCode, OwnKind, write_own

Fields = tuple[tuple[str, str], ...]
FREE_LENGTH: Final = ("10", "21", "37", AI)
"""Fields that a separator ends unless they are the last."""


@dataclass(frozen=True, slots=True)
class Label:
    """One label.

    Args:
        title: The line to read from afar.
        lines: Further lines.
        fields: GS1 (application identifier, value) pairs, fixed lengths first.
    """

    title: str
    lines: tuple[str, ...]
    fields: Fields

    @property
    def printed_code(self) -> str:
        """The fields in the printed form, identifiers in brackets."""
        return shown(self.fields)


def lot_label(
    *,
    on: date,
    name: str,
    lot: str,
    gtin: str = "",
    sku: str = "",
    expires: date | None = None,
    lines: Sequence[str] = (),
) -> Label:
    """A label of a sealed lot: (01) GTIN, (17) expiry, (10) lot.

    Without a GTIN the item's own code goes into (91).

    Raises:
        ValueError: The lot's code does not fit GS1 data, or names neither GTIN nor item.
    """
    fields: list[tuple[str, str]] = []
    if gtin:
        fields.append(("01", gtin.zfill(14)))
    elif not sku:
        raise ValueError("a lot's label needs a GTIN or an item code")
    if expires is not None:
        fields.append(("17", f"{expires:%y%m%d}"))
    fields.append(("10", lot))
    if not gtin:
        fields.append((AI, write_own(OwnCode("item", sku))))
    shown_lines = [f"Lot {lot}"]
    if expires is not None:
        shown_lines.append(f"Use by {expires.isoformat()}")
    label = Label(name, (*shown_lines, *lines), tuple(fields))
    _must_read_back(label, on, lot, expires)
    return label


def own_label(
    kind: OwnKind, code: str, *, on: date, title: str = "", lines: Sequence[str] = ()
) -> Label:
    """A label of a shelf or slot (``place``), a container or an item.

    >>> own_label("place", "SHELF-1", on=date(2026, 3, 4)).printed_code
    '(91)P:SHELF-1'
    """
    label = Label(title or code, tuple(lines), ((AI, write_own(OwnCode(kind, code))),))
    _must_read_back(label, on, None, None)
    return label


def scanner_text(fields: Fields) -> str:
    """The fields as a scanner types them, separators where they are needed.

    >>> scanner_text((("17", "270630"), ("10", "L-1"), ("37", "2"))).replace(FNC1, "|")
    '1727063010L-1|372'
    """
    parts = []
    for place, (ai, value) in enumerate(fields):
        last = place == len(fields) - 1
        parts.append(ai + value + (FNC1 if ai in FREE_LENGTH and not last else ""))
    return "".join(parts)


def _must_read_back(label: Label, on: date, lot: str | None, expires: date | None) -> None:
    try:
        code = parse_code(scanner_text(label.fields), on=on)
        fields = tuple(read_elements(scanner_text(label.fields)))
    except BarcodeUnreadable as error:
        raise ValueError(f"no label can hold {label.printed_code}: {error.why}") from None
    if fields != label.fields or code.lot != lot or code.expires != expires:
        raise ValueError(f"no label can hold {label.printed_code}: it would read differently")

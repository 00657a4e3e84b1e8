"""All file kinds that ``stock import`` reads, and a template of each."""

from __future__ import annotations

import csv
import io
from typing import Final

from stock.exchange.catalogue_files import ARTWORKS, ITEMS, MODES, PACKS, PRINTERS, SUPPLIERS
from stock.exchange.column import Column, FileKind
from stock.exchange.trade_files import (
    COUNTS,
    DELIVERIES,
    JOBINK,
    ORDERS,
    PRINTS,
    PURCHASES,
    WEIGHINGS,
)

__all__ = ["KINDS", "Column", "FileKind", "file_kind", "template"]

KINDS: Final[dict[str, FileKind]] = {
    kind.name: kind
    for kind in (
        ITEMS,
        PACKS,
        SUPPLIERS,
        PRINTERS,
        MODES,
        ARTWORKS,
        ORDERS,
        DELIVERIES,
        PRINTS,
        COUNTS,
        WEIGHINGS,
        JOBINK,
        PURCHASES,
    )
}


def file_kind(name: str) -> FileKind:
    """The kind called ``name``.

    Raises:
        KeyError: There is none.
    """
    return KINDS[name]


def template(name: str) -> str:
    """A CSV with the header of a kind and example rows that read without a fault.

    >>> print(template("artworks"), end="")
    artwork,file,title
    BEAR-FRONT,art/bear.png,"Bear, front"
    """
    kind = file_kind(name)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([column.name for column in kind.columns])
    writer.writerow([column.example for column in kind.columns])
    for row in kind.more_examples:
        writer.writerow([row.get(column.name, "") for column in kind.columns])
    return out.getvalue()

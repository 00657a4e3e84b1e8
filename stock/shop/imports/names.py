"""Names a row of a file uses that the book must know: every unknown one is said, not the first."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from sqlalchemy import Connection

from stock.errors import Unknown
from stock.exchange.rows import Row, Rows
from stock.shop.lookup import Lookup

NAMES: Final[Mapping[str, Mapping[str, str]]] = {
    "packs": {"sku": "item", "supplier": "supplier"},
    "printers": {"item": "item"},
    "modes": {"printer": "printer"},
    "orders": {"blank": "item", "artwork": "artwork", "printer": "printer"},
    "deliveries": {"sku": "item", "supplier": "supplier", "purchase": "purchase order"},
    "purchases": {"supplier": "supplier", "sku": "item"},
    "prints": {"printer": "printer"},
    "counts": {"sku": "item"},
    "jobink": {"printer": "printer"},
}
"""By kind of file: columns that name a thing of the book, and what it is."""


class Names:
    """Looks the names of one file's rows up.

    Args:
        lookup: Reads each table whole on first use.
    """

    def __init__(self, connection: Connection, rows: Rows) -> None:
        self.rows = rows
        self.lookup = Lookup(connection, whole=True)
        self.columns = NAMES.get(rows.kind.name, {})
        self._find: dict[str, Callable[[str], object]] = {
            "item": self.lookup.item,
            "supplier": self.lookup.supplier,
            "printer": self.lookup.printer,
            "artwork": self.lookup.artwork,
            "purchase order": self.lookup.purchase,
        }

    def known(self, row: Row) -> bool:
        """Whether the book knows every name of a row; those it does not are faults."""
        sound = True
        for column, what in self.columns.items():
            if not row[column]:
                continue
            try:
                self._find[what](row[column])
            except Unknown as error:
                self.rows.fault(row, column, error.name, expected(what, error))
                sound = False
        return sound


def expected(what: str, error: Unknown) -> str:
    """What a row should have named, with what looks like it: ``an item of the book``."""
    near = f" (near: {', '.join(error.near)})" if error.near else ""
    article = "an" if what[0] in "aeiou" else "a"
    return f"{article} {what} of the book{near}"

"""Finding rows by the names people use, with a near miss suggested."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Any

from sqlalchemy import Column, Connection, Row, Table, select

from stock.errors import Unknown


def find(
    connection: Connection, table: Table, column: Column[Any], name: str, what: str
) -> Row[Any]:
    """The row of ``table`` whose ``column`` is ``name``.

    Raises:
        Unknown: None has that name; names that look like it are suggested.
    """
    row = connection.execute(select(table).where(column == name)).one_or_none()
    if row is None:
        known = connection.scalars(select(column).limit(20_000)).all()
        raise Unknown(what, name, near_misses(name, known))
    return row


def near_misses(name: str, known: Iterable[str]) -> list[str]:
    """At most three known names that look like ``name``, whatever its capitals.

    >>> near_misses("cart-c", ["CART-C", "TEE-BLK-L"])
    ['CART-C']
    """
    folded = {one.casefold(): one for one in known}
    return [folded[one] for one in difflib.get_close_matches(name.casefold(), folded, 3, 0.6)]


def ids_by_name(connection: Connection, table: Table, column: Column[Any]) -> dict[str, int]:
    """Every row's id by its name."""
    return {row[0]: row[1] for row in connection.execute(select(column, table.c.id))}

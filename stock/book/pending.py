"""Rows appended and not yet written: their ids, their order, their writing.

Knows nothing of amounts; that is ``posting``.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any

from sqlalchemy import Connection, String, Table, bindparam, insert, update

from stock.book.statements import (
    MOVEMENT_COLUMNS,
    Leg,
    insert_entries,
    insert_movements,
    next_ids,
)
from stock.book.tables import container, container_event
from stock.errors import Refused

NAMED_BY_OTHERS = frozenset(
    {
        "artwork",
        "balance",
        "container",
        "customer_order",
        "entry",
        "item",
        "lot",
        "order_line",
        "pack",
        "place",
        "print_mode",
        "purchase_line",
        "purchase_order",
        "supplier",
    }
)
"""Tables whose rows get their id ahead; rows of the others are numbered as they are written, so
that movements of one item stand in the order in which its lock was held."""

PROJECTED = ("state", "opened_on", "effective_expiry", "place_id")
"""Columns of ``container`` that repeat its last event."""

PARENTS_FIRST = {"lot": 0, "entry": 1, "container": 2}


class Pending:
    """The rows one transaction will write."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._free: dict[str, list[int]] = {}
        self._blocks: dict[str, int] = {}
        self._last: dict[str, int] = {}
        self._rows: dict[str, tuple[Table, list[dict[str, Any]]]] = {}
        self._by_id: dict[str, dict[int, dict[str, Any]]] = {}
        self.legs: list[Leg] = []

    def rows(self, table: Table) -> list[dict[str, Any]]:
        """Rows of ``table`` added and not yet written."""
        if table.name == "movement":
            return [dict(zip(MOVEMENT_COLUMNS, leg, strict=True)) for leg in self.legs]
        there = self._rows.get(table.name)
        return there[1] if there else []

    def row(self, table: Table, row_id: int) -> dict[str, Any] | None:
        """The row with that id, if it was added and is not yet written."""
        return self._by_id.get(table.name, {}).get(row_id)

    def new_id(self, table: Table) -> int:
        """The next primary key of ``table``, taken ahead so that rows can name one another."""
        free = self._free.get(table.name)
        if not free:
            free = self._free[table.name] = self._take_ids(table)
        return free.pop()

    def _take_ids(self, table: Table) -> list[int]:
        """A block of ids, largest first; blocks grow, so that one posting leaves no gap."""
        name = table.name
        block = self._blocks[name] = min(self._blocks.get(name, 0) * 8 or 1, 512)
        ids = next_ids(self._connection, name, block, self._last.get(name, 0))
        self._last[name] = ids[0]
        return ids

    def add(self, table: Table, values: dict[str, Any]) -> int:
        """Append a row and return its id; 0 for a row that no other names."""
        name = table.name
        there = self._rows.get(name)
        if there is None:
            there = self._rows[name] = (table, [])
        there[1].append(values)
        if name not in NAMED_BY_OTHERS:
            return 0
        row_id = values["id"] = self.new_id(table)
        self._by_id.setdefault(name, {})[row_id] = values
        return row_id

    def write(self) -> None:
        """Write all rows, parents before children, whatever order they were added in."""
        self._project_containers()
        for table, rows in sorted(
            self._rows.values(), key=lambda pair: PARENTS_FIRST.get(pair[0].name, 3)
        ):
            refuse_odd_text(table, rows)
            if rows and table.name == "entry":
                insert_entries(self._connection, rows)
            else:
                for uniform in _same_columns(rows):
                    self._connection.execute(insert(table), uniform)
            rows.clear()
        if self.legs:
            insert_movements(self._connection, self.legs)
            self.legs.clear()
        self._by_id.clear()

    def _project_containers(self) -> None:
        """The state columns of a container follow the last event appended for it."""
        last = {row["container_id"]: row for row in self.rows(container_event)}
        for row in self.rows(container):
            event = last.pop(row["id"], None)
            if event is not None:
                row.update({name: event.get(name) for name in PROJECTED})
        if last:
            self._connection.execute(
                update(container)
                .where(container.c.id == bindparam("row"))
                .values({name: bindparam(f"new_{name}") for name in PROJECTED}),
                [
                    {"row": row_id, **{f"new_{name}": event.get(name) for name in PROJECTED}}
                    for row_id, event in last.items()
                ],
            )


def _same_columns(rows: Sequence[dict[str, Any]]) -> Iterable[list[dict[str, Any]]]:
    """Rows grouped by the columns they name, for executemany; order kept within a group."""
    groups: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for row in rows:
        groups.setdefault(tuple(row), []).append(row)
    return groups.values()


def refuse_odd_text(table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Text is kept only as long as its column and only of characters that can be seen.

    SQLite keeps any length and PostgreSQL does not: both answer alike here. A direction mark or a
    control character in a code would make it look like another one.

    Raises:
        Refused: Too long, or an invisible character; nothing of the transaction is written.
    """
    for name, longest in _texts(table):
        for row in rows:
            value = row.get(name)
            if not value or (len(value) <= longest and value.isprintable()):
                continue
            what = f"{table.name.replace('_', ' ')} {name.replace('_', ' ')}"
            if len(value) > longest:
                raise Refused(
                    f"The {what} has {len(value)} characters; at most {longest} are kept."
                )
            hidden = next(filter(_hidden, value), "")
            if hidden:
                raise Refused(f"The {what} holds the invisible character U+{ord(hidden):04X}.")


@cache
def _texts(table: Table) -> tuple[tuple[str, int], ...]:
    """(column, longest) of the columns of a table that hold text of bounded length."""
    return tuple(
        (column.name, column.type.length)
        for column in table.c
        if isinstance(column.type, String) and column.type.length
    )


def _hidden(c: str) -> bool:
    """Control, format, surrogate, private and unassigned characters; joiners make up letters."""
    return not c.isprintable() and unicodedata.category(c) != "Zs" and c not in "\u200c\u200d"

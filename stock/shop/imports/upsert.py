"""New, changed and known rows of one table, told apart by natural keys and written at the end."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Table, bindparam, select, update

from stock.book.pending import Pending
from stock.shop.imports import Import


class Upsert:
    """Inserts new rows, updates changed ones, leaves known ones; call :meth:`flush` at the end."""

    def __init__(self, job: Import, table: Table, *key: str) -> None:
        self.job, self.table, self.key = job, table, key
        self.there: dict[tuple[Any, ...], Mapping[str, Any]] = {
            tuple(row[name] for name in key): dict(row)
            for row in job.connection.execute(select(table)).mappings()
        }
        self.seen: dict[tuple[Any, ...], int] = {}
        self._pending = Pending(job.connection)
        self._changed: dict[tuple[str, ...], list[dict[str, Any]]] = {}

    def row(self, line: int, values: dict[str, Any]) -> tuple[int, str]:
        """Put one row; returns (its id, ``new`` | ``changed`` | ``known``)."""
        key = tuple(values[name] for name in self.key)
        if key in self.seen:
            shown = " / ".join(str(part) for part in key)
            self.job.rows.fault(
                line, self.key[-1], shown, f"one row each; line {self.seen[key]} has it too"
            )
            return 0, "known"
        self.seen[key] = line
        before = self.there.get(key)
        if before is None:
            return self._pending.add(self.table, dict(values)), "new"
        row_id = int(before["id"])
        if any(before[name] != value for name, value in values.items()):
            renamed = {f"to_{name}": value for name, value in values.items()}
            self._changed.setdefault(tuple(values), []).append({"row": row_id, **renamed})
            return row_id, "changed"
        return row_id, "known"

    def flush(self) -> None:
        """Write the new and the changed rows; a file with faults is not taken at all."""
        if self.job.rows.faults:
            return
        self._pending.write()
        for names, rows in self._changed.items():
            self.job.connection.execute(
                update(self.table)
                .where(self.table.c.id == bindparam("row"))
                .values({name: bindparam(f"to_{name}") for name in names}),
                rows,
            )
        self._changed.clear()

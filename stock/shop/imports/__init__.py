"""Files into the book: whole or not at all, the same file twice changes nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from stock.book.opening import Book
from stock.errors import Fault
from stock.exchange.rows import Rows, read_rows
from stock.shop.imports.names import Names

__all__ = ["Import", "Imported", "import_rows"]

Report = Callable[[int, int], None]


@dataclass(slots=True)
class Imported:
    """What an import did: rows read, new, changed, known already; sentences for the person."""

    kind: str
    rows: int = 0
    new: int = 0
    changed: int = 0
    known: int = 0
    notes: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def to_json(self) -> dict[str, Any]:
        """With the contract's keys."""
        return {
            "kind": self.kind,
            "rows": self.rows,
            "new": self.new,
            "changed": self.changed,
            "known": self.known,
            "faults": [],
            "notes": self.notes,
        }


@dataclass(frozen=True)
class Import:
    """One import under way: what an importer of a kind is handed."""

    connection: Connection
    rows: Rows
    folder: Path
    on: date
    who: str
    done: Imported
    report: Report
    names: Names

    def count(self, was: str) -> None:
        """Count one row as ``new``, ``changed`` or ``known`` and show progress now and then."""
        self.done.rows += 1
        setattr(self.done, was, getattr(self.done, was) + 1)
        if self.done.rows % 500 == 0:
            self.report(self.done.rows, 0)


class _DryRun(Exception):
    def __init__(self, done: Imported) -> None:
        self.done = done


def import_rows(
    book: Book | Callable[[], Book],
    kind: str,
    path: Path,
    *,
    on: date,
    columns: Path | None = None,
    dry_run: bool = False,
    who: str = "",
    on_progress: Report = lambda _done, _total: None,
) -> Imported:
    """Take one file of ``kind`` into the book.

    Args:
        book: The book, or what opens it once the file has proved to be one of that kind.
        on: The business day, against which two-digit years and "not in the future" are read.
        columns: A TOML column map.
        dry_run: Do everything, then take it all back.

    Raises:
        InputFaults: Every fault of the file; nothing was taken.
    """
    from stock.shop.imports import catalogue, events, trade

    importers: dict[str, Callable[[Import], None]] = {
        "items": catalogue.take_items,
        "packs": catalogue.take_packs,
        "suppliers": catalogue.take_suppliers,
        "printers": catalogue.take_printers,
        "modes": catalogue.take_modes,
        "artworks": catalogue.take_artworks,
        "orders": trade.take_orders,
        "purchases": trade.take_purchases,
        "deliveries": events.take_deliveries,
        "prints": events.take_prints,
        "counts": events.take_counts,
        "weighings": events.take_weighings,
        "jobink": events.take_jobink,
    }
    rows = read_rows(path, kind, columns_map=columns, on=on)

    def work(connection: Connection) -> Imported:
        done = Imported(kind)
        names = Names(connection, rows)
        rows.on_faulty = names.known
        importers[kind](Import(connection, rows, path.parent, on, who, done, on_progress, names))
        rows.finish()
        done.notes.extend(rows.notes)
        if dry_run:
            raise _DryRun(done)
        return done

    opened = book if isinstance(book, Book) else book()
    try:
        done = opened.write(work)
    except _DryRun as stopped:
        return stopped.done
    if kind in ("orders", "artworks", "modes", "items"):
        from stock.shop.estimating import measure_artworks

        done.notes.extend(measure_artworks(opened, on_progress=on_progress))
    return done

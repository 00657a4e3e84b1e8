"""Kill -9 at random moments: postings of two stations, long imports, making and copying a book.

What is left must be sound by ``stock check``, hold every acknowledged entry, and a file must be in
it whole or not at all. Killing of single commands at their statements is the part ``commands``.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from stock.book.check import check_book
from stock.book.opening import create_book, open_book
from stock.shop.imports import import_rows
from tests.benchmarks.book_rows import drop, new_book, postgres
from tests.benchmarks.faults.row import Row
from tests.benchmarks.faults.stations import where_of
from tests.faults.stations import (
    DAY,
    acknowledged,
    copier,
    delivered,
    delivery_file,
    furnish,
    importer,
    killed,
    left_behind,
    maker,
    started,
    station,
)

ROWS = 20_000


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    """Six rows that share ``--kills``."""
    chance = random.Random(1)
    part = max(asked.kills // 6, 1)
    with postgres() as server:
        for name, where in (("SQLite", None), ("PostgreSQL", server)):
            yield postings(name, where, part, chance)
            yield imports(name, where, part, chance)
    yield makings(part, chance)
    yield copies(part, chance)


def postings(name: str, server: str | None, kills: int, chance: random.Random) -> Row:
    """Mixed postings by two stations at once, one of them killed."""
    row = Row(f"kill -9: mixed postings, {name}")
    book = new_book(server)
    furnish(book)
    in_flight = told = 0
    folder = Path(tempfile.mkdtemp(prefix="crash"))
    for number in range(kills):
        pair = [folder / f"{number}-{side}.log" for side in "ab"]
        other = started(station, where_of(book), "B", 10_000 + number, 0.8, str(pair[1]))
        child = started(station, where_of(book), "A", number, 60.0, str(pair[0]))
        row.tried += 1
        in_flight += killed(child, 0.2 + chance.random() * 0.6)
        other.join()
        left = left_behind(book, pair)
        told += sum(len(acknowledged(log)) for log in pair)
        for line in left.damage:
            row.fail(f"kill {number}: {line}")
        for entry_id in left.missing:
            row.fail(f"kill {number}: entry {entry_id} was acknowledged and is missing")
    row.said = f"{in_flight} in full flight; {told:,} acknowledged postings, all there"
    if row.failed:
        row.said = f"{in_flight} in full flight; {told:,} acknowledged postings"
    drop(book)
    return row


def imports(name: str, server: str | None, kills: int, chance: random.Random) -> Row:
    """A delivery file, killed, then taken again to its end."""
    row = Row(f"kill -9: import of {ROWS:,} rows, {name}")
    file = delivery_file(Path(tempfile.mkdtemp(prefix="crash")) / "deliveries.csv", ROWS)
    whole = 0.0
    for _ in range(2):  # the first child also loads the code
        book = new_book(server)
        furnish(book)
        began = time.monotonic()
        started(importer, where_of(book), str(file)).join()
        whole = time.monotonic() - began
        drop(book)
    in_flight = 0
    while row.tried < kills:
        book = new_book(server)
        furnish(book)
        for _ in range(min(5, kills - row.tried)):
            row.tried += 1
            in_flight += killed(
                started(importer, where_of(book), str(file)), chance.random() * whole * 0.9
            )
            if delivered(book) not in (0, ROWS):
                row.fail(f"kill {row.tried}: {delivered(book)} of {ROWS} rows taken")
            if not check_book(book).sound:
                row.fail(f"kill {row.tried}: the book is damaged")
            if delivered(book):
                break
        import_rows(book, "deliveries", file, on=DAY)
        again = import_rows(book, "deliveries", file, on=DAY)
        if delivered(book) != ROWS or again.new or not check_book(book).sound:
            row.fail(f"after kill {row.tried}: taken again, but not whole")
        drop(book)
    row.said = f"{in_flight} in full flight"
    return row


def makings(kills: int, chance: random.Random) -> Row:
    """A new book, killed while it is made, then made."""
    row = Row("kill -9: making a book, SQLite")
    folder = Path(tempfile.mkdtemp(prefix="crash"))
    in_flight = 0
    for number in range(kills):
        path = folder / f"{number}.sqlite"
        row.tried += 1
        in_flight += killed(started(maker, str(path)), chance.random() * 0.4)
        made = create_book(path)
        if not check_book(made).sound:
            row.fail(f"kill {number}: the book made afterwards is damaged")
        made.close()
    row.said = f"{in_flight} in full flight"
    return row


def copies(kills: int, chance: random.Random) -> Row:
    """Copies onto one file, killed half-way."""
    row = Row("kill -9: copying a book, SQLite")
    book = new_book(None)
    furnish(book)
    target = Path(tempfile.mkdtemp(prefix="crash")) / "copy.sqlite"
    in_flight = 0
    for number in range(kills):
        row.tried += 1
        child = started(copier, where_of(book), str(target))
        in_flight += killed(child, 0.1 + chance.random() * 0.5)
        if target.exists():
            copy = open_book(target)
            if not check_book(copy).sound:
                row.fail(f"kill {number}: the copy is damaged")
            copy.close()
    row.said = f"{in_flight} in full flight"
    drop(book)
    return row

"""Kill -9 at random moments, hundreds of times: what is left of the book.

    python -m tests.benchmarks.faults_crash [--kills 200] [--seed 1]

Each row of the table is one kind of work on one database: how often it was killed in full flight,
how many postings had been acknowledged by then, and what was found afterwards: damage by
``stock check``, acknowledged entries that are missing, rows taken twice or by half.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from stock.book.check import check_book
from stock.book.opening import Book, create_book, open_book
from stock.shop.imports import import_rows
from tests.benchmarks.book_rows import drop, new_book, postgres
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


@dataclass
class Tally:
    """One row of the table."""

    work: str
    kills: int = 0
    in_flight: int = 0
    acknowledged: int = 0
    damage: int = 0
    missing: int = 0
    halves: int = 0

    def __str__(self) -> str:
        return (
            f"{self.work:<34} {self.kills:>6} {self.in_flight:>9} {self.acknowledged:>13} "
            f"{self.damage:>7} {self.missing:>8} {self.halves:>7}"
        )


def where_of(book: Book) -> str:
    """The address a child opens."""
    return (
        book.url.database or ""
        if book.is_sqlite
        else book.url.render_as_string(hide_password=False)
    )


def postings(name: str, server: str | None, kills: int, chance: random.Random) -> Tally:
    """Mixed postings by two stations at once, one of them killed."""
    tally = Tally(f"mixed postings, {name}")
    book = new_book(server)
    furnish(book)
    logs: list[Path] = []
    folder = Path(tempfile.mkdtemp(prefix="crash"))
    for number in range(kills):
        pair = [folder / f"{number}-{side}.log" for side in "ab"]
        logs += pair
        other = started(station, where_of(book), "B", 10_000 + number, 0.8, str(pair[1]))
        child = started(station, where_of(book), "A", number, 60.0, str(pair[0]))
        tally.kills += 1
        tally.in_flight += killed(child, 0.2 + chance.random() * 0.6)
        other.join()
        left = left_behind(book, pair)
        tally.damage += len(left.damage)
        tally.missing += len(left.missing)
    tally.acknowledged = sum(len(acknowledged(log)) for log in logs)
    drop(book)
    return tally


def imports(name: str, server: str | None, kills: int, chance: random.Random) -> Tally:
    """A delivery file, killed, then taken again to its end."""
    tally = Tally(f"import of {ROWS:,} rows, {name}")
    file = delivery_file(Path(tempfile.mkdtemp(prefix="crash")) / "deliveries.csv", ROWS)
    book = new_book(server)
    furnish(book)
    started(importer, where_of(book), str(file)).join()  # the first child also loads the code
    drop(book)
    book = new_book(server)
    furnish(book)
    began = time.monotonic()
    started(importer, where_of(book), str(file)).join()
    whole = time.monotonic() - began
    drop(book)
    while tally.kills < kills:
        book = new_book(server)
        furnish(book)
        for _ in range(min(5, kills - tally.kills)):
            tally.kills += 1
            tally.in_flight += killed(
                started(importer, where_of(book), str(file)), chance.random() * whole * 0.9
            )
            tally.halves += delivered(book) not in (0, ROWS)
            tally.damage += not check_book(book).sound
            if delivered(book):
                break
        import_rows(book, "deliveries", file, on=DAY)
        again = import_rows(book, "deliveries", file, on=DAY)
        tally.halves += delivered(book) != ROWS or again.new != 0
        tally.damage += not check_book(book).sound
        drop(book)
    return tally


def makings(kills: int, chance: random.Random) -> Tally:
    """A new book, killed while it is made, then made."""
    tally = Tally("making a book, SQLite")
    folder = Path(tempfile.mkdtemp(prefix="crash"))
    for number in range(kills):
        path = folder / f"{number}.sqlite"
        tally.kills += 1
        tally.in_flight += killed(started(maker, str(path)), chance.random() * 0.4)
        made = create_book(path)
        tally.damage += not check_book(made).sound
        made.close()
    return tally


def copies(kills: int, chance: random.Random) -> Tally:
    """Copies onto one file, killed half-way."""
    tally = Tally("copying a book, SQLite")
    book = new_book(None)
    furnish(book)
    target = Path(tempfile.mkdtemp(prefix="crash")) / "copy.sqlite"
    for _ in range(kills):
        tally.kills += 1
        child = started(copier, where_of(book), str(target))
        tally.in_flight += killed(child, 0.1 + chance.random() * 0.5)
        if target.exists():
            copy = open_book(target)
            tally.damage += not check_book(copy).sound
            copy.close()
    drop(book)
    return tally


def main() -> None:
    """Run the campaign and print its table."""
    words = argparse.ArgumentParser()
    words.add_argument("--kills", type=int, default=200)
    words.add_argument("--seed", type=int, default=1)
    asked = words.parse_args()
    chance = random.Random(asked.seed)
    part = max(asked.kills // 6, 1)
    began = time.monotonic()
    print(
        f"{'work':<34} {'kills':>6} {'in flight':>9} {'acknowledged':>13} "
        f"{'damage':>7} {'missing':>8} {'halves':>7}"
    )
    with postgres() as server:
        for name, where in (("SQLite", None), ("PostgreSQL", server)):
            print(postings(name, where, part, chance), flush=True)
            print(imports(name, where, part, chance), flush=True)
    print(makings(part, chance), flush=True)
    print(copies(part, chance), flush=True)
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()

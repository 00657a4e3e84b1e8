"""The book's speed against the bare database: imports, one posting, what is on hand.

    python -m tests.benchmarks book_speed

Both sides write the same rows into the same tables with the same pragmas; books are made anew
before each timed run (not timed).
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterator
from datetime import timedelta

from sqlalchemy import text

from stock.book.onhand import on_hand_rows
from stock.book.opening import Book
from tests.benchmarks.book_rows import (
    FIRST,
    ITEMS,
    bare_rows,
    drop,
    furnish,
    new_book,
    post_uses,
    postgres,
    write_bare,
)
from tests.benchmarks.ratios import Ratio, compare, seconds

MOVEMENTS = 100_000
MANY = 1_000_000


def rows() -> Iterator[Ratio]:
    """Every comparison, on SQLite and on PostgreSQL."""
    with postgres() as server:
        for name, where in (("SQLite", None), ("PostgreSQL", server)):
            yield imported(name, where)
            yield posted(name, where)
        yield from on_hand("SQLite", None)
        yield from on_hand("PostgreSQL", server)


def imported(name: str, where: str | None) -> Ratio:
    """100,000 movements in one transaction."""
    entries = MOVEMENTS // ITEMS
    made: list[Book] = []

    def fresh() -> Book:
        while made:
            drop(made.pop())
        made.append(new_book(where))
        furnish(made[0])
        return made[0]

    def write_ours() -> float:
        book = fresh()
        return seconds(lambda: book.write(lambda c: post_uses(c, entries)))

    def write_theirs() -> float:
        book = fresh()
        with book.reading() as connection:
            bare = bare_rows(connection, entries)
        return seconds(lambda: book.write(lambda c: write_bare(c, bare)))

    mine, other = [], []
    for _ in range(3):
        other.append(write_theirs())
        mine.append(write_ours())
    drop(made.pop())
    return Ratio(
        f"import of {MOVEMENTS:,} movements, {name}",
        "bare executemany",
        (min(mine), statistics.median(mine)),
        (min(other), statistics.median(other)),
        2.0,
    )


def posted(name: str, where: str | None, postings: int = 200) -> Ratio:
    """One durable posting of 8 movements: ours, against bare INSERTs and commit."""
    ours, theirs = new_book(where), new_book(where)
    furnish(ours)
    furnish(theirs)
    with theirs.reading() as connection:
        entry_rows, movement_rows, balance_rows = bare_rows(connection, postings * 5)
    numbers = iter(range(10**9))
    others = iter(range(10**9))

    def mine() -> None:
        for _ in range(postings):
            number = next(numbers)
            ours.write(lambda c, number=number: post_uses(c, 1, start=number))

    def bare() -> None:
        for _ in range(postings):
            n = next(others)
            part = (
                entry_rows[n : n + 1],
                movement_rows[n * ITEMS : (n + 1) * ITEMS],
                [(1, *row[1:]) for row in balance_rows[:ITEMS]],
            )
            theirs.write(lambda c, part=part: write_bare(c, part))

    row = compare(
        f"{postings} postings of {ITEMS} movements, {name}",
        "bare INSERTs, UPDATEs and commit",
        mine,
        bare,
        2.0,
        repeats=5,
    )
    drop(ours)
    drop(theirs)
    return row


def on_hand(name: str, where: str | None) -> Iterator[Ratio]:
    """What is on hand today and on a past day, with a million movements in the book."""
    book = new_book(where)
    furnish(book, lots=50)
    small = _time(lambda: _today(book))
    with book.reading() as connection:
        bare = bare_rows(connection, MANY // ITEMS)
    book.write(lambda c: write_bare(c, bare))
    if where is not None:
        with book.engine.begin() as connection:
            connection.execute(text("ANALYZE"))
    large = _time(lambda: _today(book))
    yield compare(
        f"on hand today, {MANY:,} movements, {name}",
        "SELECT on the balances with their names",
        lambda: _today(book),
        lambda: _select_balances(book),
        1.5,
        repeats=9,
        scaling=f"{large / small:.2f} × the time with none",
    )
    day = FIRST + timedelta(days=300)
    yield compare(
        f"on hand on a past day, {MANY:,} movements, {name}",
        "one SUM … GROUP BY",
        lambda: _past(book, day),
        lambda: _sum(book, day),
        1.5,
        repeats=3,
    )
    drop(book)


def _time(work: Callable[[], object]) -> float:
    work()
    return min(seconds(work) for _ in range(7))


def _today(book: Book) -> None:
    with book.reading() as connection:
        assert len(on_hand_rows(connection)) == ITEMS * 50


def _select_balances(book: Book) -> None:
    with book.reading() as connection:
        found = connection.exec_driver_sql(
            "SELECT i.sku, i.name, i.kind, l.code, l.owner, p.code, p.kind, c.code, b.amount, "
            "i.unit, l.sealed_expiry, c.effective_expiry FROM balance b "
            "JOIN lot l ON l.id = b.lot_id JOIN item i ON i.id = b.item_id "
            "JOIN place p ON p.id = b.place_id LEFT JOIN container c ON c.id = b.container_id "
            "ORDER BY i.sku, l.sealed_expiry, l.id, p.code, c.id"
        ).fetchall()
        assert len(found) == ITEMS * 50


def _past(book: Book, day: object) -> None:
    with book.reading() as connection:
        assert len(on_hand_rows(connection, day)) == ITEMS * 50  # type: ignore[arg-type]


def _sum(book: Book, day: object) -> None:
    with book.reading() as connection:
        found = connection.exec_driver_sql(
            "SELECT place_id, lot_id, container_id, SUM(amount) FROM ("
            "SELECT to_place_id AS place_id, lot_id, to_container_id AS container_id, amount "
            f"FROM movement WHERE day <= '{day}' AND to_place_id IN "
            "(SELECT id FROM place WHERE kind IN ('shelf', 'slot', 'quarantine')) UNION ALL "
            "SELECT from_place_id, lot_id, from_container_id, -amount "
            f"FROM movement WHERE day <= '{day}' AND from_place_id IN "
            "(SELECT id FROM place WHERE kind IN ('shelf', 'slot', 'quarantine'))) AS legs "
            "GROUP BY place_id, lot_id, container_id"
        ).fetchall()
        assert len(found) == ITEMS * 50

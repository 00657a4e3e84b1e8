"""PostgreSQL with five million movements: what stays flat, and does a BRIN index earn its place?

    python -m tests.benchmarks.postgres_scale [MOVEMENTS]

A book is filled by the program's own postings up to 80,000 movements, then by one
``INSERT … SELECT`` that repeats them with later entries. The questions a shop asks are timed on
it: on hand today, on hand on a past day, one item's last movements, one posting; then again with a
block range index on the day, and again with the movements partitioned by year. Sizes are those
PostgreSQL reports. Milliseconds are the least of five runs.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import timedelta

from sqlalchemy import Connection, text

from stock.book.onhand import on_hand_rows
from stock.book.opening import Book
from tests.benchmarks.book_rows import (
    FIRST,
    ITEMS,
    drop,
    furnish,
    new_book,
    post_uses,
    postgres,
)
from tests.benchmarks.ratios import seconds

SEED_MOVEMENTS = 80_000
NUMBERS = iter(range(10**7, 10**8))


def fill(book: Book, movements: int) -> None:
    """Movements by postings first, then repeated with later entries and days."""
    furnish(book)
    book.write(lambda connection: post_uses(connection, SEED_MOVEMENTS // ITEMS))
    times = max(1, movements // SEED_MOVEMENTS)

    def work(connection: Connection) -> None:
        first = connection.scalar(text("SELECT min(id) FROM entry WHERE kind = 'print'"))
        last = connection.scalar(text("SELECT max(id) FROM entry"))
        span = last - first + 1
        columns = [
            column.name
            for column in _table(book, "entry").columns
            if column.name not in ("id", "day", "source_ref")
        ]
        listed = ", ".join(columns)
        connection.execute(
            text(
                f"INSERT INTO entry (id, day, source_ref, {listed}) "
                f"SELECT id + {span} * k, day + 700 * k, source_ref || ':' || k, {listed} "
                f"FROM entry, generate_series(1, {times - 1}) k WHERE kind = 'print'"
            )
        )
        columns = [
            column.name
            for column in _table(book, "movement").columns
            if column.name not in ("id", "entry_id", "day")
        ]
        listed = ", ".join(columns)
        connection.execute(
            text(
                f"INSERT INTO movement (id, entry_id, day, {listed}) "
                "SELECT (SELECT max(id) FROM movement) + row_number() OVER (ORDER BY k, m.id), "
                f"entry_id + {span} * k, day + 700 * k, {listed} "
                f"FROM movement m, generate_series(1, {times - 1}) k "
                f"WHERE entry_id >= {first} AND entry_id <= {last}"
            )
        )
        for name in ("entry", "movement"):
            connection.execute(
                text(
                    f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), "
                    f"(SELECT max(id) FROM {name}))"
                )
            )

    book.write(work)
    _alone(book, "VACUUM ANALYZE")


def _table(book: Book, name: str):  # type: ignore[no-untyped-def]
    from stock.book.schema import metadata

    return metadata.tables[name]


def _alone(book: Book, statement: str) -> None:
    """Run what may not stand in a transaction."""
    with book.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text(statement))


def questions(book: Book, movements: int) -> dict[str, Callable[[], object]]:
    """What is asked of the large book."""
    half = FIRST + timedelta(days=700 * (movements // SEED_MOVEMENTS) // 2)
    last = FIRST + timedelta(days=700 * (movements // SEED_MOVEMENTS) - 10)

    def ask(statement: str, **values: object) -> None:
        with book.reading() as connection:
            connection.execute(text(statement), values).all()

    def on_hand(day: object) -> None:
        with book.reading() as connection:
            on_hand_rows(connection, day)  # type: ignore[arg-type]

    return {
        "on hand today": lambda: on_hand(None),
        "on hand half way back": lambda: on_hand(half),
        "one item's last 200 movements": lambda: ask(
            "SELECT * FROM movement WHERE item_id = 3 ORDER BY day DESC, id DESC LIMIT 200"
        ),
        "all movements of a week": lambda: ask(
            "SELECT item_id, sum(amount) FROM movement WHERE day >= :a AND day < :b GROUP BY 1",
            a=last - timedelta(days=7),
            b=last,
        ),
        "one posting of 8 movements": lambda: book.write(
            lambda connection: post_uses(connection, 1, start=next(NUMBERS))
        ),
    }


def measure(book: Book, movements: int, title: str) -> None:
    """Time the questions."""
    print(f"\n{title}")
    for name, ask in questions(book, movements).items():
        ask()
        least = min(seconds(ask) for _ in range(5))
        print(f"  {name:34}{1000 * least:10.2f} ms", flush=True)


def sizes(book: Book) -> None:
    """How large the movement table and its indexes are."""
    with book.reading() as connection:
        rows = connection.execute(
            text(
                "SELECT relname, pg_relation_size(oid) FROM pg_class WHERE relname = 'movement' "
                "OR relname IN (SELECT indexname FROM pg_indexes WHERE tablename = 'movement') "
                "ORDER BY 2 DESC"
            )
        )
        for name, size in rows:
            print(f"  {name:34}{size / 2**20:10.1f} MiB")


def main(movements: int) -> None:
    """At a tenth and at the whole; then the two things that might help."""
    with postgres() as server:
        small = new_book(server)
        fill(small, movements // 10)
        measure(small, movements // 10, f"{movements // 10:,} movements")
        drop(small)
        book = new_book(server)
        took = seconds(lambda: fill(book, movements))
        with book.reading() as connection:
            count = connection.scalar(text("SELECT count(*) FROM movement"))
        measure(book, movements, f"{count:,} movements (filled in {took:.0f} s)")
        sizes(book)
        _alone(book, "CREATE INDEX ix_trial_brin ON movement USING brin (day)")
        _alone(book, "ANALYZE movement")
        measure(book, movements, "the same with a BRIN index on the day")
        sizes(book)
        _alone(book, "DROP INDEX ix_trial_brin")
        _alone(book, "CREATE TABLE by_year (LIKE movement) PARTITION BY RANGE (day)")
        years = 2 + 700 * (movements // SEED_MOVEMENTS) // 365
        for year in range(FIRST.year, FIRST.year + years + 1):
            _alone(
                book,
                f"CREATE TABLE y{year} PARTITION OF by_year "
                f"FOR VALUES FROM ('{year}-01-01') TO ('{year + 1}-01-01')",
            )
        _alone(book, "INSERT INTO by_year SELECT * FROM movement")
        _alone(book, "CREATE INDEX ON by_year (item_id, day)")
        _alone(book, "ANALYZE by_year")
        print("\nthe same rows partitioned by year, one index on (item, day)")
        last = FIRST + timedelta(days=700 * (movements // SEED_MOVEMENTS) - 10)
        for name, statement in {
            "one item's last 200 movements": "SELECT * FROM by_year WHERE item_id = 3 "
            "ORDER BY day DESC, id DESC LIMIT 200",
            "all movements of a week": "SELECT item_id, sum(amount) FROM by_year WHERE "
            f"day >= '{last - timedelta(days=7)}' AND day < '{last}' GROUP BY 1",
        }.items():

            def ask(statement: str = statement) -> None:
                with book.reading() as connection:
                    connection.execute(text(statement)).all()

            ask()
            print(f"  {name:34}{1000 * min(seconds(ask) for _ in range(5)):10.2f} ms")
        drop(book)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5_000_000)

"""Five million movements on PostgreSQL: would an index on the day, or partitions, earn its place?

    python -m tests.benchmarks.book_scale [MILLIONS]

The book's own table is filled in the order of its days, a few days astray as late entries are, and
asked what the program asks of it: what is on hand now, what was on hand on a past day, what moved
in a month, where a lot went. Each question is timed (least of three) as the book is (its indexes
are on the entry, the lot, and the item with the day), with a BRIN index on the day besides, with a
B-tree, and on a copy cut into one partition a year; beside each stands what it costs in disk and
what a day's posting costs more (10,000 movements inserted, least of three).
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta

from sqlalchemy import text

from stock.book.onhand import on_hand_rows
from stock.book.opening import Book
from tests.benchmarks.book_rows import FIRST, drop, furnish, new_book, postgres
from tests.benchmarks.ratios import peak_mib, seconds

DAYS = 1825
LOTS = 50
NAMED = (
    ("entry_id", "entry"),
    ("item_id", "item"),
    ("lot_id", "lot"),
    ("from_place_id", "place"),
    ("to_place_id", "place"),
    ("from_container_id", "container"),
    ("to_container_id", "container"),
)
SHOWN = ("layout", "disk MiB", "build s", "on hand s", "past day s", "month s", "lot s", "insert s")


def main(millions: float) -> None:
    """Fill, ask, print."""
    with postgres() as server:
        book = new_book(server)
        furnish(book, lots=LOTS)
        print(f"{millions:g} M movements filled in {seconds(lambda: fill(book, millions)):.0f} s")
        print("  ".join(f"{name:>10}" for name in SHOWN))
        for name, build, remove, table in layouts():
            build_s = seconds(lambda build=build: run(book, *build)) if build else 0.0
            run(book, "ANALYZE")
            cells = [f"{disk(book, table):.0f}", f"{build_s:.1f}", *asked(book, table)]
            print("  ".join(f"{cell:>10}" for cell in (name, *cells)), flush=True)
            run(book, *remove)
        drop(book)
    print(f"peak memory of this process {peak_mib():.0f} MiB")


def layouts() -> Iterator[tuple[str, list[str], list[str], str]]:
    """(name, statements that build it, that take it away, the table asked)."""
    yield "as it is", [], [], "movement"
    for kind in ("brin", "btree"):
        made = f"CREATE INDEX by_day ON movement USING {kind} (day)"
        yield kind, [made], ["DROP INDEX by_day"], "movement"
    years = range(FIRST.year - 1, FIRST.year + 6)
    parts = [
        f"CREATE TABLE cut_{year} PARTITION OF cut FOR VALUES "
        f"FROM ('{year}-01-01') TO ('{year + 1}-01-01')"
        for year in years
    ]
    yield (
        "by year",
        [
            "CREATE TABLE cut (LIKE movement INCLUDING DEFAULTS) PARTITION BY RANGE (day)",
            *parts,
            "INSERT INTO cut SELECT * FROM movement",
            "CREATE INDEX ON cut (id)",
            "CREATE INDEX ON cut (entry_id)",
            "CREATE INDEX ON cut (lot_id)",
            "CREATE INDEX ON cut (item_id, day)",
            *(
                f"ALTER TABLE cut ADD FOREIGN KEY ({name}) REFERENCES {other}"
                for name, other in NAMED
            ),
        ],
        ["DROP TABLE cut"],
        "cut",
    )


def fill(book: Book, millions: float) -> None:
    """Uses of eight items from fifty lots each, on the server; keys are true by construction."""
    count = int(millions * 1_000_000)
    run(
        book,
        "SET session_replication_role = replica",
        "INSERT INTO entry (id, kind, day, at, who, note) SELECT 1 + n, 'print', "
        f"DATE '{FIRST}' + (n * {DAYS} / {count // 8})::int - (n % 3)::int, now(), '', '' "
        f"FROM generate_series(1, {count // 8}) AS n",
        "INSERT INTO movement (entry_id, day, item_id, lot_id, from_place_id, to_place_id, amount) "
        "SELECT e.id, e.day, l.item_id, l.id, s.id, p.id, 1000 + e.id % 97 "
        "FROM entry e CROSS JOIN generate_series(0, 7) AS k "
        f"JOIN lot l ON l.id = (SELECT min(id) FROM lot) + k * {LOTS} + e.id % {LOTS} "
        "CROSS JOIN (SELECT id FROM place WHERE code = 'SHELF') s "
        "CROSS JOIN (SELECT id FROM place WHERE code = 'PRINTED') p "
        "WHERE e.id > 1 ORDER BY e.id",
        "SET session_replication_role = DEFAULT",
    )


def asked(book: Book, table: str) -> list[str]:
    """Seconds of each question, as text."""
    past = FIRST + timedelta(days=DAYS * 4 // 5)
    month = FIRST + timedelta(days=DAYS * 3 // 5)
    with as_movement(book, table):
        return [
            f"{least(work):.3f}"
            for work in (
                lambda: on_hand(book, None),
                lambda: on_hand(book, past),
                lambda: month_s_use(book, month),
                lambda: ask(book, "SELECT entry_id, amount FROM movement WHERE lot_id = 7"),
                lambda: one_day(book),
            )
        ]


@contextmanager
def as_movement(book: Book, table: str) -> Iterator[None]:
    """Let ``table`` be read by the program's own statements."""
    if table == "movement":
        yield
        return
    run(book, "ALTER TABLE movement RENAME TO whole", f"ALTER TABLE {table} RENAME TO movement")
    yield
    run(book, f"ALTER TABLE movement RENAME TO {table}", "ALTER TABLE whole RENAME TO movement")


def on_hand(book: Book, day: date | None) -> None:
    """The program's own list."""
    with book.reading() as connection:
        assert len(on_hand_rows(connection, day)) == 8 * LOTS


def month_s_use(book: Book, first: date) -> None:
    """What each item used in thirty days."""
    ask(
        book,
        "SELECT item_id, SUM(amount) FROM movement WHERE day BETWEEN "
        f"'{first}' AND '{first + timedelta(days=29)}' GROUP BY item_id",
    )


def one_day(book: Book) -> None:
    """10,000 movements more, then taken back (the transaction is rolled back)."""
    with book.engine.connect() as connection:
        connection.execute(
            text(
                "INSERT INTO movement (id, entry_id, day, item_id, lot_id, from_place_id, "
                f"to_place_id, amount) SELECT 100000000 + n, 2, DATE '{FIRST}' + {DAYS}, "
                "l.item_id, l.id, 1, 2, 1 FROM generate_series(1, 10000) n "
                "JOIN lot l ON l.id = (SELECT min(id) FROM lot) + n % 50"
            )
        )
        connection.rollback()


def ask(book: Book, statement: str) -> None:
    """Every row of a statement."""
    with book.reading() as connection:
        assert connection.exec_driver_sql(statement).fetchall()


def run(book: Book, *statements: str) -> None:
    """Statements in one session, each kept."""
    with book.engine.connect() as connection:
        for statement in statements:
            connection.execute(text(statement))
        connection.commit()


def disk(book: Book, table: str) -> float:
    """MiB of the table, its partitions and all their indexes."""
    with book.reading() as connection:
        found = connection.exec_driver_sql(
            f"SELECT sum(pg_total_relation_size(relid)) FROM pg_partition_tree('{table}'::regclass)"
        ).scalar()
    if not found:
        with book.reading() as connection:
            found = connection.exec_driver_sql(
                f"SELECT pg_total_relation_size('{table}'::regclass)"
            ).scalar()
    return float(found or 0) / 2**20


def least(work: Callable[[], object]) -> float:
    """Least of three."""
    return min(seconds(work) for _ in range(3))


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 5)

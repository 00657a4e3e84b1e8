"""``stock check`` finds every kind of damage planted in a sound book, on both databases."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import Connection, create_engine, event, text

from stock.book.check import check_book, findings_in
from stock.book.opening import Book, book_url
from stock.book.tables import APPEND_ONLY
from stock.errors import BookUnusable
from tests.book.builders import MONDAY, a_lot, an_item
from tests.book.conftest import DATABASES, Server


@pytest.fixture(scope="module", params=DATABASES)
def bench(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Connection]:
    """A connection past every guard to a lived-in book; each test rolls its damage back."""
    if request.param == "sqlite":
        path = tmp_path_factory.mktemp("bench") / "book.sqlite"
        shutil.copyfile(request.getfixturevalue("lived_in_sqlite"), path)
        engine = create_engine(f"sqlite:///{path}")

        @event.listens_for(engine, "connect")
        def _past_the_guards(connection: Any, _record: Any) -> None:
            connection.isolation_level = None
            connection.execute("PRAGMA foreign_keys=OFF")
            connection.execute("PRAGMA ignore_check_constraints=ON")

        @event.listens_for(engine, "begin")
        def _begin(connection: Connection) -> None:
            connection.exec_driver_sql("BEGIN")

        with engine.connect() as connection:
            yield connection
    else:
        server: Server = request.getfixturevalue("server")
        where = server.database(request.getfixturevalue("lived_in_postgres"))
        engine = create_engine(book_url(where))
        with engine.begin() as connection:
            for guard in (
                "ALTER TABLE movement DROP CONSTRAINT ck_movement_amount_positive",
                "ALTER TABLE movement DROP CONSTRAINT ck_movement_goes_somewhere",
                "ALTER TABLE balance DROP CONSTRAINT ck_balance_not_negative",
                "ALTER TABLE container DROP CONSTRAINT ck_container_state_known",
                "DROP INDEX uq_balance_unopened",
            ):
                connection.execute(text(guard))
        with engine.connect() as connection:
            yield connection
    engine.dispose()


def _found(bench: Connection, *statements: str) -> set[tuple[str, bool]]:
    """(rule, damage) of what check finds once these statements were run past the guards."""
    with bench.begin() as transaction:
        if bench.dialect.name == "sqlite":
            kept = bench.scalars(text("SELECT sql FROM sqlite_master WHERE type = 'trigger'")).all()
            guards = [f"DROP TRIGGER {t}_no_{v}" for t in APPEND_ONLY for v in ("update", "delete")]
            statements = (*guards, *statements, *kept)
        else:
            statements = ("SET LOCAL session_replication_role = replica", *statements)
        for statement in statements:
            bench.exec_driver_sql(statement)
        found = {(finding.rule, finding.damage) for finding in findings_in(bench)}
        transaction.rollback()
    return found


def test_a_sound_book_has_no_findings(lived_in: Book) -> None:
    checked = check_book(lived_in)
    assert checked.findings == ()
    assert (checked.entries, checked.movements) == (14, 20)


def test_damage_rolled_back_leaves_no_findings(bench: Connection) -> None:
    assert _found(bench) == set()


OTHER = "(SELECT id FROM item WHERE sku = 'PRE')"
OPEN_BALANCE = "(SELECT MIN(id) FROM balance WHERE container_id IS NULL)"
DELIVERY = "(SELECT MIN(entry_id) FROM receipt)"
WEIGHED = "(SELECT MIN(id) FROM reading WHERE kind = 'weigh')"
UNDO = "(SELECT id FROM entry WHERE reverses IS NOT NULL)"
LOADED = "(SELECT MAX(id) FROM container WHERE state = 'loaded')"
EMPTY = "(SELECT MIN(id) FROM container WHERE state = 'empty')"
SHELF = "(SELECT id FROM place WHERE code = 'SHELF')"

PLANTED = {
    "a balance raised": (
        "balance",
        f"UPDATE balance SET amount = amount + 1 WHERE id = {OPEN_BALANCE}",
    ),
    "a balance row removed": ("balance", f"DELETE FROM balance WHERE id = {OPEN_BALANCE}"),
    "a balance row too many": (
        "balance",
        "INSERT INTO balance (place_id, item_id, lot_id, container_id, amount) "
        "SELECT (SELECT id FROM place WHERE code = 'COLD'), item_id, lot_id, NULL, 5 "
        "FROM balance WHERE item_id = 1 AND container_id IS NULL",
    ),
    "a balance below nothing": (
        "constraint",
        f"UPDATE balance SET amount = -5 WHERE id = {OPEN_BALANCE}",
    ),
    "a movement changed": ("balance", "UPDATE movement SET amount = amount - 1 WHERE id = 1"),
    "a movement removed": ("balance", "DELETE FROM movement WHERE id = 2"),
    "a movement of nothing": ("constraint", "UPDATE movement SET amount = 0 WHERE id = 1"),
    "a movement to where it came from": (
        "constraint",
        "UPDATE movement SET to_place_id = from_place_id WHERE id = 1",
    ),
    "a place that gave what it had not": (
        "negative",
        "UPDATE movement SET amount = amount * 100 WHERE entry_id = "
        "(SELECT MIN(id) FROM entry WHERE kind = 'load')",
    ),
    "a movement of another item": ("item", f"UPDATE movement SET item_id = {OTHER} WHERE id = 1"),
    "a balance of another item": (
        "item",
        f"UPDATE balance SET item_id = {OTHER} WHERE lot_id = 1",
    ),
    "a container of another lot": (
        "item",
        "UPDATE container SET lot_id = (SELECT id FROM lot WHERE code = 'C1')",
    ),
    "a movement without its entry": ("orphan", "DELETE FROM entry WHERE kind = 'move'"),
    "a movement to no place": ("orphan", "UPDATE movement SET to_place_id = 9999 WHERE id = 1"),
    "a lot removed": ("orphan", "DELETE FROM lot WHERE id = 1"),
    "a movement on another day than its entry": (
        "date",
        "UPDATE movement SET day = '2025-01-01' WHERE id = 3",
    ),
    "a delivery that says another amount": (
        "delivery",
        f"UPDATE receipt SET amount = amount + 1 WHERE entry_id = {DELIVERY}",
    ),
    "a delivery without its receipt": (
        "delivery",
        f"DELETE FROM receipt WHERE entry_id = {DELIVERY}",
    ),
    "a weighing that moved something else": (
        "measurement",
        f"UPDATE reading SET level = level + 1 WHERE id = {WEIGHED}",
    ),
    "a weighing removed": ("measurement", f"DELETE FROM reading WHERE id = {WEIGHED}"),
    "an undo that took back less": (
        "undo",
        f"UPDATE movement SET amount = amount - 1 WHERE entry_id = {UNDO}",
    ),
    "an undo that points elsewhere": ("undo", f"UPDATE entry SET reverses = 1 WHERE id = {UNDO}"),
    "an undo of itself": ("undo", f"UPDATE entry SET reverses = id WHERE id = {UNDO}"),
    "a container's state changed": (
        "container",
        f"UPDATE container SET state = 'opened' WHERE id = {LOADED}",
    ),
    "a container in no known state": (
        "constraint",
        f"UPDATE container SET state = 'lost' WHERE id = {LOADED}",
    ),
    "a container's events removed": (
        "container",
        f"DELETE FROM container_event WHERE container_id = {LOADED}",
    ),
    "a container back from the empties": (
        "container",
        "INSERT INTO container_event (entry_id, container_id, state, place_id) "
        f"SELECT MAX(entry_id), {EMPTY}, 'loaded', 10 FROM container_event",
    ),
    "stock on the shelf in a container that is loaded": (
        "container",
        f"UPDATE balance SET place_id = {SHELF} WHERE container_id = {LOADED}",
    ),
    "two cartridges in one slot": (
        "container",
        "UPDATE place SET feed = 'cartridge' WHERE code = 'WT'",
    ),
    "a container that outlives its lot": (
        "expiry",
        f"UPDATE container SET effective_expiry = '2031-01-01' WHERE id = {LOADED}",
    ),
    "a parent of a mix removed": ("mix", "DELETE FROM lot_parent"),
    "a parent of a mix changed": ("mix", "UPDATE lot_parent SET amount = amount + 1"),
    "a print entry without its run": (
        "print",
        "UPDATE entry SET kind = 'print' WHERE kind = 'move'",
    ),
}


@pytest.mark.parametrize("name", PLANTED)
def test_planted_damage_is_found(bench: Connection, name: str) -> None:
    rule, statement = PLANTED[name]
    assert (rule, True) in _found(bench, statement)


SLIPS = {
    "an entry dated long after it was written": (
        "UPDATE entry SET at = '2024-01-01 00:00:00' WHERE id = 1"
    ),
    "a lot used before it arrived": (
        "UPDATE entry SET day = '2025-01-01' WHERE kind = 'mix'",
        "UPDATE movement SET day = '2025-01-01' WHERE entry_id = "
        "(SELECT id FROM entry WHERE kind = 'mix')",
        "UPDATE lot SET received_on = '2025-01-01' WHERE code = 'MIX-20260303-1'",
    ),
    "a lot made after it expires": "UPDATE lot SET produced_on = '2031-01-01' WHERE id = 1",
    "a container opened before its lot came": (
        f"UPDATE container SET opened_on = '2025-01-01' WHERE id = {LOADED}",
        f"UPDATE container_event SET opened_on = '2025-01-01' WHERE container_id = {LOADED}",
    ),
}


@pytest.mark.parametrize("name", SLIPS)
def test_a_day_that_cannot_be_is_a_finding_but_no_damage(bench: Connection, name: str) -> None:
    statements = SLIPS[name]
    planted = (statements,) if isinstance(statements, str) else statements
    assert _found(bench, *planted) == {("date", False)}


def test_two_balances_of_one_lot_and_place_are_found(bench: Connection) -> None:
    guard = ["DROP INDEX uq_balance_unopened"] if bench.dialect.name == "sqlite" else []
    twice = (
        "INSERT INTO balance (place_id, item_id, lot_id, container_id, amount) "
        f"SELECT place_id, item_id, lot_id, NULL, 1 FROM balance WHERE id = {OPEN_BALANCE}"
    )
    assert ("twice", True) in _found(bench, *guard, twice)


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_a_missing_trigger_is_found(sqlite_book: Book, table: str) -> None:
    with sqlite_book.engine.begin() as connection:
        connection.execute(text(f"DROP TRIGGER {table}_no_update"))
    findings = check_book(sqlite_book).findings
    assert [(f.rule, f.table) for f in findings] == [("append-only", table)]


def test_a_trigger_switched_off_is_found_on_postgresql(postgres_book: Book) -> None:
    with postgres_book.engine.begin() as connection:
        connection.execute(text("ALTER TABLE movement DISABLE TRIGGER movement_append_only"))
    findings = check_book(postgres_book).findings
    assert [(f.rule, f.table) for f in findings] == [("append-only", "movement")]


def test_a_torn_page_is_found(sqlite_book: Book) -> None:
    an_item(sqlite_book)
    for number in range(200):
        a_lot(sqlite_book, code=f"L{number}", amount=1, on=MONDAY)
    path = sqlite_book.url.database or ""
    with sqlite_book.engine.connect() as connection:
        connection.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        page = connection.connection.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'ix_movement_lot_id'"
        ).fetchone()[0]
    sqlite_book.close()
    with open(path, "r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xff" * 512)
    with pytest.raises(BookUnusable, match="damaged"):
        check_book(sqlite_book)

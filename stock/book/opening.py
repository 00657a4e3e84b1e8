"""Opening a book: where it lives, which database, which schema, reading and writing.

SQLite by path (the default) or PostgreSQL by URL. A writer on SQLite begins IMMEDIATE, so that two
stations never both think they hold the last word; on PostgreSQL a posting locks the item rows it
touches in id order (see ``posting``) and a serialisation failure is tried again.
"""

from __future__ import annotations

import os
import random
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DataError, DBAPIError, OperationalError, ProgrammingError

from stock.book.revision import HEAD, KNOWN
from stock.book.same_file import keep_to_file
from stock.errors import BookMissing, BookUnusable, Refused

Result = TypeVar("Result")

RETRIED_STATES = frozenset({"40001", "40P01", "55P03"})
"""PostgreSQL: serialisation failure, deadlock detected, lock not available."""

DRIVERS = ("postgresql+psycopg", "sqlite", "sqlite+pysqlite")
"""What a book's address may name; plain ``postgresql`` means the first."""

SECRETS = ("password", "sslpassword")
"""What an address may hold behind its question mark and nobody is shown."""

BUSY_TIMEOUT_MS = 15_000
TRIES = 8
MEETINGS = 2
"""How often two stations may write the same new row at the same moment before it is a mistake."""

TRIES_WHEN_LOCKED = 2
"""SQLite has waited for its busy timeout before it says that it is locked."""


def book_url(where: str | os.PathLike[str]) -> URL:
    """A path or a database URL as the URL SQLAlchemy opens."""
    named = os.fspath(where)
    if "://" in named:
        try:
            url = make_url(named)
        except (ArgumentError, ValueError):
            raise BookUnusable(
                "That is not a database address; expected postgresql://user@host/name."
            ) from None
        if url.get_backend_name() == "postgresql" and url.drivername == "postgresql":
            url = url.set(drivername="postgresql+psycopg")
        if url.drivername not in DRIVERS:
            raise BookUnusable(
                f"A book lives in SQLite (a path) or PostgreSQL (postgresql://…), "
                f"not in {url.drivername}."
            )
        if url.get_backend_name() == "sqlite" and (url.host or url.username or url.password):
            raise BookUnusable("An SQLite book is a file on this machine; expected its path.")
        return url
    return URL.create("sqlite", database=str(Path(named).expanduser()))


def _sqlite_engine(url: URL) -> Engine:
    engine = create_engine(url, connect_args={"timeout": BUSY_TIMEOUT_MS / 1000})

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout={BUSY_TIMEOUT_MS}")
        cursor.execute("PRAGMA foreign_keys=ON")
        cursor.execute("PRAGMA synchronous=FULL")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        writing = connection.get_execution_options().get("stock_writing", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    path = url.database or ""
    if path and not path.startswith((":", "file:")):
        keep_to_file(engine, path)
    return engine


def engine_for(url: URL) -> Engine:
    """An engine with this program's pragmas and transaction habits."""
    if url.get_backend_name() == "sqlite":
        return _sqlite_engine(url)
    try:
        return create_engine(url, pool_pre_ping=True, connect_args={"connect_timeout": 10})
    except ModuleNotFoundError:
        raise BookUnusable(
            "A PostgreSQL book needs the extra: pip install 'stock[postgres]'."
        ) from None


@dataclass(frozen=True)
class Book:
    """An open book. Reading sees one consistent moment; writing is all or nothing."""

    url: URL
    engine: Engine

    @property
    def is_sqlite(self) -> bool:
        """Whether the book is an SQLite file."""
        return self.url.get_backend_name() == "sqlite"

    @property
    def shown(self) -> str:
        """The book's address for people, without a password."""
        if self.is_sqlite:
            return self.url.database or ":memory:"
        shown = {name: "***" for name in SECRETS if name in self.url.query}
        return self.url.update_query_dict(shown).render_as_string(hide_password=True)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection in one read transaction."""
        with _translated(self.shown), self.engine.connect() as connection:
            if not self.is_sqlite:
                connection = connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    def write(self, work: Callable[[Connection], Result]) -> Result:
        """Run ``work`` in one write transaction; tried again when another station was first.

        ``work`` may run more than once, so it must not touch anything but the connection. A row
        that another station wrote at the same moment (the same new lot, the same file) is seen as
        known on the second try.
        """
        met_twice = 0
        for attempt in range(TRIES):
            try:
                with (
                    _translated(self.shown),
                    self.engine.connect() as plain,
                ):
                    connection = plain.execution_options(stock_writing=True)
                    with connection.begin():
                        self._refuse_upgraded(connection)
                        return work(connection)
            except _TryAgain as again:
                met_twice += again.twice
                if met_twice > MEETINGS:
                    raise Refused(
                        f"The book has that already: {again.why}. Nothing was changed."
                    ) from None
                tries = TRIES_WHEN_LOCKED if self.is_sqlite else TRIES
                if attempt == tries - 1:
                    raise BookUnusable(
                        f"{self.shown} is busy: another station kept it locked ({again.why})."
                    ) from None
                time.sleep(random.uniform(0.5, 1.0) * 0.02 * 2**attempt)
        raise AssertionError("unreachable")

    def _refuse_upgraded(self, connection: Connection) -> None:
        """Another station may have brought the book to a newer schema while it was open here."""
        revision = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
        if revision != HEAD:
            raise BookUnusable(_newer(self.shown, revision))

    def close(self) -> None:
        """Give back all connections."""
        self.engine.dispose()


class _TryAgain(Exception):
    """Another try may mend it; ``twice``: the book has a row with that unique key."""

    def __init__(self, why: str, *, twice: bool = False) -> None:
        self.why = why
        self.twice = twice


@contextmanager
def _translated(shown: str) -> Iterator[None]:
    """Database errors as sentences; what another try may mend as ``_TryAgain``."""
    try:
        yield
    except DBAPIError as error:
        raise _sentence(error, shown) from error
    except OverflowError:
        raise Refused("A number is larger than the book can hold. Nothing was changed.") from None
    except UnicodeEncodeError:
        raise Refused("A text holds what is no character. Nothing was changed.") from None


def _sentence(error: DBAPIError, shown: str) -> Exception:
    state = getattr(error.orig, "sqlstate", None)
    said = str(error.orig)
    if state in RETRIED_STATES or "database is locked" in said:
        return _TryAgain(state or "locked")
    if state == "23505" or "UNIQUE constraint failed" in said:
        return _TryAgain(said.splitlines()[0], twice=True)
    if "malformed" in said or "not a database" in said:
        return BookUnusable(f"{shown} is damaged or not a book: {said}. Restore a backup.")
    if "readonly" in said or "read-only" in said:
        return BookUnusable(f"{shown} cannot be written to: {said}.")
    if "disk is full" in said or "disk I/O" in said or state == "53100":
        return BookUnusable(f"{shown}: the disk is full or failing ({said}). Nothing was booked.")
    if isinstance(error, DataError):
        return Refused(f"The book cannot hold that: {said.splitlines()[0]}. Nothing was changed.")
    if isinstance(error, OperationalError) or error.connection_invalidated:
        return BookUnusable(f"{shown} cannot be reached: {said.splitlines()[0]}")
    if isinstance(error, ProgrammingError) and state == "42501":
        return BookUnusable(f"{shown}: this login may not do that ({said.splitlines()[0]}).")
    return error


def schema_revision(engine: Engine) -> str | None:
    """The book's schema revision; None when there is no book at that address."""
    with engine.connect() as connection:
        there = engine.dialect.has_table(connection, "alembic_version")
        if not there:
            return None
        return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _somebody_elses(engine: Engine) -> bool:
    """Whether the database holds tables, none of them a book's."""
    with engine.connect() as connection:
        tables = engine.dialect.get_table_names(connection)
    return bool(set(tables) - {"alembic_version"}) and "movement" not in tables


def open_book(where: str | os.PathLike[str]) -> Book:
    """Open an existing book. An older SQLite book is copied, then upgraded.

    Raises:
        BookMissing: No book there.
        BookUnusable: Newer than this program, an older one on PostgreSQL (which is
            upgraded by :func:`create_book` only), locked or damaged.
    """
    book, revision = look_at(where)
    if revision is None:
        book.close()
        raise BookMissing(book.shown)
    if revision != HEAD:
        _refuse_older_server(book, revision)
        _upgrade(book, revision)
    return book


def _refuse_older_server(book: Book, revision: str) -> None:
    """An older book that several stations may have open is not upgraded by opening it."""
    if not book.is_sqlite:
        book.close()
        raise BookUnusable(
            f"{book.shown} was written by an older version of this program (schema {revision}, "
            f"this one writes {HEAD}). Once every station has the new program, run: stock start. "
            f"It makes a copy, then upgrades the book."
        )


def create_book(where: str | os.PathLike[str], *, copies: Path | None = None) -> Book:
    """Create a book, or open and upgrade the one that is there; the file is the owner's only.

    Args:
        copies: Folder for the copy made before an older PostgreSQL book is upgraded (an SQLite
            book's copy goes beside it); missing: such a book is not upgraded.

    Raises:
        BookUnusable: As :func:`open_book`, or the file cannot be made.
    """
    url = book_url(where)
    if url.get_backend_name() == "sqlite":
        path = Path(url.database or "")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            if not path.is_dir():
                os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        except OSError as error:
            raise BookUnusable(f"No book can be made at {path}: {error.strerror}.") from None
    book, revision = look_at(where)
    if revision != HEAD:
        if revision is not None and copies is None:
            _refuse_older_server(book, revision)
        _upgrade(book, revision, copies)
    return book


def _upgrade(book: Book, revision: str | None, copies: Path | None = None) -> None:
    from stock.book.migrating import upgrade

    try:
        with _translated(book.shown):
            upgrade(book, revision, copies=copies)
    except _TryAgain:
        book.close()
        raise BookUnusable(f"{book.shown} is locked by another program.") from None
    except BaseException:
        book.close()
        raise


def look_at(where: str | os.PathLike[str]) -> tuple[Book, str | None]:
    """The book at that address and its schema revision (None: nothing is there yet).

    Raises:
        BookUnusable: Nothing can be there, another program's tables are, or a newer book.
    """
    url = book_url(where)
    if url.get_backend_name() == "sqlite":
        _refuse_where_no_file_is(Path(url.database or ""))
    book = Book(url, engine_for(url))
    try:
        return book, _revision_of(book)
    except BaseException:
        book.close()
        raise


def _refuse_where_no_file_is(path: Path) -> None:
    try:
        if path.is_dir():
            raise BookUnusable(f"{path} is a directory, not a book.")
        os.stat(path)
    except (FileNotFoundError, NotADirectoryError):
        raise BookMissing(str(path)) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise BookUnusable(f"{path} cannot be looked at: {why}.") from None


def _revision_of(book: Book) -> str | None:
    try:
        with _translated(book.shown):
            revision = schema_revision(book.engine)
            foreign = _somebody_elses(book.engine)
    except _TryAgain:
        raise BookUnusable(f"{book.shown} is locked by another program.") from None
    if foreign:
        raise BookUnusable(f"{book.shown} holds another program's tables, not a book.")
    if revision is not None and revision not in KNOWN:
        raise BookUnusable(_newer(book.shown, revision))
    return revision


def _newer(shown: str, revision: object) -> str:
    return (
        f"{shown} was written by a newer version of this program "
        f"(schema {revision}, this one knows up to {HEAD}). Upgrade the program."
    )

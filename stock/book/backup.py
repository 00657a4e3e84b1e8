"""Backups: a verified copy taken while others write, and putting one back.

A backup is one SQLite file whichever database the book lives in: a page-by-page copy of an SQLite
book, a row-by-row copy of a PostgreSQL one, both of a single moment. It holds everything but the
database's logins. (PostgreSQL's own tools may be used beside it; this needs none of them.)

Nothing is overwritten unasked. A restored SQLite book keeps the one it replaces beside it; a
PostgreSQL book is restored into an empty database only, so the old one stays where it is.
"""

from __future__ import annotations

import os
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stock.book.check import Checked, check_book
from stock.book.copying import copy_file, copy_rows, copy_to_file
from stock.book.opening import Book, book_url, create_book, engine_for, look_at
from stock.book.revision import HEAD, KNOWN
from stock.errors import BookUnusable, Refused


@dataclass(frozen=True, slots=True)
class Copied:
    """A copy made or put back, as checked after it was reopened."""

    path: str
    bytes: int
    checked: Checked
    kept: str | None = None

    def to_json(self) -> dict[str, Any]:
        """Where it is, how large, what the check found; for a restore, what was kept."""
        return {
            "path": self.path,
            "bytes": self.bytes,
            "kept": self.kept,
            **{key: value for key, value in self.checked.to_json().items() if key != "book"},
        }


def backup(book: Book, target: Path, *, overwrite: bool = False) -> Copied:
    """Copy ``book`` into ``target`` and check the copy after reopening it.

    The copy of a damaged book is made all the same and its findings are reported.

    Raises:
        Refused: The file exists and nobody said to overwrite it, or it cannot be written.
    """
    target = Path(os.path.abspath(target.expanduser()))
    if target.is_dir():
        raise Refused(f"{target} is a folder; name a file for the copy.")
    if target.exists() and not overwrite:
        raise Refused(f"{target} exists already; name a new file, or say to overwrite it.")
    if not target.parent.is_dir():
        raise Refused(f"There is no folder {target.parent} to put the copy in.")
    if book.is_sqlite and target == Path(os.path.abspath(book.url.database or "")):
        raise Refused("That is the book itself; name another file for the copy.")
    if book.is_sqlite:
        copy_file(book, target)
    else:
        copy_to_file(book, HEAD, target)
    return Copied(str(target), target.stat().st_size, _check_file(target))


def _check_file(path: Path) -> Checked:
    copy = Book(book_url(path), engine_for(book_url(path)))
    try:
        return check_book(copy)
    finally:
        copy.close()


def restore(source: Path, where: str | os.PathLike[str], *, overwrite: bool = False) -> Copied:
    """Put the copy ``source`` in place of the book at ``where`` (a path or a URL).

    Raises:
        Refused: The copy is damaged or newer than this program, or a book is there and nobody said
            to replace it, or it is a PostgreSQL one.
        BookUnusable: ``source`` is no book at all.
    """
    source = source.expanduser()
    _refuse_unsound(source)
    url = book_url(where)
    if url.get_backend_name() == "sqlite":
        return _restore_file(source, Path(url.database or ""), overwrite)
    return _restore_rows(source, where)


def _refuse_unsound(source: Path) -> None:
    if not source.is_file():
        raise Refused(f"There is no copy at {source}.")
    copy, revision = look_at(source)
    try:
        if revision is None:
            raise BookUnusable(f"{source} is not the copy of a book.")
        if revision != HEAD:
            return
        checked = check_book(copy)
    finally:
        copy.close()
    if not checked.sound:
        raise Refused(
            f"{source} is damaged: {len(checked.findings)} findings, first: "
            f"{checked.findings[0]}. Take another copy."
        )


def _restore_file(source: Path, path: Path, overwrite: bool) -> Copied:
    kept = None
    if path.exists() and path.stat().st_size > 0:
        if not overwrite:
            raise Refused(
                f"There is a book at {path}; say to overwrite it if you mean it (it is kept "
                f"beside the restored one)."
            )
        if path.samefile(source):
            raise Refused("That copy is the book itself.")
        kept = _keep_old(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.exists():
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    _pour_pages(source, path)
    create_book(path).close()
    # The book's own file may still wait for its pages while stations have it open.
    size = source.stat().st_size
    return Copied(str(path), size, _check_file(path), str(kept) if kept else None)


def _keep_old(path: Path) -> Path:
    """A consistent copy of the book that is replaced; a damaged one is put aside as it is."""
    number = 1
    while (kept := path.with_name(f"{path.name}.before-restore-{number}")).exists():
        number += 1
    old = Book(book_url(path), engine_for(book_url(path)))
    try:
        copy_file(old, kept)
    except Refused as refusal:
        if not _unreadable(path):
            raise Refused(
                f"The old book cannot be kept, so nothing was restored: {refusal}"
            ) from None
        os.replace(path, kept)
        for ending in ("-wal", "-shm"):
            beside = path.with_name(path.name + ending)
            if beside.exists():
                os.replace(beside, kept.with_name(kept.name + ending))
    finally:
        old.close()
    return kept


def _unreadable(path: Path) -> bool:
    connection = sqlite3.connect(path)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        connection.execute("PRAGMA quick_check").fetchone()
    except sqlite3.DatabaseError as error:
        return "locked" not in str(error)
    finally:
        connection.close()
    return False


def _pour_pages(source: Path, path: Path) -> None:
    """Write the copy's pages into the book in one transaction: stations that have it open see
    either the old book or the restored one."""
    copy = sqlite3.connect(f"file:{source}?mode=ro", uri=True)
    book = sqlite3.connect(path, timeout=15)
    try:
        copy.backup(book)
        book.execute("PRAGMA journal_mode=WAL")
    except sqlite3.Error as error:
        raise BookUnusable(f"{path} cannot be restored now: {error}.") from None
    finally:
        book.close()
        copy.close()


def _restore_rows(source: Path, where: str | os.PathLike[str]) -> Copied:
    from stock.book.migrating import make_schema

    copy, revision = look_at(source)
    target, there = look_at(where)
    try:
        if there is not None:
            raise Refused(
                f"There is a book at {target.shown}. Make an empty database and restore there; "
                f"the old book stays as it is."
            )
        with copy.reading() as reading, target.engine.begin() as writing:
            make_schema(writing, revision or KNOWN[0])
            copy_rows(reading, writing)
            make_schema(writing)
        checked = check_book(target)
    finally:
        copy.close()
        target.close()
    return Copied(checked.book, source.stat().st_size, checked)

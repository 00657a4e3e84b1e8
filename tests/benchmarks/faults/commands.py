"""Every writing command killed with signal 9, on both databases (``tests.faults.killing``)."""

from __future__ import annotations

import argparse
import random
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from sqlalchemy import create_engine, text

from tests.benchmarks.book_rows import postgres
from tests.benchmarks.faults.row import Row
from tests.faults.floor import at_station, build_floor, call, settle, station_variables
from tests.faults.killing import (
    SQLITE_ONLY,
    Case,
    database_of,
    fresh_folder,
    kill_once,
    work_words,
)


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    """A row for each database, each with ``--kills`` shared evenly by the commands."""
    folder = Path(tempfile.mkdtemp(prefix="kill"))
    floor = folder / "floor"
    floor.mkdir()
    book = str(floor / "book.sqlite")
    build_floor(floor, book)
    settle(floor / "book.sqlite")
    with at_station(floor, book):
        said = call("backup", str(floor / "earlier.sqlite"))
    if said.code:
        raise SystemExit(said.err)
    words = {name: w for name, w in work_words().items() if not asked.only or name in asked.only}
    yield in_files(words, floor, folder / "work", asked.kills)
    words = {name: w for name, w in words.items() if name not in SQLITE_ONLY}
    if words:
        with postgres() as server:
            yield on_server(words, floor, folder / "work", server, asked.kills)
    shutil.rmtree(folder)


def in_files(words: dict[str, list[str]], floor: Path, work: Path, kills: int) -> Row:
    """SQLite: the book is a file beside the shop's files."""
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    where = str(work / "book.sqlite")
    case = Case("", [], work, where, station_variables(work, where))
    row = Row("kill -9: every writing command, SQLite")
    kill_all(row, case, words, kills, lambda: fresh_folder(floor, work))
    return row


def on_server(words: dict[str, list[str]], floor: Path, work: Path, server: str, kills: int) -> Row:
    """PostgreSQL: a database copied from a template for each kill, all durability on."""
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    admin = create_engine(server, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text("CREATE DATABASE floor"))
    floor_files = work.with_name("pg_floor")
    floor_files.mkdir()
    build_floor(floor_files, database_of(server, "floor"))
    where = database_of(server, "killed")
    case = Case("", [], work, where, station_variables(work, where))
    row = Row("kill -9: every writing command, PostgreSQL")

    def again() -> None:
        fresh_folder(floor, work)
        with admin.connect() as connection:
            connection.execute(text("DROP DATABASE IF EXISTS killed WITH (FORCE)"))
            connection.execute(text("CREATE DATABASE killed TEMPLATE floor STRATEGY file_copy"))

    kill_all(row, case, words, kills, again)
    admin.dispose()
    return row


def kill_all(
    row: Row, case: Case, words: dict[str, list[str]], kills: int, again: Callable[[], None]
) -> None:
    """Share ``kills`` among the commands; each is first run unharmed."""
    chance = random.Random(1)
    in_flight = points = 0
    for number, (name, line) in enumerate(words.items()):
        case.name, case.words = name, line
        again()
        fault = case.learn()
        if fault:
            row.fail(fault)
            continue
        points += case.points
        share = kills * (number + 1) // len(words) - kills * number // len(words)
        for _ in range(share):
            again()
            died, code = kill_once(case, chance)
            row.tried += 1
            in_flight += died
            for wrong in case.wrong_after_kill():
                row.fail(f"{name} (exit code {code}): {wrong}")
    row.said = f"{len(words)} commands of {points:,} points to die at; {in_flight} in full flight"

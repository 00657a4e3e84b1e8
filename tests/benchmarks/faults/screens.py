"""Storms of keys in the terminal UI, left alone and killed (``tests.faults.storms``)."""

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
from tests.faults.floor import build_floor, settle, station_variables
from tests.faults.killing import database_of, fresh_folder
from tests.faults.storms import storm_over

PRESSES = 300
MOST_SECONDS = 15.0
"""A killed storm dies within so many seconds."""


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    """Storms left alone, then killed ones, on each database: ``--storms`` over all four rows."""
    folder = Path(tempfile.mkdtemp(prefix="storm"))
    floor, work = folder / "floor", folder / "work"
    floor.mkdir()
    work.mkdir()
    build_floor(floor, str(floor / "book.sqlite"))
    settle(floor / "book.sqlite")
    shutil.copyfile(floor / "book.sqlite", floor / "earlier.sqlite")
    seeds = range(asked.first, asked.first + max(asked.storms // 4, 1))
    where = str(work / "book.sqlite")
    for killed in (False, True):
        yield storms("SQLite", where, work, seeds, killed, lambda: fresh_folder(floor, work))
    with postgres() as server:
        admin = create_engine(server, isolation_level="AUTOCOMMIT")
        with admin.connect() as connection:
            connection.execute(text("CREATE DATABASE floor"))
        files = folder / "pg_floor"
        files.mkdir()
        build_floor(files, database_of(server, "floor"))

        def again() -> None:
            fresh_folder(floor, work)
            with admin.connect() as connection:
                connection.execute(text("DROP DATABASE IF EXISTS storm WITH (FORCE)"))
                connection.execute(text("CREATE DATABASE storm TEMPLATE floor STRATEGY file_copy"))

        for killed in (False, True):
            yield storms("PostgreSQL", database_of(server, "storm"), work, seeds, killed, again)
        admin.dispose()
    shutil.rmtree(folder)


def storms(
    name: str, where: str, work: Path, seeds: range, killed: bool, again: Callable[[], None]
) -> Row:
    """One storm per seed on a fresh book."""
    row = Row(f"{'kill -9 in' if killed else 'random keys into'} the screens, {name}")
    chance = random.Random(1)
    pressed = in_flight = entries = 0
    for seed in seeds:
        again()
        after = storm_over(
            where,
            station_variables(work, where),
            work,
            seed,
            PRESSES,
            chance.uniform(1, MOST_SECONDS) if killed else None,
        )
        row.tried += 1
        pressed += after.pressed
        in_flight += after.killed
        entries += after.entries
        for line in after.wrong:
            row.fail(line)
    row.said = f"{in_flight} in full flight" if killed else f"{pressed:,} keys"
    row.said += f"; {entries / max(row.tried, 1):.1f} entries a book"
    return row

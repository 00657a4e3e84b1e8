"""Stations at once on one book, all drawing from the same tank and lots.

They receive, print, load, scrap, count, undo and list at random. Said are postings and lists per
second and the time one took (median, 95th of 100); then every acknowledged entry is looked for and
the whole book is checked.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
from collections.abc import Iterator
from pathlib import Path

from stock.book.opening import Book
from tests.benchmarks.book_rows import drop, new_book, postgres
from tests.benchmarks.faults.row import Row
from tests.faults.stations import (
    acknowledged,
    furnish,
    left_behind,
    listed,
    started,
    station,
    told_busy,
)


def where_of(book: Book) -> str:
    """The address a child opens."""
    return (
        book.url.database or ""
        if book.is_sqlite
        else book.url.render_as_string(hide_password=False)
    )


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    """A row for each database; ``--seconds`` says how long each is under load."""
    if not asked.only or "PostgreSQL" in asked.only:
        with postgres() as server:
            yield under_load("PostgreSQL", server, 8, asked.seconds)
    if not asked.only or "SQLite" in asked.only:
        yield under_load("SQLite", None, 4, asked.seconds)


def under_load(name: str, server: str | None, stations: int, seconds: float) -> Row:
    """One database under load."""
    row = Row(f"{stations} stations for {seconds:.0f} s, {name}")
    book = new_book(server)
    furnish(book)
    folder = Path(tempfile.mkdtemp(prefix="load"))
    logs = [folder / f"{number}.log" for number in range(stations)]
    children = [
        started(station, where_of(book), f"S{number}", number, seconds, str(log))
        for number, log in enumerate(logs)
    ]
    for number, child in enumerate(children):
        child.join()
        if child.exitcode != 0:
            row.fail(f"station {number} gave up with exit code {child.exitcode}")
    posted = [line["took"] * 1000 for log in logs for line in acknowledged(log)]
    lists = [took * 1000 for log in logs for took in listed(log)]
    left = left_behind(book, logs)
    for line in left.damage:
        row.fail(line)
    for entry_id in sorted(left.missing):
        row.fail(f"entry {entry_id} was acknowledged and is missing")
    row.tried = len(posted) + len(lists)
    busy = sum(told_busy(log) for log in logs)
    row.said = (
        f"{len(posted) / seconds:.0f} postings a second, {_times(posted)}; lists {_times(lists)}; "
        f"told busy {busy} times"
    )
    drop(book)
    return row


def _times(took: list[float]) -> str:
    ordered = sorted(took)
    return (
        f"p50 {statistics.median(ordered):.1f} ms, p95 {ordered[int(len(ordered) * 0.95)]:.1f} ms"
    )

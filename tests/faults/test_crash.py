"""Killed at any moment, several at once, the book is whole and nothing acknowledged is lost.

The campaign with hundreds of kills and minutes of load is
``python -m tests.benchmarks.faults crash stations``.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from stock.book.check import check_book
from stock.book.opening import Book, create_book, open_book
from stock.shop.imports import import_rows
from tests.faults.stations import (
    DAY,
    acknowledged,
    copier,
    delivered,
    delivery_file,
    furnish,
    importer,
    killed,
    left_behind,
    maker,
    started,
    station,
    wait_for_postings,
)

ROWS = 4000


def _where(book: Book) -> str:
    if book.is_sqlite:
        return book.url.database or ""
    return book.url.render_as_string(hide_password=False)


def test_a_station_killed_in_mid_posting_loses_nothing_it_was_told(
    book: Book, tmp_path: Path
) -> None:
    furnish(book)
    chance = random.Random(7)
    logs = []
    for number in range(5):
        logs.append(tmp_path / f"{number}.log")
        child = started(station, _where(book), f"S{number}", number, 120.0, str(logs[-1]))
        wait_for_postings(logs[-1], 3, 60.0)
        assert killed(child, chance.random() * 0.3)
        left = left_behind(book, logs)
        assert left.damage == []
        assert left.missing == set()
    assert sum(len(acknowledged(log)) for log in logs) > 10


def test_an_import_killed_at_any_moment_is_taken_whole_the_second_time(
    book: Book, tmp_path: Path
) -> None:
    furnish(book)
    file = delivery_file(tmp_path / "deliveries.csv", ROWS)
    chance = random.Random(11)
    in_flight = 0
    for _ in range(4):
        child = started(importer, _where(book), str(file))
        in_flight += killed(child, 0.05 + chance.random() * 0.3)
        assert delivered(book) in (0, ROWS)
        assert check_book(book).sound
    assert in_flight > 0
    done = import_rows(book, "deliveries", file, on=DAY)
    assert done.new + done.known == ROWS
    again = import_rows(book, "deliveries", file, on=DAY)
    assert (again.new, again.known) == (0, ROWS)
    assert delivered(book) == ROWS
    assert check_book(book).findings == ()


def test_a_book_whose_making_was_killed_is_made_the_next_time(tmp_path: Path) -> None:
    for number in range(4):
        path = tmp_path / f"{number}.sqlite"
        killed(started(maker, str(path)), 0.02 + number * 0.06)
        create_book(path).close()
        made = open_book(path)
        assert check_book(made).findings == ()
        made.close()


def test_a_copy_killed_half_way_leaves_the_earlier_copy(sqlite_book: Book, tmp_path: Path) -> None:
    furnish(sqlite_book)
    target = tmp_path / "copy.sqlite"
    chance = random.Random(3)
    for _ in range(4):
        killed(started(copier, _where(sqlite_book), str(target)), 0.2 + chance.random() * 0.4)
        if target.exists():
            copy = open_book(target)
            assert check_book(copy).findings == ()
            copy.close()
    assert target.exists()


@pytest.mark.parametrize("stations", [3])
def test_stations_at_once_overdraw_nothing(book: Book, tmp_path: Path, stations: int) -> None:
    furnish(book)
    logs = [tmp_path / f"{number}.log" for number in range(stations)]
    children = [
        started(station, _where(book), f"S{number}", number, 2.0, str(log))
        for number, log in enumerate(logs)
    ]
    for child in children:
        child.join(60)
        assert child.exitcode == 0
    left = left_behind(book, logs)
    assert left.damage == []
    assert left.missing == set()
    assert min(len(acknowledged(log)) for log in logs) > 0

"""Anything a person may do, in any order, on both databases: the book stays whole.

``STOCK_EXAMPLES`` multiplies the number of stories told (default 1).
"""

from __future__ import annotations

import itertools
import os
import shutil
from pathlib import Path

from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from stock.book.opening import Book, book_url, engine_for
from tests.book.conftest import Server, quick_sqlite
from tests.book.machine import Shop

TIMES = int(os.environ.get("STOCK_EXAMPLES", "1"))
QUIET = (HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much)


def _tell(machine: type[Shop], examples: int, steps: int) -> None:
    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=examples * TIMES,
            stateful_step_count=steps,
            deadline=None,
            suppress_health_check=QUIET,
            derandomize=TIMES == 1,
            phases=tuple(phase for phase in Phase if phase is not Phase.explain),
        ),
    )


def test_any_order_on_sqlite(sqlite_template: Path, tmp_path: Path) -> None:
    numbers = itertools.count()

    class SqliteShop(Shop):
        def make_book(self) -> Book:
            path = tmp_path / f"{next(numbers)}.sqlite"
            shutil.copyfile(sqlite_template, path)
            return quick_sqlite(path)

    _tell(SqliteShop, 30, 30)


def test_any_order_on_postgresql(server: Server) -> None:
    made: list[str] = []

    class PostgresShop(Shop):
        def make_book(self) -> Book:
            made.append(server.database())
            url = book_url(made[-1])
            return Book(url, engine_for(url))

        def teardown(self) -> None:
            super().teardown()
            server.drop(made[-1])

    _tell(PostgresShop, 10, 25)

"""A command killed at any statement leaves the book before it, after it, or at one of its commits.

Twenty-one kills; the campaign of hundreds, on every writing command, is
``python -m tests.benchmarks.faults commands``.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import text

from tests.book.conftest import Server
from tests.faults.floor import at_station, build_floor, call, settle, station_variables
from tests.faults.killing import Case, database_of, fresh_folder, kill_once, work_words

CHOSEN = ("print", "mix", "import prints")
KILLS = {"file": 4, "server": 3}


@pytest.fixture(scope="session")
def shop_floor(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shop of ``floor`` with an earlier copy of its book beside it."""
    folder = tmp_path_factory.mktemp("kill_floor")
    build_floor(folder, str(folder / "book.sqlite"))
    settle(folder / "book.sqlite")
    with at_station(folder, str(folder / "book.sqlite")):
        assert call("backup", str(folder / "earlier.sqlite")).code == 0
    return folder


def killed_at_random(
    case: Case, kills: int, chance: random.Random, again: Callable[[], None]
) -> list[str]:
    """What goes wrong in so many kills of one command."""
    wrong = [fault] if (fault := case.learn()) else []
    for _ in range(kills if not wrong else 0):
        again()
        kill_once(case, chance)
        wrong += case.wrong_after_kill()
    return wrong


@pytest.mark.parametrize("command", CHOSEN)
def test_a_killed_command_is_done_or_not_done_in_a_file(
    command: str, shop_floor: Path, tmp_path: Path
) -> None:
    where = str(tmp_path / "book.sqlite")
    variables = station_variables(tmp_path, where)
    case = Case(command, work_words()[command], tmp_path, where, variables)
    fresh_folder(shop_floor, tmp_path)
    chance = random.Random(command)
    wrong = killed_at_random(
        case, KILLS["file"], chance, lambda: fresh_folder(shop_floor, tmp_path)
    )
    assert wrong == []


@pytest.fixture(scope="session")
def floor_database(server: Server, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The shop of ``floor`` as a PostgreSQL database to copy."""
    with server.admin.connect() as connection:
        connection.execute(text("CREATE DATABASE floor TEMPLATE book_template"))
    build_floor(tmp_path_factory.mktemp("pg_floor"), database_of(server.url, "floor"))
    return "floor"


@pytest.mark.parametrize("command", CHOSEN)
def test_a_killed_command_is_done_or_not_done_on_a_server(
    command: str, shop_floor: Path, server: Server, floor_database: str, tmp_path: Path
) -> None:
    made = []

    def again() -> None:
        fresh_folder(shop_floor, tmp_path)
        made.append(server.database(floor_database))
        case.where = made[-1]
        case.variables = station_variables(tmp_path, made[-1])

    case = Case(command, work_words()[command], tmp_path, "", {})
    again()
    wrong = killed_at_random(case, KILLS["server"], random.Random(command), again)
    for url in made:
        server.drop(url)
    assert wrong == []

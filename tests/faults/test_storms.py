"""Random keys into the terminal UI, left alone and killed: no traceback, no damage.

The campaign of long storms is ``python -m tests.benchmarks.faults screens``.
"""

from __future__ import annotations

import asyncio
import shutil
from datetime import date
from pathlib import Path

import pytest

from stock.screens.app import StockApp
from stock.screens.item import ItemScreen
from tests.faults.floor import DAY, at_station, build_floor, settle, station_variables
from tests.faults.storms import keys_of, storm_over
from tests.screens.conftest import settled


@pytest.fixture(scope="session")
def windward(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the shop of ``floor``."""
    folder = tmp_path_factory.mktemp("windward")
    build_floor(folder, str(folder / "book.sqlite"))
    settle(folder / "book.sqlite")
    return folder


@pytest.fixture
def shop(windward: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    shutil.copytree(windward, tmp_path, dirs_exist_ok=True)
    return tmp_path


@pytest.mark.parametrize(("seed", "kill_after"), [(3, None), (4, 3.0)])
def test_a_storm_of_keys_leaves_a_sound_book(
    shop: Path, seed: int, kill_after: float | None
) -> None:
    where = str(shop / "book.sqlite")
    after = storm_over(where, station_variables(shop, where), shop, seed, 60, kill_after)
    assert after.wrong == ()
    assert after.killed or after.pressed > 0


def test_a_storm_follows_from_its_seed_and_never_leaves_on_purpose() -> None:
    assert keys_of(5, 400) == keys_of(5, 400) != keys_of(6, 400)
    assert not {"q", "ctrl+q", "ctrl+c"} & set(keys_of(5, 4000))


async def test_an_answer_that_comes_while_its_screen_is_taken_down_is_dropped(shop: Path) -> None:
    # The storm of seed 1 on a server: the lots of an item arrived when its headline had gone.
    with at_station(shop, str(shop / "book.sqlite")):
        app = StockApp(str(shop / "book.sqlite"), day=date.fromisoformat(DAY))
        async with app.run_test() as pilot:
            await settled(pilot)
            screen = ItemScreen("INK-W")
            await app.push_screen(screen)
            await settled(pilot)
            answers: list[str] = []
            screen.look(lambda _book: "there", answers.append)
            await settled(pilot)
            screen._pruning = True
            screen.look(lambda _book: "gone", answers.append)
            await settled(pilot)
            screen._pruning = False
            await asyncio.sleep(0)
    assert answers == ["there"]

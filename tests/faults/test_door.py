"""Strange values in every option of every command: an answer by contract, and a sound book.

The whole set of calls is ``python -m tests.benchmarks.faults door``; here is a seeded choice.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.door import NOT_CALLED, SOUND, Yard, commands, some_calls, wrong_with
from tests.faults.floor import at_station, build_floor, call, settle


@pytest.fixture(scope="session")
def floor(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a shop in which everything was once done."""
    folder = tmp_path_factory.mktemp("floor")
    build_floor(folder, str(folder / "book.sqlite"))
    settle(folder / "book.sqlite")
    return folder


@pytest.fixture
def yard(floor: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Yard]:
    """A copy of it, the current folder."""
    monkeypatch.chdir(tmp_path)
    with at_station(tmp_path, str(tmp_path / "book.sqlite")):
        yield Yard(floor, tmp_path)


def test_every_command_is_tried() -> None:
    assert {words for words, _ in commands()} == set(SOUND) | NOT_CALLED


@pytest.mark.parametrize("part", range(2))
def test_strange_words_get_an_answer_by_contract(yard: Yard, part: int) -> None:
    found = []
    for one in some_calls(70, seed=part):
        said, wrong = yard.answer(one)
        if said.code == 0 and not wrong:
            wrong = yard.damage()
        if wrong:
            found.append(f"{one}: {', '.join(wrong)}")
    assert found == []


def test_words_that_are_no_text_are_wrong_usage(yard: Yard) -> None:
    said = call("receive", "--item", "\udcff", "--packs", "1")
    assert said.code == 2
    assert "not UTF-8" in said.err
    assert wrong_with(said) == []


def test_the_choice_of_calls_follows_from_its_seed() -> None:
    assert some_calls(90, 3) == some_calls(90, 3)
    assert some_calls(90, 3) != some_calls(90, random.Random(1).randint(4, 9))

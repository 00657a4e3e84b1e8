"""Many files side by side."""

from __future__ import annotations

from pathlib import Path

import pytest

from stock.errors import ArtworkUnreadable, Refused
from stock.ink.batch import MeasureJob, measure_jobs, measure_many
from stock.ink.measure import Shares, measure_shares
from stock.ink.mode import PrintMode
from tests.units.ink_pictures import patches, save

MODE = PrintMode()


def folder(tmp_path: Path, count: int) -> list[Path]:
    return [save(tmp_path / f"{i}.png", patches(4, seed=i)) for i in range(count)]


def test_answers_come_in_the_order_of_the_files(tmp_path: Path) -> None:
    paths = folder(tmp_path, 12)
    found = measure_many(paths, garment="dark", mode=MODE)
    assert found == [measure_shares(path, garment="dark", mode=MODE) for path in paths]


def test_a_bad_file_does_not_stop_the_others(tmp_path: Path) -> None:
    paths = folder(tmp_path, 4)
    paths[2].write_bytes(b"nothing")
    found = measure_many(paths, garment="dark", mode=MODE)
    assert isinstance(found[2], ArtworkUnreadable)
    assert sum(isinstance(answer, Shares) for answer in found) == 3


def test_progress_is_told_once_a_file_and_ends_with_all(tmp_path: Path) -> None:
    told: list[tuple[int, int, Path]] = []
    paths = folder(tmp_path, 7)
    measure_many(paths, garment="light", mode=MODE, on_progress=lambda *step: told.append(step))
    assert [done for done, _, _ in told] == [1, 2, 3, 4, 5, 6, 7]
    assert {total for _, total, _ in told} == {7}
    assert sorted(path for _, _, path in told) == sorted(paths)


def test_each_file_may_have_its_own_garment_and_mode(tmp_path: Path) -> None:
    path = folder(tmp_path, 1)[0]
    jobs = [MeasureJob(path, "light", MODE), MeasureJob(path, "dark", PrintMode(white_layers=2))]
    light, dark = measure_jobs(jobs)
    assert isinstance(light, Shares)
    assert isinstance(dark, Shares)
    assert light.share["W"] == 0
    assert dark.share["W"] > 0


def test_a_bad_mode_stops_the_batch(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="gcr"):
        measure_many(folder(tmp_path, 3), garment="light", mode=PrintMode(gcr=7))


def test_no_files_give_no_answers() -> None:
    assert measure_many([], garment="light", mode=MODE) == []

"""Damaged pictures, PDFs and PSDs are measured or refused, in bounded time and memory.

The campaign of thousands is ``python -m tests.benchmarks.faults pictures``.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.faults.pictures import KINDS, measure_or_refuse, run_batches, sound_picture


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("form", range(4))
def test_the_pictures_damage_is_done_to_are_sound(kind: str, form: int, tmp_path: Path) -> None:
    path = tmp_path / f"sound.{kind}"
    path.write_bytes(sound_picture(kind, form))
    assert measure_or_refuse(path)


def test_a_hundred_and_fifty_damaged_pictures_are_measured_or_refused(tmp_path: Path) -> None:
    found = run_batches(list(range(150)), tmp_path, longest_seconds=20)
    assert found.failures == []
    assert found.measured + found.refused == 150
    assert found.measured > 15
    assert found.refused > 30
    assert found.peak_mib < 1500

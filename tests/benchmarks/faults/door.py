"""Every strange value in every option of every command (``tests.faults.door``)."""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
import time
import traceback
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.faults.row import Row, TookTooLong, within
from tests.faults.door import SLOW, Yard, all_calls
from tests.faults.floor import at_station, build_floor, settle

LONGEST_SECONDS = 30


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    """One row; ``--only`` names a command, ``--every`` takes each n-th call."""
    row = Row("strange words on the command line")
    folder = Path(tempfile.mkdtemp(prefix="door"))
    floor, yard_folder = folder / "floor", folder / "yard"
    floor.mkdir()
    yard_folder.mkdir()
    build_floor(floor, str(floor / "book.sqlite"))
    settle(floor / "book.sqlite")
    yard = Yard(floor, yard_folder)
    here = Path.cwd()
    os.chdir(yard_folder)
    codes: dict[int, int] = {}
    slowest, slowest_call = 0.0, ""
    try:
        with at_station(yard_folder, str(yard_folder / "book.sqlite")):
            for number, one in enumerate(all_calls()):
                if asked.only and one.command not in asked.only:
                    continue
                if number % asked.every or (one.command in SLOW and number % 40):
                    continue
                row.tried += 1
                began = time.perf_counter()
                try:
                    with within(LONGEST_SECONDS):
                        said, wrong = yard.answer(one)
                    if said.code == 0:
                        wrong += yard.damage()
                except TookTooLong:
                    row.fail(f"{one}: over {LONGEST_SECONDS} s")
                    continue
                except Exception as error:
                    frames = traceback.extract_tb(error.__traceback__)
                    last = next(
                        f for f in reversed(frames) if f"{os.sep}stock{os.sep}" in f.filename
                    )
                    where = f"{Path(last.filename).name}:{last.lineno}"
                    row.fail(f"{one}: {type(error).__name__} {str(error)[:100]!r} in {where}")
                    continue
                took = time.perf_counter() - began
                if took > slowest:
                    slowest, slowest_call = took, one.command
                codes[said.code] = codes.get(said.code, 0) + 1
                if wrong:
                    row.fail(f"{one}: {'; '.join(wrong)[:200]} | {said.code} {said.err[:100]!r}")
                if one.where == "sound" and said.code not in (0, 4):
                    row.fail(f"{one}: a sound call was refused: {said.err[:200]}")
    finally:
        os.chdir(here)
        shutil.rmtree(folder)
    answers = ", ".join(f"{code}: {count:,}" for code, count in sorted(codes.items()))
    row.said = f"exit codes {answers}; slowest {slowest:.1f} s ({slowest_call})"
    yield row


def _in(error: Exception) -> str:
    """The last line of this program on the way to an error."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if f"{os.sep}stock{os.sep}" in frame.filename]
    return f"{Path(ours[-1].filename).name}:{ours[-1].lineno}" if ours else "?"

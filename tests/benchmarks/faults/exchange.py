"""Damaged barcodes, CSV files and workbooks (``tests.faults.mutations``): read or refused."""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.benchmarks.faults.row import Row, TookTooLong, within
from tests.faults.mutations import mutated_code, mutated_csv, mutated_workbook
from tests.faults.test_fuzz_exchange import read_or_refuse, scan_or_refuse

LONGEST_SECONDS = 20


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    """Three rows: ``--codes`` barcodes, ``--files`` files of which a quarter are workbooks."""
    workbooks = asked.files // 4
    with tempfile.TemporaryDirectory() as folder:
        csv_path, xlsx_path = Path(folder) / "damaged.csv", Path(folder) / "damaged.xlsx"

        def read_csv(seed: int) -> bool:
            kind, content = mutated_csv(seed)
            csv_path.write_bytes(content)
            return read_or_refuse(csv_path, kind) >= 0

        def read_workbook(seed: int) -> bool:
            kind, content = mutated_workbook(seed)
            xlsx_path.write_bytes(content)
            return read_or_refuse(xlsx_path, kind) >= 0

        def scan(seed: int) -> bool:
            return scan_or_refuse(mutated_code(seed)) is not None

        def seeds(count: int) -> range:
            return range(asked.first, asked.first + count)

        yield fuzz("damaged barcodes", seeds(asked.codes), scan)
        yield fuzz("damaged CSV files", seeds(asked.files - workbooks), read_csv)
        yield fuzz("damaged workbooks", seeds(workbooks), read_workbook)


def fuzz(name: str, seeds: range, read: Callable[[int], bool]) -> Row:
    """Run ``read`` for each seed; anything but an answer is a failure, with its seed."""
    row = Row(name)
    taken = 0
    slowest, slowest_seed = 0.0, -1
    for seed in seeds:
        row.tried += 1
        start = time.perf_counter()
        try:
            with within(LONGEST_SECONDS):
                taken += read(seed)
        except TookTooLong:
            row.fail(f"seed {seed}: over {LONGEST_SECONDS} s")
        except Exception:
            row.fail(f"seed {seed}: {traceback.format_exc(limit=-2)}")
        spent = time.perf_counter() - start
        if spent > slowest:
            slowest, slowest_seed = spent, seed
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    row.said = (
        f"taken {taken:,}, refused {row.tried - taken - row.failed:,}; slowest {slowest:.2f} s "
        f"(seed {slowest_seed}), peak {peak:.0f} MiB"
    )
    return row

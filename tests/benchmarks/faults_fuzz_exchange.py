"""Fuzz campaign of what comes in: barcodes, CSV files, workbooks.

    python -m tests.benchmarks.faults_fuzz_exchange [--codes 100000] [--files 20000] [--first 0]
        [--minutes 20]

Every input follows from its seed. An input that does anything but be read or be refused is
printed with its seed; the table at the end counts what happened and names the slowest. Bounded by
its minutes: it says how far it came.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path

from tests.faults.mutations import mutated_code, mutated_csv, mutated_workbook
from tests.faults.test_fuzz_exchange import read_or_refuse, scan_or_refuse


def campaign(
    name: str, seeds: range, run: Callable[[int], bool], until: float
) -> tuple[str, int, int, int, int, float, int]:
    """Run ``run`` for each seed: (name, done, taken, refused, failed, slowest s, its seed)."""
    taken = refused = failed = 0
    slowest, slowest_seed = 0.0, -1
    for seed in seeds:
        start = time.perf_counter()
        if start > until:
            break
        try:
            if run(seed):
                taken += 1
            else:
                refused += 1
        except Exception:
            failed += 1
            print(f"{name}: seed {seed} failed\n{traceback.format_exc(limit=-3)}")
        spent = time.perf_counter() - start
        if spent > slowest:
            slowest, slowest_seed = spent, seed
    return name, taken + refused + failed, taken, refused, failed, slowest, slowest_seed


def main() -> None:
    """Run the campaign and print its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--codes", type=int, default=100_000)
    parser.add_argument("--files", type=int, default=20_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--minutes", type=float, default=20)
    asked = parser.parse_args()
    until = time.perf_counter() + asked.minutes * 60
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

        results = [
            campaign("barcodes", seeds(asked.codes), scan, until),
            campaign("csv", seeds(asked.files - workbooks), read_csv, until),
            campaign("xlsx", seeds(workbooks), read_workbook, until),
        ]
    titles = ("done", "taken", "refused", "failed", "slowest s", "seed")
    print(f"{'input':<10}" + "".join(f"{title:>11}" for title in titles))
    for name, done, taken, refused, failed, slowest, seed in results:
        counts = "".join(f"{count:>11}" for count in (done, taken, refused, failed))
        print(f"{name:<10}{counts}{slowest:>11.3f}{seed:>11}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MiB")


if __name__ == "__main__":
    main()

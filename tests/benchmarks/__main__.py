"""Every benchmark, one table of ratios.

    python -m tests.benchmarks [PART …] [--json FILE]

PART names one of the modules below; without any all run (a quarter of an hour on two cores). Each
part runs in a process of its own, so that its peak memory is its own and a part that fails loses
no other's rows. The exit code is 1 when a row does not hold or a part failed.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path

from tests.benchmarks.ratios import Ratio, from_json, table

PARTS = (
    "shell_speed",
    "screens_speed",
    "ink_speed",
    "book_speed",
    "plan_speed",
    "demand_speed",
    "replay_speed",
)


def one_part(part: str) -> None:
    """Run one part in this process, a line of JSON per row."""
    module = importlib.import_module(f"tests.benchmarks.{part}")
    for row in module.rows():
        print(json.dumps(asdict(row)), flush=True)


def run_part(part: str) -> tuple[list[Ratio], float, bool]:
    """(rows, peak MiB of the process and of those it started, whether it came to its end)."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    environment.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the stock command does
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks", "--child", part],
        stdout=subprocess.PIPE,
        text=True,
        env=environment,
    )
    found: list[Ratio] = []
    assert child.stdout is not None
    for line in child.stdout:
        row = from_json(line)
        found.append(row)
        print(f"{part}: {row.work}: {row.ratio:.2f} (hold {row.hold:.2f})", flush=True)
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    return found, used.ru_maxrss / 1024, child.returncode == 0


def main(words: list[str]) -> int:
    """Run the parts and print their rows as they come, then the whole table."""
    asked = argparse.ArgumentParser(prog="python -m tests.benchmarks")
    asked.add_argument("parts", nargs="*", metavar="PART", help=", ".join(PARTS))
    asked.add_argument("--json", type=Path, metavar="FILE", help="write the rows there too")
    asked.add_argument("--child", metavar="PART", help=argparse.SUPPRESS)
    given = asked.parse_args(words)
    if given.child:
        one_part(given.child)
        return 0
    unknown = [part for part in given.parts if part not in PARTS]
    if unknown:
        asked.error(f"{unknown[0]!r} is no part; expected some of {', '.join(PARTS)}")
    rows: list[Ratio] = []
    peaks: dict[str, float] = {}
    failed: list[str] = []
    for part in given.parts or PARTS:
        found, peaks[part], ended = run_part(part)
        rows += found
        if not ended:
            failed.append(part)
    print()
    print(table(rows))
    print("\nPeak memory, MiB: " + ", ".join(f"{part} {peak:.0f}" for part, peak in peaks.items()))
    print(f"Load of the last minute: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    if failed:
        print(f"Did not come to their end: {', '.join(failed)}")
    if given.json is not None:
        told = {"rows": [asdict(row) for row in rows], "peak_mib": peaks, "failed": failed}
        given.json.write_text(json.dumps(told, indent=1))
    return 0 if not failed and all(row.holds for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""Run the fault campaign and print its table.

    python -m tests.benchmarks.faults [PART …] [--only COMMAND …] [--every N] [--pictures N]

PART names one of the parts below; without any all run (more than an hour on two cores).
"""

from __future__ import annotations

import argparse
import importlib
import time

from tests.benchmarks.faults.row import Row, table

PARTS = ("door", "pictures")


def main() -> None:
    """Run the parts asked for; failures are printed as they are met."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("parts", nargs="*", metavar="PART", help=", ".join(PARTS))
    words.add_argument("--only", nargs="*", default=[], help="door: only these commands")
    words.add_argument("--every", type=int, default=1, help="door: every n-th call")
    words.add_argument("--pictures", type=int, default=5_000, help="pictures: how many")
    words.add_argument("--first", type=int, default=0, help="pictures: the first seed")
    asked = words.parse_args()
    unknown = set(asked.parts) - set(PARTS)
    if unknown:
        words.error(f"no part {', '.join(sorted(unknown))}; there are {', '.join(PARTS)}")
    found: list[Row] = []
    for part in asked.parts or PARTS:
        print(f"{part} …", flush=True)
        began = time.monotonic()
        module = importlib.import_module(f"tests.benchmarks.faults.{part}")
        for row in module.rows(asked):
            found.append(row)
            print(table([row]), flush=True)
        print(f"{part}: {time.monotonic() - began:.0f} s\n", flush=True)
    print(table(found))


if __name__ == "__main__":
    main()

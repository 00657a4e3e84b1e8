"""Run the fault campaign and print its table.

    python -m tests.benchmarks.faults [PART …] [--kills N] [--seconds S] [--codes N] [--files N]
        [--pictures N] [--storms N] [--first SEED] [--only COMMAND …] [--every N]

PART names one of the parts below; without any all run (hours on two cores: the size of each part
can be given). Every trial follows from its seed.
"""

from __future__ import annotations

import argparse
import importlib
import time

from tests.benchmarks.faults.row import Row, table

PARTS = ("commands", "crash", "stations", "exchange", "pictures", "screens", "door")


def main() -> None:
    """Run the parts asked for; failures are printed as they are met."""
    words = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    words.add_argument("parts", nargs="*", metavar="PART", help=", ".join(PARTS))
    words.add_argument("--kills", type=int, default=200, help="commands (each database), crash")
    words.add_argument("--seconds", type=float, default=600, help="stations: how long under load")
    words.add_argument("--codes", type=int, default=100_000, help="exchange: how many barcodes")
    words.add_argument("--files", type=int, default=20_000, help="exchange: how many files")
    words.add_argument("--pictures", type=int, default=5_000, help="pictures: how many")
    words.add_argument("--storms", type=int, default=100, help="screens: how many key storms")
    words.add_argument("--first", type=int, default=0, help="the first seed")
    words.add_argument("--only", nargs="*", default=[], help="door, commands: only these; stations")
    words.add_argument("--every", type=int, default=1, help="door: every n-th call")
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

"""Every benchmark, one table of ratios.

    python -m tests.benchmarks [PART …]

PART names one of the modules below; without any all run (some tens of minutes).
"""

from __future__ import annotations

import importlib
import sys

from tests.benchmarks.ratios import Ratio, peak_mib, table

PARTS = ("shell_speed", "book_speed", "ink_speed")


def main(parts: list[str]) -> None:
    """Run the parts and print their rows as they come, then the whole table."""
    found: list[Ratio] = []
    for part in parts or PARTS:
        module = importlib.import_module(f"tests.benchmarks.{part}")
        for row in module.rows():
            found.append(row)
            print(f"{part}: {row.work}: {row.ratio:.2f} (hold {row.hold:.2f})", flush=True)
    print()
    print(table(found))
    print(f"\nPeak memory of this process: {peak_mib():.0f} MiB")


if __name__ == "__main__":
    main(sys.argv[1:])

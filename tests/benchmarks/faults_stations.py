"""Stations at once on one book, all drawing from the same tank and lots.

    python -m tests.benchmarks.faults_stations [--seconds 30] [--postgres 8] [--sqlite 4]

Prints throughput and the time one posting took (median, 95th of 100), then what was found:
damage by ``stock check``, acknowledged entries that are missing, stations that gave up.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
from pathlib import Path

from tests.benchmarks.book_rows import drop, new_book, postgres
from tests.benchmarks.faults_crash import where_of
from tests.faults.stations import acknowledged, furnish, left_behind, started, station


def run(name: str, server: str | None, stations: int, seconds: float) -> str:
    """One database under load; a row of the table."""
    book = new_book(server)
    furnish(book)
    folder = Path(tempfile.mkdtemp(prefix="load"))
    logs = [folder / f"{number}.log" for number in range(stations)]
    children = [
        started(station, where_of(book), f"S{number}", number, seconds, str(log))
        for number, log in enumerate(logs)
    ]
    for child in children:
        child.join()
    gave_up = sum(child.exitcode != 0 for child in children)
    took = sorted(line["took"] * 1000 for log in logs for line in acknowledged(log))
    left = left_behind(book, logs)
    drop(book)
    p95 = took[int(len(took) * 0.95)]
    return (
        f"{name:<11} {stations:>8} {seconds:>7.0f} {len(took):>9,} {len(took) / seconds:>8.0f} "
        f"{statistics.median(took):>8.1f} {p95:>8.1f} {took[-1]:>9.1f} "
        f"{len(left.damage):>7} {len(left.missing):>8} {gave_up:>8}"
    )


def main() -> None:
    """Both databases."""
    words = argparse.ArgumentParser()
    words.add_argument("--seconds", type=float, default=30)
    words.add_argument("--postgres", type=int, default=8)
    words.add_argument("--sqlite", type=int, default=4)
    asked = words.parse_args()
    print(
        f"{'database':<11} {'stations':>8} {'seconds':>7} {'postings':>9} {'per s':>8} "
        f"{'p50 ms':>8} {'p95 ms':>8} {'worst ms':>9} {'damage':>7} {'missing':>8} {'gave up':>8}"
    )
    with postgres() as server:
        print(run("PostgreSQL", server, asked.postgres, asked.seconds), flush=True)
    print(run("SQLite", None, asked.sqlite, asked.seconds), flush=True)


if __name__ == "__main__":
    main()

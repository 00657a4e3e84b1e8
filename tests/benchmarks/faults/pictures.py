"""Thousands of damaged pictures, PDFs and PSDs (``tests.faults.pictures``)."""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.faults.row import Row
from tests.faults.pictures import run_batches

LONGEST_SECONDS = 20


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    """One row; ``--pictures`` says how many, ``--first`` the first seed."""
    row = Row("damaged pictures, PDF, PSD", tried=asked.pictures)
    with tempfile.TemporaryDirectory() as folder:
        seeds = list(range(asked.first, asked.first + asked.pictures))
        found = run_batches(seeds, Path(folder), LONGEST_SECONDS)
    for line in found.failures:
        row.fail(line)
    row.said = (
        f"measured {found.measured:,}, refused {found.refused:,}; slowest {found.slowest:.2f} s "
        f"(seed {found.slowest_seed}), peak {found.peak_mib:.0f} MiB"
    )
    yield row

"""Speed of reading and writing files: 100,000 typed rows against the bare CSV reader.

python -m tests.benchmarks.exchange_speed [--rows 100000]
"""

from __future__ import annotations

import argparse
import csv
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

from stock.exchange.barcodes import parse_code
from stock.exchange.reports import Report
from stock.exchange.rows import read_rows
from stock.exchange.spreadsheets import workbook_bytes
from stock.exchange.tables import Table, csv_text

ON = date(2026, 11, 25)
GTIN = "09521234543213"


def days(number: int) -> str:
    """A day of 2026, spread over ten months."""
    return f"2026-{number % 10 + 1:02}-{number % 28 + 1:02}"


def prints(rows: int) -> Table:
    """Print runs, each with its own order and reference."""
    header = ("order", "line", "printed_on", "good", "misprints", "printer", "ref", "location")
    return Table(
        "prints",
        header,
        [
            (f"A-{n // 3}", n % 3 + 1, days(n), n % 48 + 1, n % 2, "DTG-1", f"R-{n}", "front")
            for n in range(rows)
        ],
    )


def deliveries(rows: int) -> Table:
    """Deliveries, each with its own lot and cost."""
    header = ("delivery", "sku", "packs", "lot", "expires", "received_on", "supplier", "cost")
    return Table(
        "deliveries",
        header,
        [
            (f"D-{n // 9}", f"I-{n % 99}", n % 9 + 1, f"L{n}", "2027-06-30", days(n), "N", n / 100)
            for n in range(rows)
        ],
    )


def scanned(rows: int) -> Table:
    """Deliveries by GS1 code, every code another."""
    header = ("delivery", "code", "packs", "received_on")
    return Table(
        "deliveries",
        header,
        [(f"D-{n}", f"]d201{GTIN}17270630" + f"10L{n}", 1, days(n)) for n in range(rows)],
    )


def seconds(run: Callable[[], object], times: int = 3) -> float:
    """The fastest of some runs."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        run()
        best = min(best, time.perf_counter() - start)
    return best


def bare(path: Path) -> int:
    """The rows as the CSV reader alone cuts them."""
    with path.open(newline="") as file:
        return sum(1 for _ in csv.reader(file))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=100_000)
    rows = parser.parse_args().rows
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "file"
        for table in (prints(rows), deliveries(rows), scanned(rows // 10)):
            count = len(table.rows)
            path.write_text(csv_text(table))
            alone = seconds(lambda: bare(path))
            kind = table.title
            spent = seconds(lambda kind=kind: read_rows(path, kind, on=ON).check())
            print(
                f"{kind} {count:>8,} rows csv  {spent:6.2f} s  ({spent / alone:.1f} × csv.reader)"
            )
        table = prints(rows)
        wrote = seconds(lambda: path.write_bytes(workbook_bytes([table])), 1)
        read = seconds(lambda: read_rows(path, "prints", on=ON).check(), 1)
        print(f"prints {rows:>8,} rows xlsx written in {wrote:.2f} s, read in {read:.2f} s")
    code = f"]d201{GTIN}1727063010L-1"
    spent = seconds(lambda: [parse_code(code, on=ON) for _ in range(1000)])
    print(f"one barcode {spent:.3f} ms")
    from stock.exchange.pages import report_pdf

    report = Report("List", (), (Table("t", ("Item", "Packs"), [("I", n) for n in range(500)]),))
    made = datetime(2026, 11, 25, tzinfo=UTC)
    print(f"a PDF of 500 lines {seconds(lambda: report_pdf(report, made=made)):.2f} s")


if __name__ == "__main__":
    main()

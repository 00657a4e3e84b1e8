"""Damaged barcodes and files are read or refused: no other error, no hang, no wild growth.

A small, seeded part of the campaign ``python -m tests.benchmarks.faults exchange``.
"""

import time
from datetime import date
from pathlib import Path

import pytest

from stock.errors import BarcodeUnreadable, InputFaults
from stock.exchange.barcodes import ScannedCode, parse_code
from stock.exchange.columns import KINDS
from stock.exchange.rows import read_rows
from tests.faults.mutations import mutated_code, mutated_csv, mutated_workbook

ON = date(2026, 11, 25)


def harmless(text: str) -> bool:
    """Whether a terminal shows the text as it is; zero-width joiners are parts of letters."""
    return all(c.isprintable() or c in "\u200c\u200d" for c in text)


def read_or_refuse(path: Path, kind: str) -> int:
    """The sound rows, or -1 when the file is refused; each row has every column of its kind."""
    names = {column.name for column in KINDS[kind].columns}
    refusal = None
    count = 0
    try:
        rows = read_rows(path, kind, on=ON)
        for row in rows:
            assert set(row) == names
            count += 1
        rows.finish()
    except InputFaults as error:
        refusal = error
    if refusal is None:
        return count
    assert all(harmless(line) for line in str(refusal).split("\n"))
    assert all(fault.found and fault.expected for fault in refusal.faults)
    return -1


def scan_or_refuse(text: str) -> ScannedCode | None:
    """The code, or None when it is refused in one line."""
    try:
        code = parse_code(text, on=ON)
    except BarcodeUnreadable as error:
        refusal = str(error)
        code = None
    if code is None:
        assert harmless(refusal)
        return None
    assert code.gtin is None or (len(code.gtin) == 14 and code.gtin.isascii())
    assert all(value.isascii() and value.isprintable() for _, value in code.elements)
    code.to_json()
    return code


def test_three_thousand_damaged_barcodes_are_read_or_refused():
    taken = sum(scan_or_refuse(mutated_code(seed)) is not None for seed in range(3000))
    assert 200 < taken < 2800


def test_six_hundred_damaged_csv_files_are_read_or_refused(tmp_path: Path):
    path = tmp_path / "damaged.csv"
    taken = 0
    for seed in range(600):
        kind, content = mutated_csv(seed)
        path.write_bytes(content)
        taken += read_or_refuse(path, kind) >= 0
    assert 20 < taken < 580


def test_sixty_damaged_workbooks_are_read_or_refused(tmp_path: Path):
    path = tmp_path / "damaged.xlsx"
    slowest = 0.0
    for seed in range(60):
        kind, content = mutated_workbook(seed)
        path.write_bytes(content)
        start = time.perf_counter()
        read_or_refuse(path, kind)
        slowest = max(slowest, time.perf_counter() - start)
    assert slowest < 10


@pytest.mark.parametrize("kind", KINDS)
def test_a_file_of_nothing_but_faults_reports_them_in_bounded_number(kind: str, tmp_path: Path):
    header = ",".join(column.name for column in KINDS[kind].columns)
    path = tmp_path / "wrong.csv"
    path.write_text(header + "\n" + ("\x07," * (header.count(",")) + "\x07\n") * 3000)
    rows = read_rows(path, kind, on=ON)
    assert list(rows) == []
    assert len(rows.faults) + rows.more_faults == 3000 * (header.count(",") + 1)
    assert len(rows.faults) <= 10_000

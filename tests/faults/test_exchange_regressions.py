"""Inputs that once did something else than be read or be refused, kept as they were found."""

from datetime import date
from pathlib import Path

import pytest

from stock.errors import BarcodeUnreadable, InputFaults
from stock.exchange.barcodes import parse_code
from stock.exchange.rows import read_rows
from tests.faults.mutations import mutated_workbook
from tests.faults.test_fuzz_exchange import read_or_refuse

ON = date(2026, 11, 25)


@pytest.mark.parametrize(
    "text",
    [
        # A count whose digits run into letters: taken for digits to the end.
        "300191P::SHELF2026-02-",
    ],
)
def test_a_barcode_the_campaign_found_is_refused(text: str):
    with pytest.raises(BarcodeUnreadable):
        parse_code(text, on=ON)


def test_a_fault_about_a_tab_shows_it_and_does_not_jump(tmp_path: Path):
    # The CSV reader names the delimiter it missed, and the delimiter was a tab.
    path = tmp_path / "file.csv"
    path.write_text('order\tline\tprinted_on\tgood\nA\t1\t"2026-03-04"x\t1\n')
    with pytest.raises(InputFaults) as caught:
        read_rows(path, "prints", on=ON).check()
    assert all(str(fault).isprintable() for fault in caught.value.faults)


def test_a_damaged_style_prints_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    # The workbook reader prints "0 is out of range" where our own answers go.
    kind, content = mutated_workbook(2_003_585)
    path = tmp_path / "file.xlsx"
    path.write_bytes(content)
    read_or_refuse(path, kind)
    assert capsys.readouterr().out == ""

"""What leaves as CSV, text, HTML or XLSX: figures intact, nothing that runs or steers."""

import csv
import io
import zipfile
from datetime import date
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stock.exchange.rows import read_rows
from stock.exchange.spreadsheets import workbook_bytes
from stock.exchange.tables import Table, cell_text, csv_text, html_table, plain_text

ON = date(2026, 11, 25)
EVIL = ["=1+1", "+SUM(A1)", "-2+3+cmd|' /C calc'!A0", "@x", "\t=1", "a\x1b[2Jb", "<script>", "a\nb"]
TABLE = Table(
    "Lots",
    ("item", "mL", "price EUR", "expires", "open"),
    [
        ("INK-W", 1800.5, Decimal("189.00"), date(2027, 6, 30), True),
        (EVIL[0], -3, None, None, False),
    ],
)


def test_csv_keeps_figures_and_dates_and_neutralises_formulas():
    rows = list(csv.reader(io.StringIO(csv_text(TABLE))))
    assert rows[1] == ["INK-W", "1800.5", "189.00", "2027-06-30", "yes"]
    assert rows[2] == ["'=1+1", "-3", "", "", "no"]


def test_csv_with_a_decimal_comma_uses_it_for_numbers_only():
    rows = list(
        csv.reader(io.StringIO(csv_text(TABLE, delimiter=";", decimal_comma=True)), delimiter=";")
    )
    assert rows[1][:3] == ["INK-W", "1800,5", "189,00"]


@given(st.text(max_size=30))
def test_no_text_cell_of_a_csv_begins_a_formula_or_holds_a_control_character(text: str):
    out = csv_text(Table("t", ("x",), [(text,), ("end",)]))
    [_, [cell], *_] = list(csv.reader(io.StringIO(out))) if text else [None, [""]]
    assert not cell.lstrip(" \u00a0").startswith(("=", "@", "\t", "\r", "＝", "＠"))
    assert not any(ord(c) < 32 for c in cell)


def test_what_we_export_is_imported_as_it_was(tmp_path: Path):
    codes = ["=1", "-L-1", "@home", "'quoted", "'=odd", "plain"]
    table = Table(
        "Counts",
        ("place", "sku", "lot", "counted", "counted_on"),
        [("SHELF-1", "INK-W", code, 12.5, ON) for code in codes],
    )
    path = tmp_path / "counts.csv"
    path.write_text(csv_text(table), encoding="utf-8")
    assert [row["lot"] for row in read_rows(path, "counts", on=ON)] == codes
    path.write_bytes(workbook_bytes([table]))
    typed = [code for code in codes if not code.startswith("'=")]  # a typed ' marks text
    assert [c for row in read_rows(path, "counts", on=ON) if (c := row["lot"]) in typed] == typed


def test_floats_are_written_without_exponent_or_noise():
    assert cell_text(1e-7) == "0"
    assert cell_text(1e15) == "1000000000000000"
    assert cell_text(-0.0000001) == "0"
    assert cell_text(float("nan")) == ""
    assert cell_text(float("inf")) == ""


def test_plain_text_aligns_numbers_right_and_wide_letters_by_their_width():
    text = plain_text(Table("t", ("name", "n"), [("日本", 5), ("abc", 120)]))
    assert text.splitlines() == ["name    n", "----  ---", "日本    5", "abc   120"]


def test_html_escapes_every_cell():
    text = html_table(Table("<b>", ("<i>",), [(evil,) for evil in EVIL]))
    assert "<script>" not in text
    assert "<b>" not in text
    assert "\x1b" not in text


def test_a_workbook_holds_numbers_as_numbers_and_no_formula():
    tables = [TABLE, Table("Lots", ("x",), [(evil,) for evil in EVIL])]
    made = workbook_bytes(tables)
    with zipfile.ZipFile(io.BytesIO(made)) as archive:
        for name in archive.namelist():
            if "worksheets" in name:
                assert b"<f>" not in archive.read(name)
    sheets = pd.read_excel(io.BytesIO(made), sheet_name=None)
    assert list(sheets) == ["Lots", "Lots 2"]
    first = sheets["Lots"].iloc[0]
    assert first["mL"] == 1800.5
    assert first["price EUR"] == 189
    assert first["expires"].date() == date(2027, 6, 30)
    assert sheets["Lots"].iloc[1]["item"] == "=1+1"


def test_sheet_names_are_made_acceptable():
    made = workbook_bytes([Table(t, ("a",), []) for t in ("a/b:c?*[x]\\", "", "x" * 40, "x" * 40)])
    names = list(pd.read_excel(io.BytesIO(made), sheet_name=None))
    assert len({name.lower() for name in names}) == 4
    assert all(0 < len(name) <= 31 and not set(name) & set("[]:*?/\\") for name in names)


def test_a_workbook_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one table"):
        workbook_bytes([])

"""XLSX in: typed cells, several sheets, and workbooks built to harm."""

import zipfile
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

import pytest
from openpyxl import Workbook

from stock.errors import InputFaults
from stock.exchange.column_map import parse_map
from stock.exchange.columns import KINDS
from stock.exchange.rows import read_rows

ON = date(2026, 11, 25)
AFTERNOON = datetime.fromisoformat("2026-03-05T14:30")
HEADER = ("order", "line", "printed_on", "good", "misprints", "ref")


def book(path: Path, *rows: tuple[object, ...], sheet: str = "Prints") -> Path:
    workbook = Workbook()
    table = workbook.active
    assert table is not None
    table.title = sheet
    for row in (HEADER, *rows):
        table.append(row)
    workbook.save(path)
    return path


def repacked(path: Path, change: Callable[[str, bytes], bytes]) -> Path:
    """The workbook with some of its parts changed."""
    made = path.with_name("made.xlsx")
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            new.writestr(part.filename, change(part.filename, old.read(part)))
    return made


def found(path: Path) -> str:
    with pytest.raises(InputFaults) as caught:
        read_rows(path, "prints", on=ON).check()
    return caught.value.faults[0].found


def test_cells_keep_their_types_and_missing_last_cells_are_empty(tmp_path: Path):
    path = book(
        tmp_path / "a.xlsx",
        ("A-1", 1, date(2026, 3, 4), 12.0, None, 4711),
        (1002, "2", AFTERNOON, "7", 1),
        (None,) * 6,
        ("A-3", 3, "04.03.2026", 1),
    )
    rows = list(read_rows(path, "prints", on=ON))
    assert [row["order"] for row in rows] == ["A-1", "1002", "A-3"]
    assert [row["printed_on"] for row in rows] == [
        date(2026, 3, 4),
        date(2026, 3, 5),
        date(2026, 3, 4),
    ]
    assert [row["good"] for row in rows] == [12, 7, 1]
    assert rows[0]["ref"] == "4711"
    assert [row.line for row in rows] == [2, 3, 5]


def test_numbers_of_a_sheet_are_numbers_whatever_the_map_says_of_texts(tmp_path: Path):
    workbook = Workbook()
    table = workbook.active
    assert table is not None
    for row in (("slot", "grams", "weighed_on"), ("W", 1.234, date(2026, 3, 4))):
        table.append(row)
    table.append(("W", "512,5", date(2026, 3, 4)))
    workbook.save(tmp_path / "a.xlsx")
    columns_map = parse_map('[file]\ndecimal = ","', KINDS["weighings"])
    rows = read_rows(tmp_path / "a.xlsx", "weighings", columns_map=columns_map, on=ON)
    assert [row["grams"] for row in rows] == [1.234, 512.5]


def test_the_first_sheet_is_read_unless_the_map_names_one(tmp_path: Path):
    path = book(tmp_path / "a.xlsx", ("A-1", 1, date(2026, 3, 4), 1))
    from openpyxl import load_workbook

    workbook = load_workbook(path)
    workbook.create_sheet("Notes", 0).append(["nothing here"])
    workbook.save(path)
    assert "no such column" in found(path)
    columns_map = parse_map('[file]\nsheet = "Prints"', KINDS["prints"])
    assert len(list(read_rows(path, "prints", columns_map=columns_map, on=ON))) == 1
    columns_map = parse_map('[file]\nsheet = "Other"', KINDS["prints"])
    with pytest.raises(InputFaults, match="sheets: Notes, Prints"):
        read_rows(path, "prints", columns_map=columns_map, on=ON)


def test_a_part_that_unpacks_beyond_reason_is_refused_unopened(tmp_path: Path):
    path = book(tmp_path / "a.xlsx")
    bomb = repacked(
        path,
        lambda name, data: b" " * 20_000_000 + data if name.endswith("sheet1.xml") else data,
    )
    assert "times its size" in found(bomb)


def test_a_document_type_in_any_part_is_refused(tmp_path: Path):
    path = book(tmp_path / "a.xlsx", ("A-1", 1, date(2026, 3, 4), 1))
    entities = b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    for part in ("xl/worksheets/sheet1.xml", "xl/workbook.xml", "[Content_Types].xml"):
        made = repacked(
            path, lambda name, data, part=part: entities + data if name == part else data
        )
        assert "document type" in found(made)


def test_a_row_number_without_end_is_not_followed(tmp_path: Path):
    path = book(tmp_path / "a.xlsx", ("A-1", 1, date(2026, 3, 4), 1))
    made = repacked(
        path,
        lambda name, data: data.replace(b'<row r="2"', b'<row r="99999999999"'),
    )
    assert list(read_rows(made, "prints", on=ON)) == []


@pytest.mark.parametrize("part", ["xl/worksheets/sheet1.xml", "xl/workbook.xml"])
def test_a_damaged_part_is_one_fault(part: str, tmp_path: Path):
    path = book(tmp_path / "a.xlsx", ("A-1", 1, date(2026, 3, 4), 1))
    made = repacked(path, lambda name, data: data[: len(data) // 2] if name == part else data)
    assert "damaged" in found(made)


def test_an_archive_that_is_no_workbook_is_refused(tmp_path: Path):
    path = tmp_path / "a.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("hello.txt", "hello")
    assert "no workbook" in found(path)
    path.write_bytes(path.read_bytes()[:40])
    assert "damaged archive" in found(path)


def test_a_failed_formula_is_a_fault(tmp_path: Path):
    path = book(tmp_path / "a.xlsx", ("#N/A", 1, date(2026, 3, 4), 1))
    assert found(path) == "'#N/A'"

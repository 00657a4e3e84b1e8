"""Files as typed rows: what is read, what is refused, and that all faults come together."""

import codecs
import tracemalloc
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from stock.errors import Fault, InputFaults
from stock.exchange.column_map import ColumnMap, parse_map
from stock.exchange.columns import KINDS, template
from stock.exchange.rows import Row, Rows, read_rows

ON = date(2026, 11, 25)
PRINTS = "order,line,printed_on,good\n"

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def write(content: str | bytes, name: str = "file.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return write


def read(path: Path, kind: str = "prints", columns_map: ColumnMap | None = None) -> list[Row]:
    rows = read_rows(path, kind, columns_map=columns_map, on=ON)
    taken = list(rows)
    rows.finish()
    return taken


def faults_of(
    path: Path, kind: str = "prints", columns_map: ColumnMap | None = None
) -> list[Fault]:
    with pytest.raises(InputFaults) as caught:
        read(path, kind, columns_map)
    return list(caught.value.faults)


def prints_map(toml: str) -> ColumnMap:
    return parse_map(toml, KINDS["prints"])


@pytest.mark.parametrize("kind", KINDS)
def test_a_template_reads_without_a_fault_and_fills_what_is_required(kind: str, write: Write):
    rows = read(write(template(kind)), kind)
    assert [row.line for row in rows] == [2 + n for n in range(1 + len(KINDS[kind].more_examples))]
    for row in rows:
        assert set(row) == {column.name for column in KINDS[kind].columns}
        must = [column.name for column in KINDS[kind].columns if column.required]
        assert all(row[name] is not None for name in must)


def test_values_are_typed_and_empty_cells_take_their_default(write: Write):
    [row] = read(write(PRINTS.replace("good", "good,misprints,ref") + "A-1, 2 ,2026-03-04,12,,\n"))
    assert row["order"] == "A-1"
    assert row["line"] == 2
    assert row["printed_on"] == date(2026, 3, 4)
    assert row["misprints"] == 0
    assert row["ref"] is None


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_delimiter_and_line_ends_are_found_out(sign: str, newline: str, write: Write):
    text = (PRINTS + "A-1,1,2026-03-04,12\n").replace(",", sign).replace("\n", newline)
    assert [row["good"] for row in read(write(text))] == [12]


@pytest.mark.parametrize(
    ("encoding", "mark"),
    [
        ("utf-8", b""),
        ("utf-8", codecs.BOM_UTF8),
        ("utf-16-le", codecs.BOM_UTF16_LE),
        ("utf-16-be", codecs.BOM_UTF16_BE),
        ("cp1252", b""),
    ],
)
def test_the_encoding_is_found_out(encoding: str, mark: bytes, write: Write):
    text = PRINTS.replace("good", "good,location") + "Größe-1,1,2026-03-04,12,Ärmel\n"
    rows = read_rows(write(mark + text.encode(encoding)), "prints", on=ON)
    [row] = rows
    assert (row["order"], row["location"]) == ("Größe-1", "Ärmel")
    assert bool(rows.notes) == (encoding == "cp1252")


def test_header_names_are_taken_in_any_case_and_order(write: Write):
    [row] = read(write("GOOD;Printed On;Line;ORDER\n12;2026-03-04;1;A-1\n"))
    assert (row["good"], row["order"]) == (12, "A-1")


def test_a_first_line_that_names_the_delimiter_is_understood(write: Write):
    [row] = read(write("sep=;\n" + PRINTS.replace(",", ";") + "A-1;1;2026-03-04;12\n"))
    assert row.line == 3


def test_all_faults_come_together_with_line_column_found_and_expected(write: Write):
    faults = faults_of(
        write(
            PRINTS
            + "A-1,1,2026-02-30,12\n"
            + "A-1,1,2026-03-04,-3\n"
            + "\n"
            + ",x,2026-03-04,1.5\n"
            + "A-1,1,2027-03-04,2\n"
            + "A-1,1,2026-03-04\n"
        )
    )
    assert [(fault.line, fault.column) for fault in faults] == [
        (2, "printed_on"),
        (3, "good"),
        (5, "order"),
        (5, "line"),
        (5, "good"),
        (6, "printed_on"),
        (7, ""),
    ]
    assert faults[0].found == "'2026-02-30'"
    assert faults[0].expected == "a day that the calendar has"
    assert faults[2].found == "nothing"
    assert "not after 2026-11-25" in faults[5].expected
    assert (faults[6].found, faults[6].expected) == ("3 cells", "4 cells, as in the header")


def test_a_callers_own_faults_come_with_the_files_in_its_order(write: Write):
    rows = read_rows(write(PRINTS + "A-1,1,2026-03-04,1\nA-2,1,2026-02-30,1\n"), "prints", on=ON)
    for row in rows:
        rows.fault(row, "order", row["order"], "an order of the book")
    with pytest.raises(InputFaults) as caught:
        rows.finish()
    assert [fault.line for fault in caught.value.faults] == [2, 3]


def test_reading_again_starts_again(write: Write):
    rows = read_rows(write(PRINTS + "A-1,1,2026-03-04,1\nA-2,1,2026-02-30,1\n"), "prints", on=ON)
    assert len(list(rows)) == len(list(rows)) == 1
    assert len(rows.faults) == 1
    assert rows.read == 2


@pytest.mark.parametrize(
    ("header", "column", "found"),
    [
        ("order,line,printed_on\n", "good", "no such column (order, line, printed_on)"),
        ("order,line,printed_on,good,GOOD\n", "good", "two columns of this name"),
    ],
)
def test_a_wrong_header_is_one_fault_at_its_line(
    header: str, column: str, found: str, write: Write
):
    [fault] = faults_of(write(header))
    assert (fault.line, fault.column, fault.found) == (1, column, found)


def test_of_two_ways_to_name_the_item_one_must_be_there(write: Write):
    [fault] = faults_of(write("delivery,packs,received_on\nD-1,2,2026-03-04\n"), "deliveries")
    assert fault.column == "sku or code"
    [fault] = faults_of(
        write("delivery,sku,code,packs,received_on\nD-1,,,2,2026-03-04\n"), "deliveries"
    )
    assert (fault.line, fault.column, fault.found) == (2, "sku or code", "nothing")


def test_a_column_that_is_not_used_is_said_and_a_near_name_offered(write: Write):
    rows = read_rows(
        write(PRINTS.replace("good", "good,misprint,colour") + "A-1,1,2026-03-04,1,,\n"),
        "prints",
        on=ON,
    )
    assert "column 'misprint' is not used; did you mean misprints?" in rows.notes
    assert "columns not used: misprint, colour" in rows.notes


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "an empty file"),
        (b"\n\n", "an empty file"),
        (b"%PDF-1.7", "a PDF"),
        (b"\x89PNG\r\n", "a PNG picture"),
        (b"\xd0\xcf\x11\xe0\xa1", "an old Excel file"),
        (b"PK\x03\x04junk", "a damaged archive"),
        (b"a\x00b\x00c", "NUL bytes"),
        (b"order,line\n\x81\x8d", "bytes that are not cp1252"),
    ],
)
def test_what_is_no_table_is_refused_in_one_fault(content: bytes, found: str, write: Write):
    [fault] = faults_of(write(content))
    assert found in fault.found


def test_a_directory_and_a_missing_file_are_said(tmp_path: Path):
    assert faults_of(tmp_path)[0].found == "a directory"
    assert faults_of(tmp_path / "none.csv")[0].found == "nothing"
    assert "null" in faults_of(tmp_path / "a\x00b")[0].found


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ('A-1,1,2026-03-04,"12', "a quote that opens and never closes"),
        ('A-1,1,2026-03-04,"12"x', "does not cut into cells"),
        ('"A' + "x" * 200_000 + '",1,2026-03-04,12', "a cell without end"),
        ("A-1,1,2026-03-04,12,surplus", "5 cells"),
        ("A\x00-1,1,2026-03-04,12", "␀"),
        ("A\u202e-1,1,2026-03-04,12", "U+202E"),
        ("A\x1b[2J,1,2026-03-04,12", "␛"),
        ("A" * 61 + ",1,2026-03-04,12", "AAA…"),
        ("#REF!,1,2026-03-04,12", "#REF!"),
    ],
)
def test_a_harmful_or_broken_line_is_a_fault_of_its_line(line: str, found: str, write: Write):
    path = write(PRINTS + "A-0,1,2026-03-04,1\n" + "\n" * 5000 + line + "\n")
    faults = faults_of(path)
    assert faults[0].line == 5003
    assert found in faults[0].found
    assert "\x1b" not in str(faults)


def test_reading_goes_on_after_a_broken_line(write: Write):
    rows = read_rows(write(PRINTS + 'A-1,1,2026-03-04,"1"x\nA-2,1,2026-03-04,2\n'), "prints", on=ON)
    assert [row["order"] for row in rows] == ["A-2"]
    assert [fault.line for fault in rows.faults] == [2]


def test_a_line_without_end_is_not_read_into_memory(write: Write):
    path = write(PRINTS + "A" * 20_000_000)
    tracemalloc.start()
    faults = faults_of(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert "1,000,000 characters" in faults[0].found
    assert peak < 16_000_000


def test_ambiguous_dates_are_refused_with_both_readings(write: Write):
    [fault, *_] = faults_of(write(PRINTS + "A-1,1,03/04/2026,1\nA-1,2,05/06/2026,1\n"))
    assert "2026-04-03" in fault.expected
    assert "2026-03-04" in fault.expected


def test_a_file_whose_dates_allow_one_order_is_read_by_it(write: Write):
    rows = read_rows(write(PRINTS + "A-1,1,03/04/2026,1\nA-1,2,25/03/2026,1\n"), "prints", on=ON)
    assert [row["printed_on"] for row in rows] == [date(2026, 4, 3), date(2026, 3, 25)]
    assert "dates read day first, as line 3 shows" in rows.notes


def test_a_file_whose_dates_contradict_each_other_is_refused(write: Write):
    text = PRINTS + "A-1,1,03/04/2026,1\nA-1,2,25/03/2026,1\nA-1,3,03/25/2026,1\n"
    [fault] = faults_of(write(text))
    assert (fault.line, fault.column) == (2, "printed_on")


def test_a_map_states_the_date_order(write: Write):
    path = write(PRINTS + "A-1,1,03/04/2026,1\n")
    [row] = read(path, columns_map=prints_map('[file]\ndates = "mdy"'))
    assert row["printed_on"] == date(2026, 3, 4)


def test_numbers_are_read_by_the_decimal_sign_that_the_file_shows(write: Write):
    header = "slot,grams,weighed_on\n"
    text = (header + "W,1.234,2026-03-04\nW,512.50,2026-03-04\n").replace(",", ";")
    assert [row["grams"] for row in read(write(text), "weighings")] == [1.234, 512.5]
    text = text.replace("512.50", "512,50")
    assert [row["grams"] for row in read(write(text), "weighings")] == [1234, 512.5]
    text = text.replace("512,50", "512")
    [fault] = faults_of(write(text), "weighings")
    assert "1234 or 1.234" in fault.expected
    text = header + "W,1.234,2026-03-04\n"
    assert [row["grams"] for row in read(write(text), "weighings")] == [1.234]


def test_a_map_renames_fixes_and_translates(write: Write):
    columns_map = parse_map(
        """
        [file]
        delimiter = ";"
        encoding = "cp1252"
        decimal = ","
        dates = "dmy"
        skip_lines = 2
        [columns]
        order = "Auftrag Nr."
        line = "Pos"
        placed_on = "Datum"
        due_on = "Fällig"
        blank = "Artikel"
        quantity = "Menge"
        width_cm = "Breite"
        stage = "Status"
        artwork = "Motiv"
        [values]
        location = "front"
        [words.stage]
        "In Arbeit" = "released"
        """,
        KINDS["orders"],
    )
    text = (
        "Export vom 01.02.2026\n\n"
        "Auftrag Nr.;Pos;Datum;Fällig;Artikel;Menge;Breite;Status;Motiv;Kunde\n"
        "A-1;1;01/02/26;13.02.2026;TEE-L;1.200;30,5;In Arbeit;BEAR;Erika\n"
    )
    [row] = read(write(text.encode("cp1252")), "orders", columns_map)
    assert row["placed_on"] == date(2026, 2, 1)
    assert row["quantity"] == 1200
    assert row["width_cm"] == 30.5
    assert row["stage"] == "released"
    assert row["location"] == "front"
    assert row["customer"] is None
    assert row.line == 4


def test_a_header_that_the_map_names_but_the_file_lacks_is_a_fault(write: Write):
    path = write(PRINTS)
    [fault] = faults_of(path, columns_map=prints_map('[columns]\ngood = "OK pieces"'))
    assert fault.column == "good"
    assert "'OK pieces'" in fault.found


def test_a_scanned_code_in_a_delivery_fills_lot_and_expiry_or_contradicts_them(write: Write):
    header = "delivery,code,packs,lot,received_on\n"
    gs1 = "010952123454321310L-1\x1d17270630"
    [row] = read(write(f"{header}D-1,{gs1},2,,2026-03-04\n"), "deliveries")
    assert (row["code"].gtin, row["lot"], row["expires"]) == (
        "09521234543213",
        "L-1",
        date(2027, 6, 30),
    )
    [fault] = faults_of(write(f"{header}D-1,{gs1},2,L-2,2026-03-04\n"), "deliveries")
    assert (fault.column, fault.found) == ("lot", "'L-2'")
    swallowed = gs1.replace("\x1d", "")
    [fault] = faults_of(write(f"{header}D-1,{swallowed},2,,2026-03-04\n"), "deliveries")
    assert "may have swallowed" in fault.expected


@pytest.mark.parametrize(
    "file", ["/etc/passwd", "../secret.png", "art/../../x.png", "C:\\x.png", "\\\\host\\x", "."]
)
def test_an_artwork_path_stays_below_its_file(file: str, write: Write):
    [fault] = faults_of(write(f"artwork,file\nBEAR,{file}\n"), "artworks")
    assert "in or below the folder" in fault.expected


@pytest.mark.parametrize(
    ("kind", "cells", "column"),
    [
        ("items", {"sku": "I", "kind": "ink"}, "channel"),
        ("items", {"sku": "I", "kind": "blank", "channel": "C"}, "channel"),
        ("items", {"sku": "I", "kind": "supply", "replaces": "I"}, "replaces"),
        ("items", {"sku": "I", "kind": "pretreat", "mixed_from": "C"}, "mix_ratio"),
        ("items", {"sku": "I", "kind": "supply", "service": "100 %"}, "service"),
        ("packs", {"unusable_rest": "2 L"}, "unusable_rest"),
        ("packs", {"gtin": "9521234543214"}, "gtin"),
        ("packs", {"gtin": "9.52123E+12"}, "gtin"),
        ("packs", {"breaks": "50:4.10;10:4.50"}, "breaks"),
        ("packs", {"breaks": "10:189.00"}, "breaks"),
        ("packs", {"breaks": "10:150;20:160"}, "breaks"),
        ("packs", {"breaks": "1:150"}, "breaks"),
        ("packs", {"amount": "0"}, "amount"),
        ("packs", {"multiple": "0"}, "multiple"),
        ("suppliers", {"country": "Germany"}, "country"),
        ("suppliers", {"order_days": "mon,foo"}, "order_days"),
        ("suppliers", {"closed": "2026-12-24;soon"}, "closed"),
        ("orders", {"width_cm": "", "height_cm": ""}, "width_cm"),
        ("orders", {"outcome_on": "2026-01-01"}, "outcome_on"),
        ("orders", {"stage": "lost"}, "stage"),
        ("deliveries", {"amount": "1.8 L"}, "amount"),
        ("prints", {"good": "0", "misprints": ""}, "good"),
        ("weighings", {"container": "C-1"}, "container"),
        ("purchases", {"promised_on": "2026-01-01"}, "promised_on"),
    ],
)
def test_rules_of_a_kind_name_the_cell_that_breaks_them(
    kind: str, cells: dict[str, str], column: str, write: Write
):
    names, example, *_ = (line.split("\t") for line in _tabbed(template(kind)))
    row = {} if kind == "items" else dict(zip(names, example, strict=True))
    row.update(cells)
    path = write("\t".join(row) + "\n" + "\t".join(row.values()) + "\n")
    assert [fault.column for fault in faults_of(path, kind)] == [column]


def test_lines_with_separators_alone_are_no_rows(write: Write):
    header, example, *_ = template("packs").splitlines()
    empty = "," * header.count(",")
    rows = Rows(write(f"{header}\n{empty}\n{example}\n {empty}\n"), KINDS["packs"], ColumnMap(), ON)
    assert [row["sku"] for row in rows] == ["INK-W"]
    assert (rows.faults, rows.read) == ([], 1)


def test_a_row_that_is_left_out_is_handed_over_without_what_could_not_be_read(write: Write):
    text = "sku,supplier,code,amount,price,unusable_rest\nA,S,1,some,3,\nB,S,2,4,3,5\nC,S,3,4,3,\n"
    rows = Rows(write(text), KINDS["packs"], ColumnMap(), ON)
    left_out = []
    rows.on_faulty = lambda row: left_out.append((row.line, row["sku"], row["amount"] is None))
    assert [row["sku"] for row in rows] == ["C"]
    assert left_out == [(2, "A", True), (3, "B", False)]
    assert [fault.column for fault in rows.faults] == ["amount", "unusable_rest"]


def _tabbed(text: str) -> list[str]:
    import csv

    return ["\t".join(cells) for cells in csv.reader(text.splitlines())]


def test_a_hundred_thousand_rows_are_read_in_bounded_memory(tmp_path: Path):
    path = tmp_path / "prints.csv"
    with path.open("w") as file:
        file.write(PRINTS.replace("good", "good,ref"))
        for number in range(100_000):
            day = f"2026-{number % 10 + 1:02}-{number % 28 + 1:02}"
            file.write(f"A-{number},{number % 3 + 1},{day},{number % 48},R-{number}\n")
    tracemalloc.start()
    total = count = 0
    for row in Rows(path, KINDS["prints"], ColumnMap(), ON):
        total += row["good"]
        count += 1
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    zero_good = len(range(0, 100_000, 48))
    assert count == 100_000 - zero_good
    assert total == sum(number % 48 for number in range(100_000))
    assert peak < 24_000_000

"""Input meant to harm, through the command line: refused, or kept and shown as the text it is.

What single readers refuse (bombs, document types, foreign paths) is tested beside them in
``tests/units``; here the whole way from a file to a page, a table and a spreadsheet is walked.
"""

from __future__ import annotations

import csv
import io
import json
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from openpyxl import load_workbook
from sqlalchemy import create_engine, inspect, text

from stock.book.opening import book_url
from tests.faults.door import harmless
from tests.faults.floor import DAY, at_station, build_floor, call, settle

FORMULAS = (
    '=HYPERLINK("http://x.example","y")', "+1+cmd|' /C calc'!A0", "-2+3", "@SUM(1+1)", "=1+1",
    "＝1+1", "\u00a0=1+1",
)  # fmt: skip
"""CSV injection as OWASP describes it: text that a spreadsheet takes for a formula."""

SQL = ("x'; DROP TABLE item; --", 'y" OR "1"="1', "100% _ [a-z]", "\\", "%s %(sku)s :sku ?", "{0}")

STEERING = "\x1b[2J\x1b]0;owned\x07\x9b31m\u202e\u2066abc"
"""Clears a screen, names a window, colours (ECMA-48), turns the writing round (UAX #9)."""


@pytest.fixture(scope="session")
def quiet_floor(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shop of ``floor``."""
    folder = tmp_path_factory.mktemp("quiet")
    build_floor(folder, str(folder / "book.sqlite"))
    settle(folder / "book.sqlite")
    return folder


@pytest.fixture
def shop(quiet_floor: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A copy of it, the current folder."""
    shutil.copytree(quiet_floor, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    with at_station(tmp_path, str(tmp_path / "book.sqlite")):
        yield tmp_path


def write_items(path: Path, rows: list[tuple[str, str]]) -> None:
    """An items file of supplies with these codes and names."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(("sku", "kind", "name", "unit"))
        writer.writerows((sku, "supply", name, "each") for sku, name in rows)


def names_in(shop: Path) -> dict[str, str]:
    """Name of each item, straight from the table."""
    engine = create_engine(book_url(shop / "book.sqlite"))
    with engine.connect() as connection:
        found = {row.sku: row.name for row in connection.execute(text("SELECT * FROM item"))}
        assert {"item", "entry", "movement"} <= set(inspect(connection).get_table_names())
    engine.dispose()
    return found


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_formula_in_names_and_codes_reaches_no_spreadsheet(shop: Path, formula: str) -> None:
    (shop / "more.csv").write_text(
        "order,line,stage,placed_on,due_on,blank,quantity,artwork,printer,location,width_cm\n"
        "B1,1,released,2026-03-02,2026-03-12,TEE-BLK-L,300,BEAR,P1,front,30\n"
    )
    assert call("import", "orders", "more.csv", "--on", DAY).code == 0
    engine = create_engine(book_url(shop / "book.sqlite"))
    with engine.begin() as connection:  # what an older program may have let in
        connection.execute(text("UPDATE item SET name = :name"), {"name": formula})
        connection.execute(text("UPDATE pack SET code = :code || code"), {"code": formula})
    engine.dispose()
    for form in ("csv", "xlsx"):
        said = call("reorder", "--on", DAY, "--format", form, "--out", f"list.{form}")
        assert said.code == 0, said.err
    written = (shop / "list.csv").read_text("utf-8-sig")
    cells = [cell for row in csv.reader(io.StringIO(written)) for cell in row]
    assert "'" + formula.replace("\u00a0", " ") in cells
    assert [c for c in cells if c[:1] in "=@\t\r＝" and c] == []
    assert [c for c in cells if c[:1] in "+-" and not c[1:].replace(".", "").isdigit()] == []
    workbook = load_workbook(shop / "list.xlsx")
    kinds = {cell.data_type for sheet in workbook for row in sheet.rows for cell in row}
    assert "f" not in kinds
    assert kinds


@pytest.mark.parametrize("hostile", SQL)
def test_sql_in_names_lots_and_searches_is_text(shop: Path, hostile: str) -> None:
    write_items(shop / "sql.csv", [("SQL-1", hostile)])
    assert call("import", "items", "sql.csv").code == 0
    assert names_in(shop)["SQL-1"] == hostile
    received = call(
        *("receive", "--item", "SQL-1", "--packs", "2", "--lot", hostile, "--on", DAY, "--json")
    )
    if received.code == 0:
        assert json.loads(received.out)["lots"][0]["lot"] == hostile
        assert hostile in call("trace", hostile, "--json").out.encode().decode("unicode_escape")
    else:
        assert received.code == 1
    for words in (("trace", hostile), ("cost", hostile), ("receive", "--scan", hostile)):
        assert call(*words).code in (0, 1, 2)
    names_in(shop)
    assert call("check").code == 0


def test_what_steers_a_terminal_is_refused_at_the_door(shop: Path) -> None:
    write_items(shop / "steer.csv", [("STEER", f"x{STEERING}")])
    answers = [
        call("import", "items", "steer.csv"),
        call("receive", "--item", "INK-C", "--packs", "1", "--lot", f"L{STEERING}"),
        call("receive", "--item", f"INK{STEERING}", "--packs", "1"),
        call("receive", "--scan", f"(01)09521234543213(10){STEERING}"),
        call("trace", STEERING),
        call("import", "items", f"no{STEERING}.csv"),
    ]
    assert [said.code for said in answers if said.code not in (1, 2)] == []
    assert [said for said in answers if not harmless(said.out + said.err)] == []
    assert "STEER" not in names_in(shop)


def test_what_steers_a_terminal_and_is_in_the_book_all_the_same_is_shown_not_obeyed(
    shop: Path,
) -> None:
    engine = create_engine(book_url(shop / "book.sqlite"))
    with engine.begin() as connection:
        connection.execute(text("UPDATE item SET name = :name"), {"name": f"n{STEERING}"})
        connection.execute(text("UPDATE lot SET code = code || :tail"), {"tail": STEERING})
    engine.dispose()
    for words in (
        ("onhand",), ("onhand", "--json"), ("expiring", "--on", DAY), ("reorder", "--on", DAY),
        ("reorder", "--on", DAY, "--json"), ("value", "--on", DAY), ("check",), ("slot", "P1-W"),
        ("purchase", "list"), ("clear", "--on", DAY),
        ("usage", "--from", "2026-03-01", "--to", DAY),
    ):  # fmt: skip
        said = call(*words)
        assert said.code in (0, 4), said
        assert harmless(said.out + said.err), words
        if "--json" in words:
            json.loads(said.out)


@pytest.mark.parametrize(
    "code",
    [
        "INK-\u0421",
        "\uff29\uff2e\uff2b",
        "INK\u200b-C",
        "INK-C\u202e",
        "a\u0301\u0301" * 90,
        "x" * 300,
    ],
)
def test_a_code_that_passes_for_another_or_has_no_end_is_refused(shop: Path, code: str) -> None:
    before = names_in(shop)
    write_items(shop / "like.csv", [(code, "name")])
    said = call("import", "items", "like.csv")
    assert said.code == 1
    assert "line 2, sku" in said.err
    assert harmless(said.err)
    assert names_in(shop) == before


@pytest.mark.parametrize("path", ["../bear.png", "/etc/hostname", "a/../../bear.png", "..\\b.png"])
def test_a_picture_outside_its_folder_is_not_looked_at(shop: Path, path: str) -> None:
    (shop / "out.csv").write_text(f"artwork,file,title\nOUT,{path},Out\n")
    said = call("import", "artworks", "out.csv")
    assert said.code == 1
    assert "line 2, file" in said.err


def test_a_bomb_in_a_workbook_is_one_fault(shop: Path) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/workbook.xml", " " * 50_000_000)
        archive.writestr("../../escaped.txt", "out")
    (shop / "bomb.xlsx").write_bytes(packed.getvalue())
    said = call("import", "items", "bomb.xlsx")
    assert said.code == 1
    assert "1 fault" in said.err
    assert not list(shop.parent.rglob("escaped.txt"))

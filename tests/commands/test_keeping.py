"""Checking, copying, tracing and valuing the book, as a person types it."""

from __future__ import annotations

import sqlite3
from pathlib import Path


def test_a_copy_is_made_checked_and_put_back(stocked, tmp_path: Path) -> None:
    copied = stocked("backup", str(tmp_path / "copy.sqlite"), "--json").json()
    assert copied["sound"]
    assert copied["findings"] == []
    again = stocked("backup", str(tmp_path / "copy.sqlite"))
    assert (again.code, "exists already" in again.err) == (1, True)
    refused = stocked("restore", str(tmp_path / "copy.sqlite"))
    assert (refused.code, "say to overwrite" in refused.err) == (1, True)
    done = stocked("restore", str(tmp_path / "copy.sqlite"), "--overwrite", "--json").json()
    assert Path(done["kept"]).exists()
    assert done["bytes"] == copied["bytes"]
    assert stocked("check").code == 0


def test_a_damaged_book_needs_attention(stocked, tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "book.sqlite") as connection:
        connection.execute(
            "UPDATE balance SET amount = amount + 1 WHERE id = (SELECT MIN(id) FROM balance)"
        )
    connection.close()
    ran = stocked("check", "--json")
    assert ran.code == 4
    assert [finding["rule"] for finding in ran.json()["findings"]] == ["balance"]
    assert stocked("backup", str(tmp_path / "copy.sqlite")).code == 4


def test_a_print_is_traced_both_ways(stocked) -> None:
    printed = ("print", "--order", "A1", "--line", "1", "--good", "3", "--on", "2026-03-04")
    assert stocked(*printed).code == 0
    forward = stocked("trace", "W-1", "--json").json()
    assert forward["orders"] == ["A1"]
    assert {touch["item"] for touch in forward["touches"]} == {"INK-W"}
    back = stocked("trace", "--order", "A1", "--json").json()
    assert {"INK-W", "PT", "TEE-BLK-L"} <= {lot["item"] for lot in back["lots"]}
    assert stocked("trace", "NOPE").code == 1
    assert stocked("trace").code == 2
    assert "A1" in stocked("trace", "W-1").out


def test_a_slot_tells_what_was_in_it(stocked) -> None:
    (now,) = stocked("slot", "P1-W", "--on", "2026-03-03", "--json").json()
    assert (now["item"], now["lot"], now["amount"]) == ("INK-W", "W-1", 700.0)
    assert stocked("slot", "P1-W", "--on", "2026-03-01", "--json").json() == []
    (stay,) = stocked("slot", "P1-W", "--json").json()
    assert (stay["since"], stay["until"]) == ("2026-03-02", None)
    assert "W-1" in stocked("slot", "P1-W").out
    assert stocked("slot", "P1-W", "--on", "2026-03-03", "--at", "ten").code == 2
    assert stocked("slot", "NOPE").code == 1


def test_the_stock_is_valued_by_what_was_paid(stocked) -> None:
    valued = stocked("value", "--on", "2026-03-31", "--json").json()
    lines = {line["item"]: line["value"] for line in valued["lines"]}
    assert lines["INK-W"] == 2 * 104
    assert lines["TEE-BLK-L"] == 40 * 3.10
    assert valued["total"] == round(sum(lines.values()), 2)
    assert "Total on 2026-03-31" in stocked("value", "--on", "2026-03-31").out
    assert stocked("value", "--method", "lifo").code == 2


def test_the_roles_script_is_plain_sql(run) -> None:
    ran = run("roles", "--station", "press")
    assert ran.code == 0
    assert "CREATE ROLE press NOLOGIN" in ran.out
    assert run("roles", "--station", "a; drop").code == 2

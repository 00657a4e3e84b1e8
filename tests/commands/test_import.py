"""``stock import``: whole or not at all, twice is once, all faults together."""

from __future__ import annotations

import json
import shutil

import pytest
from PIL import Image

from tests.commands.conftest import SHOP, invoker

KINDS = (
    *("items", "packs", "suppliers", "printers", "modes", "artworks", "orders"),
    *("deliveries", "prints", "counts", "weighings", "jobink", "purchases"),
)


def write(folder, kind, text):
    path = folder / f"{kind}.csv"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_a_template(run, kind):
    ran = run("import", "--template", kind)
    assert ran.code == 0
    assert len(ran.out.splitlines()) in (2, 3)


def test_the_templates_fit_together_as_a_first_day(run, tmp_path):
    assert run("start").code == 0
    (tmp_path / "art").mkdir()
    Image.new("RGBA", (40, 30), (200, 60, 20, 255)).save(tmp_path / "art" / "bear.png")
    order = (
        *("suppliers", "items", "packs", "printers", "modes", "artworks", "orders"),
        *("purchases", "deliveries", "prints", "counts", "weighings", "jobink"),
    )
    assert sorted(order) == sorted(KINDS)
    for kind in order:
        path = write(tmp_path, kind, run("import", "--template", kind).out)
        if kind == "prints":
            assert run("load", "DTG-1-W1", "--item", "INK-W", "--on", "2026-03-05").code == 0
        ran = run("import", kind, path, "--on", "2026-04-01", "--json")
        assert ran.code == 0, (kind, ran.err)
        assert ran.json()["new"] >= 1
    assert run("check").code == 0


@pytest.mark.parametrize("kind", sorted(SHOP))
def test_the_same_file_twice_changes_nothing(shop, tmp_path, kind):
    again = shop("import", kind, str(tmp_path / f"{kind}.csv"), "--json").json()
    assert (again["new"], again["known"], again["changed"]) == (0, again["rows"], 0)
    assert again["rows"] == len(SHOP[kind].splitlines()) - 1


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [
        (
            "packs",
            "sku,supplier,code,amount,price\nINK-Q,NOBODY,Q,some,3\nINK-Q,NOBODY,R,4,3\n",
            {(2, "amount"), (2, "sku"), (2, "supplier"), (3, "sku"), (3, "supplier")},
        ),
        (
            "orders",
            "order,line,placed_on,due_on,blank,quantity,printer\nA9,1,soon,2026-03-20,TEE-X,0,P9\n",
            {(2, "placed_on"), (2, "quantity"), (2, "blank"), (2, "printer")},
        ),
        (
            "deliveries",
            "delivery,sku,packs,received_on,supplier,purchase\n"
            "D1,TEE-X,some,2026-03-02,NOBODY,\nD1,TEE-X,3,2026-03-02,NOBODY,P-1\n",
            {(2, "packs"), (2, "sku"), (2, "supplier")}
            | {(3, "sku"), (3, "supplier"), (3, "purchase")},
        ),
        (
            "purchases",
            "purchase,supplier,ordered_on,sku,packs\nP1,NOBODY,soon,TEE-X,2\n",
            {(2, "ordered_on"), (2, "supplier"), (2, "sku")},
        ),
        (
            "items",
            "sku,kind,replaces\nNEW,blank,OLD\nOLD,garment,\n",
            {(3, "kind")},  # that OLD could not be read is no fault of NEW
        ),
    ],
)
def test_all_that_is_wrong_with_a_row_is_said_at_once(shop, tmp_path, kind, text, said):
    ran = shop("import", kind, write(tmp_path, kind, text), "--json", "--on", "2026-03-02")
    assert ran.code == 1
    assert {(one["line"], one["column"]) for one in json.loads(ran.out)["faults"]} == said


DELIVERIES = """\
delivery,sku,packs,lot,expires,received_on
D1,INK-K,2,K1,2027-03-01,2026-03-02
D1,INK-W,1,W1,2027-02-01,2026-03-02
D2,TEE-BLK-L,48,,,2026-03-03
"""


def test_deliveries_come_in_once(shop, tmp_path):
    path = write(tmp_path, "deliveries", DELIVERIES)
    first = shop("import", "deliveries", path, "--on", "2026-03-04", "--json").json()
    again = shop("import", "deliveries", path, "--on", "2026-03-04", "--json").json()
    assert (first["new"], again["new"], again["known"]) == (3, 0, 3)
    amounts = {row["item"]: row["amount"] for row in shop("onhand", "--json").json()}
    assert amounts == {"INK-K": 700.0, "INK-W": 700.0, "TEE-BLK-L": 48.0}


def test_a_faulty_file_is_refused_whole_with_every_fault(shop, tmp_path):
    path = write(
        tmp_path,
        "deliveries",
        DELIVERIES + "D3,INK-Z,1,Z1,2027-01-01,2026-03-03\nD3,INK-K,-1,K9,2027-01-01,2026-03-03\n",
    )
    ran = shop("import", "deliveries", path, "--on", "2026-03-04", "--json")
    assert ran.code == 1
    faults = json.loads(ran.out)["faults"]
    assert [(fault["line"], fault["column"]) for fault in faults] == [(5, "sku"), (6, "packs")]
    assert shop("onhand", "--json").json() == []


def test_a_dry_run_changes_nothing(shop, tmp_path):
    path = write(tmp_path, "deliveries", DELIVERIES)
    would = shop("import", "deliveries", path, "--on", "2026-03-04", "--dry-run", "--json").json()
    assert would["new"] == 3
    assert shop("onhand", "--json").json() == []


def test_files_that_are_no_files_are_one_sentence(shop, tmp_path):
    cases = {
        ("items", str(tmp_path)): 1,
        ("items", str(tmp_path / "missing.csv")): 1,
        ("hats", str(tmp_path / "items.csv")): 2,
        ("items",): 2,
    }
    for words, code in cases.items():
        ran = shop("import", *words)
        assert ran.code == code, ran.err
        assert "Traceback" not in ran.err
        assert (
            words[0] in ran.err or "FILE" in ran.err or "directory" in ran.err or "file" in ran.err
        )


def test_a_missing_column_is_named(shop, tmp_path):
    ran = shop("import", "deliveries", write(tmp_path, "deliveries", "delivery,sku\nD1,INK-K\n"))
    assert ran.code == 1
    assert "received_on" in ran.err


ORDERS = """\
order,line,placed_on,due_on,stage,blank,quantity
A1,1,2026-03-02,2026-03-12,quote,TEE-BLK-L,12
"""


def test_a_quote_becomes_an_order_by_a_later_file(shop, tmp_path):
    shop("import", "orders", write(tmp_path, "orders", ORDERS), "--on", "2026-03-02")
    confirmed = ORDERS.replace("quote", "confirmed")
    again = shop(
        "import", "orders", write(tmp_path, "orders", confirmed), "--on", "2026-03-03", "--json"
    ).json()
    assert (again["new"], again["changed"], again["known"]) == (0, 1, 0)


def test_an_order_for_an_unknown_blank_is_refused_with_a_near_miss(shop, tmp_path):
    path = write(tmp_path, "orders", ORDERS.replace("TEE-BLK-L", "TEE-BLK-l"))
    ran = shop("import", "orders", path, "--on", "2026-03-02")
    assert ran.code == 1
    assert "TEE-BLK-L" in ran.err


def test_a_long_file_is_written_in_parts_and_means_the_same(
    stocked_folder, tmp_path, monkeypatch
) -> None:
    lines = [f"A1,1,2026-03-{3 + n % 9:02d},{1 + n % 3},{n % 2},P1,{n}" for n in range(40)]
    printed = "order,line,printed_on,good,misprints,printer,ref\n" + "\n".join(lines) + "\n"
    counted = "place,sku,lot,counted,reason\nSHELF,TEE-BLK-L,L-1,7,x\nSHELF,TEE-BLK-L,NEW,2,x\n"
    came = DELIVERIES + "".join(f"D9,INK-W,1,W{n % 4},2027-02-01,2026-03-02\n" for n in range(9))
    files = {"deliveries": came, "prints": printed, "counts": counted}
    found = []
    for ahead in (1, 3, 2_000):
        folder = tmp_path / str(ahead)
        folder.mkdir()
        shutil.copyfile(stocked_folder / "book.sqlite", folder / "book.sqlite")
        monkeypatch.setenv("STOCK_BOOK", str(folder / "book.sqlite"))
        monkeypatch.setenv("STOCK_SETTINGS", str(folder / "settings.toml"))
        monkeypatch.setattr("stock.shop.imports.events.ROWS_AHEAD", ahead)
        run = invoker(monkeypatch)
        for kind, text in files.items():
            ran = run("import", kind, write(folder, kind, text), "--on", "2026-03-20")
            assert ran.code == 0, ran.err
        assert run("check").code == 0
        found.append((run("onhand").out, run("trace", "--order", "A1").out, run("value").out))
    assert found[0] == found[1] == found[2]


def test_a_fault_after_many_written_rows_still_takes_nothing(shop, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("stock.shop.imports.events.ROWS_AHEAD", 1)
    path = write(tmp_path, "deliveries", DELIVERIES + "D3,NOPE,1,,,2026-03-03\n")
    ran = shop("import", "deliveries", path, "--on", "2026-03-04")
    assert (ran.code, "NOPE" in ran.err) == (1, True)
    assert shop("onhand", "--json").json() == []

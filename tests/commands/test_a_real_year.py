"""A year of real sales through the public imports, reconciled with an independent pandas sum.

Data: the pizza sales of 2015 (49,574 dated lines with sizes) that PyPI's ``great-tables`` ships
as ``great_tables/data/05-pizzaplace.csv`` (MIT). A name is taken as a garment style, a size as its
size, a sold line as a printed piece. Pictures: ``chelsea.png`` and ``coffee.png`` that PyPI's
``scikit-image`` ships (CC0 by its data/README). Barcodes: GTIN 09521234543213 from GS1's examples
and the element string of GS1's Digital Link standard, section on element-string equivalents.
Laydown, prices and stock levels are chosen for the test.
"""

from __future__ import annotations

import csv
import importlib.util
import shutil
from pathlib import Path

import pandas as pd
import pytest

from tests.commands.conftest import Ran, Run

YEAR_END = "2016-01-04"
BOUGHT_OVER_SOLD = 1.01
DARK_TYPES = ("supreme", "veggie")


def data_file(package: str, *parts: str) -> Path:
    spec = importlib.util.find_spec(package)
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent.joinpath(*parts)


@pytest.fixture(scope="module")
def sales() -> pd.DataFrame:
    frame = pd.read_csv(data_file("great_tables", "data", "05-pizzaplace.csv"))
    assert len(frame) == 49_574
    frame["sku"] = frame["name"].str.upper() + "-" + frame["size"]
    frame["line"] = frame.groupby("id").cumcount() + 1
    return frame


def write(path: Path, header: str, rows) -> Path:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header.split(","))
        writer.writerows(rows)
    return path


def make_files(folder: Path, sales: pd.DataFrame) -> None:
    blanks = sales.drop_duplicates("sku")
    inks = [(f"INK-{ch}", "ink", ch, "", "", "", 365) for ch in "CMYKW"]
    write(
        folder / "items.csv",
        "sku,kind,channel,style,size,shade,shelf_life_days",
        [
            *inks,
            ("PT", "pretreat", "", "", "", "", 365),
            *(
                (
                    row.sku,
                    "blank",
                    "",
                    row.name.upper(),
                    row.size,
                    "dark" if row.type in DARK_TYPES else "light",
                    "",
                )
                for row in blanks[["sku", "name", "size", "type"]].itertuples(name="Blank")
                for row in [row]
            ),
        ],
    )
    write(
        folder / "suppliers.csv",
        "code,lead_days,order_days,line_cost",
        [("ALDER", 5, "", 1), ("BRAMBLE", 2, "", 0.5)],
    )
    write(
        folder / "packs.csv",
        "sku,supplier,code,amount,price,gtin",
        [
            *((f"INK-{ch}", "ALDER", f"B-{ch}", "20 L", 900, "") for ch in "CMYK"),
            ("INK-W", "ALDER", "B-W", "20 L", 1500, "09521234543213"),
            ("PT", "ALDER", "B-PT", "20 kg", 200, ""),
            *((sku, "BRAMBLE", sku, "1", 3.10, "") for sku in blanks["sku"]),
        ],
    )
    write(
        folder / "printers.csv",
        "printer,slot,channel,feed,item,per_print_ml,per_day_ml",
        [("P1", f"P1-{ch}", ch, "tank", f"INK-{ch}", 0, 0) for ch in "CMYKW"],
    )
    for picture in ("chelsea.png", "coffee.png"):
        shutil.copy(data_file("skimage", "data", picture), folder / picture)
    write(
        folder / "artworks.csv",
        "artwork,file",
        [("CHELSEA", "chelsea.png"), ("COFFEE", "coffee.png")],
    )
    write(
        folder / "orders.csv",
        "order,line,placed_on,due_on,stage,blank,quantity,artwork,width_cm",
        (
            (
                row.id,
                row.line,
                row.date,
                row.date,
                "released",
                row.sku,
                1,
                "CHELSEA" if row.type in DARK_TYPES else "COFFEE",
                20,
            )
            for row in sales.itertuples()
        ),
    )
    sold = sales.groupby("sku").size()
    write(
        folder / "deliveries.csv",
        "delivery,sku,code,packs,amount,lot,expires,received_on",
        [
            *(
                ("D1", sku, "", int(count * BOUGHT_OVER_SOLD) + 1, "", "", "", "2015-01-01")
                for sku, count in sold.items()
            ),
            *(
                ("D2", f"INK-{ch}", "", 4, "", f"L{ch}1", "2016-03-01", "2015-01-01")
                for ch in "CMYK"
            ),
            *(("D3", "", "(01)09521234543213(17)160331(10)ABC123", 25, "", "", "", "2015-01-01"),),
            ("D4", "PT", "", "", "400 kg", "PT1", "2016-02-15", "2015-01-01"),
        ],
    )
    write(
        folder / "prints.csv",
        "order,line,printed_on,good,printer",
        ((row.id, row.line, row.date, 1, "P1") for row in sales.itertuples()),
    )


ORDER = ("suppliers", "items", "packs", "printers", "artworks", "orders", "deliveries", "prints")


@pytest.fixture
def year(run: Run, tmp_path: Path, sales: pd.DataFrame) -> Run:
    """The command line on a book that holds the whole year."""
    make_files(tmp_path, sales)
    for kind in ORDER:
        ran: Ran = run("import", kind, str(tmp_path / f"{kind}.csv"), "--on", YEAR_END)
        assert ran.code == 0, ran.err
    return run


def test_a_year_of_real_sales_reconciles_and_gives_a_weekly_list(
    year: Run, sales: pd.DataFrame, tmp_path: Path
):
    on_hand = pd.DataFrame(year("onhand", "--json").json()).groupby("item")["amount"].sum()
    delivered = pd.read_csv(tmp_path / "deliveries.csv").query("delivery == 'D1'")
    expected = (
        delivered.set_index("sku")["packs"]
        .sub(pd.read_csv(tmp_path / "orders.csv").groupby("blank")["quantity"].sum())
        .astype(float)
    )
    blanks = on_hand.reindex(expected.index).fillna(0.0)
    pd.testing.assert_series_equal(blanks, expected, check_names=False)

    per_piece = {
        garment: year(
            "measure",
            str(data_file("skimage", "data", picture)),
            *("--width-cm", "20", "--garment", garment, "--printer", "P1", "--json"),
        ).json()
        for garment, picture in (("dark", "chelsea.png"), ("light", "coffee.png"))
    }
    dark = int(sales["type"].isin(DARK_TYPES).sum())
    pieces = {"dark": dark, "light": len(sales) - dark}
    for channel, bought in (("C", 80_000.0), ("K", 80_000.0), ("W", 500_000.0)):
        used = sum(
            round(per_piece[garment]["ml"][channel], 3) * count for garment, count in pieces.items()
        )
        assert on_hand[f"INK-{channel}"] == pytest.approx(bought - used, rel=1e-9)
    pretreat = round(per_piece["dark"]["pretreat_g"], 3) * dark
    assert on_hand["PT"] == pytest.approx(400_000 - pretreat, rel=1e-9)

    weekly = year("reorder", "--on", YEAR_END, "--json").json()
    assert weekly["lines"]
    for line in weekly["lines"]:
        assert line["amount"] > 0
        assert line["why"]
    listed = {line["item"] for line in weekly["lines"]}
    busiest = sales.groupby("sku").size().idxmax()
    assert busiest in listed

    lots = year("expiring", "--within", "90d", "--on", YEAR_END, "--json").json()
    soon = {(lot["item"], lot["lot"]): lot for lot in lots}
    scanned = soon["INK-W", "ABC123"]
    assert scanned["effective_expiry"] == "2016-03-31"
    assert soon["PT", "PT1"]["days"] == (pd.Timestamp("2016-02-15") - pd.Timestamp(YEAR_END)).days

    checked = year("check", "--json")
    assert checked.code == 0, checked.out

"""``stock reorder``: the contract's keys, the formats, the arithmetic, what-if, acceptance."""

from __future__ import annotations

import csv
import hashlib
import io
import os
from datetime import timedelta

import openpyxl
import pytest

from stock.shop.stock_chart import stock_chart
from tests.commands.trading import TODAY

ON = ("--on", TODAY.isoformat())


def line_of(document: dict, item: str) -> dict:
    return next(line for line in document["lines"] if line["item"] == item)


def test_the_list_has_the_contracts_keys_and_money_in_the_main_unit(traded):
    found = traded("reorder", "--json", *ON).json()
    assert (found["on"], found["currency"]) == (TODAY.isoformat(), "EUR")
    line = line_of(found, "TEE-BLK-L")
    expected = (
        *("item", "supplier", "pack", "packs", "amount", "unit", "cost", "on_hand_usable"),
        *("on_order", "need", "protection_days", "order_up_to", "order_by", "stockout_chance"),
        *("expiry_chance", "why"),
    )
    assert set(expected) <= set(line)
    assert {"firm", "unbooked", "upkeep"} <= set(line["need"])
    # 3.10 a piece: the price of the pack as imported
    assert line["cost"] == pytest.approx(3.10 * line["packs"])
    assert line["amount"] == line["packs"]
    # 390 came; 16 weeks took 350 good pieces and 16 misprints
    assert line["on_hand_usable"] == 390 - 350 - 16
    total = next(one for one in found["totals"] if one["supplier"] == "BRAMBLE")
    bought = [one["cost"] for one in found["lines"] if one["supplier"] == "BRAMBLE"]
    assert total["goods"] == pytest.approx(sum(bought))


def test_what_is_long_past_its_day_is_asked_about_and_an_old_quote_is_not_bought_for(
    traded, tmp_path
):
    before = line_of(traded("reorder", "--json", *ON).json(), "TEE-BLK-L")
    path = tmp_path / "old.csv"
    path.write_text(
        "order,line,stage,placed_on,due_on,blank,quantity,win_probability\n"
        "OLD-Q,1,quote,2026-04-01,2026-05-20,TEE-BLK-L,500,80 %\n"
    )
    assert traded("import", "orders", str(path), *ON).code == 0
    after = traded("reorder", "--json", *ON).json()
    assert line_of(after, "TEE-BLK-L")["packs"] == before["packs"]
    (said,) = [one for one in after["findings"] if "OLD-Q" in one]
    assert said == (
        "1 quote is more than 30 days past the day asked for and counts as lost (OLD-Q): "
        "what is still wanted needs a new day, the rest can be cancelled."
    )
    path.write_text(
        "order,line,stage,placed_on,due_on,blank,quantity\n"
        "OLD-O,1,confirmed,2026-04-01,2026-05-20,TEE-BLK-L,50\n"
    )
    assert traded("import", "orders", str(path), *ON).code == 0
    late = traded("reorder", "--json", *ON).json()
    assert line_of(late, "TEE-BLK-L")["packs"] > before["packs"] + 40
    assert any("still counts as needed today (OLD-O)" in one for one in late["findings"])


def test_a_size_nobody_asked_for_yet_is_told_as_a_guess_and_takes_nothing_from_the_others(
    traded, tmp_path
):
    def needed(item):
        rows = traded("needs", "--json", *ON).json()["items"]
        return sum(next(row for row in rows if row["item"] == item)["unbooked"])

    before = needed("TEE-BLK-L")
    (tmp_path / "new.csv").write_text(
        "sku,kind,style,colour,size,shade\nTEE-BLK-XL,blank,TEE,BLK,XL,dark\n"
    )
    (tmp_path / "pack.csv").write_text(
        "sku,supplier,code,amount,price\nTEE-BLK-XL,BRAMBLE,TBXL,1,3.30\n"
    )
    assert traded("import", "items", str(tmp_path / "new.csv")).code == 0
    assert traded("import", "packs", str(tmp_path / "pack.csv")).code == 0
    assert needed("TEE-BLK-L") == pytest.approx(before, rel=0.03)
    assert 0 < needed("TEE-BLK-XL") < before
    found = traded("reorder", "--json", *ON).json()
    assert line_of(found, "TEE-BLK-XL")["packs"] > 0
    assert any(one.startswith("TEE-BLK-XL: never used, stocked") for one in found["findings"])
    assert not any("TEE-BLK-L" in one for one in found["findings"])


def test_the_same_list_comes_as_csv_workbook_and_pdf(traded, tmp_path):
    document = traded("reorder", "--json", *ON).json()
    rows = list(csv.DictReader(io.StringIO(traded("reorder", "--format", "csv", *ON).out)))
    assert [(row["item"], int(row["packs"])) for row in rows] == [
        (line["item"], line["packs"]) for line in document["lines"]
    ]
    assert float(rows[0]["cost EUR"]) == pytest.approx(document["lines"][0]["cost"])
    assert traded("reorder", "--out", str(tmp_path / "w.xlsx"), *ON).code == 0
    book = openpyxl.load_workbook(tmp_path / "w.xlsx")
    sheet = book["To order"]
    assert [row[1].value for row in sheet.iter_rows(min_row=2)] == [
        line["item"] for line in document["lines"]
    ]
    assert book["Arithmetic"].max_row > len(document["lines"])
    assert traded("reorder", "--out", str(tmp_path / "w.pdf"), *ON).code == 0
    assert (tmp_path / "w.pdf").read_bytes().startswith(b"%PDF-")


def test_only_one_suppliers_lines_when_one_is_named(traded):
    found = traded("reorder", "--supplier", "BRAMBLE", "--json", *ON).json()
    assert {line["supplier"] for line in found["lines"]} == {"BRAMBLE"}
    assert [total["supplier"] for total in found["totals"]] == ["BRAMBLE"]
    ran = traded("reorder", "--supplier", "BRAMBEL", *ON)
    assert (ran.code, "Did you mean BRAMBLE?" in ran.err) == (1, True)


def test_why_shows_the_arithmetic_and_the_weeks_as_text_when_piped(traded):
    ran = traded("reorder", "--why", "TEE-BLK-L", *ON)
    assert "Position: 24.0 usable + 0.0 on order = 24.0." in ran.out
    assert "week from" in ran.out
    assert "2026-06-22" in ran.out
    assert "\x1b[" not in ran.out


def test_why_explains_an_item_that_is_not_on_the_list(traded):
    ran = traded("reorder", "--why", "INK-C", *ON)
    assert ran.code == 0
    assert "Order from ALDER when both together stand below" in ran.out
    found = traded("reorder", "--why", "INK-C", "--json", *ON).json()
    assert found["line"] is None
    assert len(found["weeks"]["stock"]["p50"]) == 12


def test_the_chart_draws_stock_need_and_level(traded, monkeypatch):
    from datetime import date

    from stock.shop import open_book
    from stock.shop.planning import reorder_list

    weekly = reorder_list(open_book(os.environ["STOCK_BOOK"]), date.fromisoformat(ON[1]))
    drawn = stock_chart(weekly.state("TEE-BLK-L"), weekly, width=80, height=20)
    for words in ("TEE-BLK-L", "stock if nothing is ordered", "need of the week", "this order"):
        assert words in drawn
    assert len(drawn.splitlines()) <= 21


def test_what_if_compares_lists_and_leaves_the_book_alone(traded, tmp_path):
    before = traded("reorder", "--json", *ON).out
    digest = hashlib.sha256((tmp_path / "book.sqlite").read_bytes()).hexdigest()
    found = traded("reorder", "--what-if", "lead BRAMBLE +10", "--json", *ON).json()
    assert found["what_if"] == ["BRAMBLE takes 10 working days longer, open orders too"]
    tee = next(one for one in found["differences"] if one["item"] == "TEE-BLK-L")
    assert tee["after"]["packs"] > tee["before"]["packs"]
    assert hashlib.sha256((tmp_path / "book.sqlite").read_bytes()).hexdigest() == digest
    assert traded("reorder", "--json", *ON).out == before
    assert traded("purchase", "list", "--json").json() == []


@pytest.mark.parametrize(
    ("question", "item", "more"),
    [
        ("demand +100%", "TEE-BLK-L", True),
        ("demand TEE-BLK-L +100%", "TEE-BLK-L", True),
        ("demand blank -90%", "TEE-BLK-L", False),
        ("won QUOTE1", "TEE-WHT-L", True),
        ("lost OPEN1", "TEE-BLK-L", False),
        (f"job like OPEN1 due {TODAY.isoformat()}", "TEE-BLK-L", True),
    ],
)
def test_each_change_moves_the_list_the_way_it_should(traded, question, item, more):
    found = traded("reorder", "--what-if", question, "--json", *ON).json()
    one = next(one for one in found["differences"] if one["item"] == item)
    packs = [side["packs"] if side else 0 for side in (one["before"], one["after"])]
    assert (packs[1] > packs[0]) is more
    assert packs[1] != packs[0]


@pytest.fixture
def two_printers(run, tmp_path):
    """Two machines, three quarters of the prints on P1; area of full tone is stated by the mode."""
    from PIL import Image

    from tests.commands.conftest import SHOP

    Image.new("RGBA", (100, 100), (200, 40, 30, 255)).save(tmp_path / "bear.png")
    two = SHOP["printers"].replace(",0\n", ",9\n")
    orders = ["order,line,stage,placed_on,due_on,blank,quantity,artwork,width_cm,printer"]
    prints = ["order,line,printed_on,good,printer"]
    for week in range(12):
        due = TODAY - timedelta(weeks=12 - week)
        for name, pieces in (("P1", 30), ("P2", 10)):
            orders.append(f"{name}W{week},1,released,{due},{due},TEE-WHT-L,{pieces},BEAR,20,{name}")
            prints.append(f"{name}W{week},1,{due},{pieces},{name}")
    files = {
        **SHOP,
        "printers": two + "\n".join(two.splitlines()[1:]).replace("P1", "P2") + "\n",
        "artworks": "artwork,file\nBEAR,bear.png\n",
        "orders": "\n".join(orders) + "\n",
        "prints": "\n".join(prints) + "\n",
    }
    for kind, text in files.items():
        (tmp_path / f"{kind}.csv").write_text(text, encoding="utf-8")
        ran = run("import", kind, str(tmp_path / f"{kind}.csv"), *ON)
        assert ran.code == 0, ran.err
    return run


def needs_if(run, *questions):
    """Need of each item over the time its order must last: on the list and with the change."""
    from stock.plan.decide import plan
    from stock.shop import open_book
    from stock.shop.planning import snapshot_of
    from stock.shop.what_if import change

    snapshot = snapshot_of(open_book(os.environ["STOCK_BOOK"]), TODAY)
    changed = snapshot
    for question in questions:
        changed = change(changed, question).snapshot
    return [{state.item: state.need for state in plan(one).states} for one in (snapshot, changed)]


def test_one_more_printer_takes_its_upkeep_for_the_same_jobs(two_printers):
    before, after = needs_if(two_printers, "printer like P1")
    assert after["INK-W"].upkeep == pytest.approx(1.5 * before["INK-W"].upkeep)
    # what is not upkeep is told as a difference of means over 2,000 paths, each ± 0.8 mL
    assert after["INK-M"].unbooked == pytest.approx(before["INK-M"].unbooked, abs=3.5)
    assert after["TEE-WHT-L"].total == pytest.approx(before["TEE-WHT-L"].total)
    found = two_printers("reorder", "--what-if", "printer like P1", "--json", *ON).json()
    assert "for the same jobs" in found["what_if"][0]


def test_one_more_printer_may_print_more_and_takes_garments_and_ink_for_it(two_printers):
    # P1 prints three quarters of all: its prints twice over are 1.75 times the shop's.
    before, after = needs_if(two_printers, "printer like P1 +100%")
    assert after["INK-W"].upkeep == pytest.approx(1.5 * before["INK-W"].upkeep)
    for item in ("TEE-WHT-L", "INK-M"):
        assert after[item].unbooked == pytest.approx(1.75 * before[item].unbooked, rel=0.05)
    found = two_printers("reorder", "--what-if", "printer like P1 +100%", "--json", *ON).json()
    assert found["what_if"] == [
        "one more machine with the daily upkeep of P1, and 100 % of its prints more"
    ]


@pytest.mark.parametrize("share", ["more", "-20%", "20", "+20", "+%"])
def test_more_prints_of_a_new_printer_are_a_plain_share(two_printers, share):
    ran = two_printers("reorder", "--what-if", f"printer like P1 {share}", *ON)
    assert (ran.code, "was not understood" in ran.err) == (2, True)


def test_a_closed_supplier_sells_nothing(traded):
    found = traded("reorder", "--what-if", "closed BRAMBLE", "--json", *ON).json()
    assert all(one["after"] is None for one in found["differences"])
    assert found["after"]["total"] == 0.0


def test_changes_can_be_asked_together(traded):
    one = traded("reorder", "--what-if", "demand +50%", "--json", *ON).json()
    both = traded(
        *("reorder", "--what-if", "demand +50%", "--what-if", "won QUOTE1", "--json", *ON)
    ).json()
    assert len(both["what_if"]) == 2
    assert both["after"]["total"] > one["after"]["total"]


@pytest.mark.parametrize(
    ("question", "code", "said"),
    [
        ("more of everything", 2, "was not understood"),
        ("lead NOBODY +5", 1, "There is no supplier 'NOBODY'"),
        ("lead BRAMBLE soon", 2, "was not understood"),
        ("lead BRAMBLE +999", 2, "at most 120 days"),
        ("demand +20", 2, "was not understood"),
        ("won OPEN1", 2, "is an order already"),
        ("closed BRAMBLE until yesterday", 2, "is no day"),
        ("job like OPEN1 due 2020-01-01", 2, "is past"),
        ("printer like PX", 1, "printer with upkeep"),
        ("printer like PX more", 1, "printer with upkeep"),
        ("", 2, "was not understood"),
    ],
)
def test_a_question_nobody_understands_is_one_sentence(traded, question, code, said):
    ran = traded("reorder", "--what-if", question, *ON)
    assert ran.code == code
    assert said in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_accepting_makes_drafts_once(traded):
    weekly = traded("reorder", "--json", *ON).json()
    done = traded("reorder", "--accept", "--json", *ON).json()
    assert [(one["item"], one["packs"]) for one in done["added"]] == [
        (line["item"], line["packs"]) for line in weekly["lines"]
    ]
    again = traded("reorder", "--accept", "--json", *ON).json()
    assert again["added"] == []
    orders = traded("purchase", "list", "--json").json()
    packs = [line["packs"] for order in orders for line in order["lines"]]
    assert sum(packs) == sum(line["packs"] for line in weekly["lines"])
    assert orders[0]["who"] == "press 1"


def test_accepting_keeps_what_was_believed(traded):
    traded("reorder", "--accept", *ON)
    record = traded("forecast", "--accuracy", "--json", *ON).json()
    assert record["waiting"] > 0
    assert record["horizons"] == []


def test_the_buyer_may_accept_other_packs(traded):
    done = traded("reorder", "--accept", "--packs", "TEE-BLK-L=7", "--json", *ON).json()
    assert {"purchase": "P-2026-0001", "item": "TEE-BLK-L", "packs": 7} in done["added"]
    line = done["purchases"][0]["lines"][0]
    assert line["why"][-1].endswith("the buyer chose 7.")


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--format", "docx"), 2, "expected one of table, csv, json, xlsx, pdf"),
        (("--format", "pdf"), 2, "needs --out FILE"),
        (("--out", "list.txt"), 2, "say the --format"),
        (("--json", "--format", "csv"), 2, "contradict"),
        (("--packs", "TEE-BLK-L=7"), 2, "--packs goes with --accept"),
        (("--accept", "--packs", "TEE-BLK-L"), 2, "expected ITEM=N"),
        (("--accept", "--packs", "INK-Q=1"), 1, "line of this list"),
        (("--accept", "--why", "INK-W"), 2, "--accept goes with neither"),
        (("--why", "INK-Q"), 1, "There is no item 'INK-Q'"),
        (("--on", "soon"), 2, "--on"),
    ],
)
def test_wrong_calls_are_one_sentence(traded, words, code, said):
    ran = traded("reorder", *words)
    assert ran.code == code, ran.err
    assert said in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_a_formula_in_a_name_stays_text_in_every_file(traded, tmp_path):
    (tmp_path / "items.csv").write_text(
        'sku,kind,name,style,colour,size,shade\nTEE-BLK-L,blank,"=HYPERLINK(1)",TEE,BLK,L,dark\n'
    )
    assert traded("import", "items", str(tmp_path / "items.csv")).code == 0
    text = traded("reorder", "--format", "csv", *ON).out
    assert ",'=HYPERLINK(1)," in text
    traded("reorder", "--out", str(tmp_path / "w.xlsx"), *ON)
    sheet = openpyxl.load_workbook(tmp_path / "w.xlsx")["To order"]
    cell = next(row[2] for row in sheet.iter_rows(min_row=2) if row[1].value == "TEE-BLK-L")
    assert (cell.value, cell.data_type) == ("=HYPERLINK(1)", "s")

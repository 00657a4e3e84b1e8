"""Cleaning, test prints, counters, pouring off, count sheets and putting lots right, as typed."""

from __future__ import annotations

from pathlib import Path

ON = ("--on", "2026-03-04")


def test_a_cleaning_takes_what_is_said_or_is_refused(stocked) -> None:
    done = stocked("clean", "P1", "--ml", "W=8,5", "--ml", "C=1.5", *ON, "--json").json()
    assert [(one["item"], one["amount"]) for one in done["moved"]] == [
        ("INK-W", 8.5),
        ("INK-C", 1.5),
    ]
    assert stocked("clean", "P1", *ON).code == 1, "no rate per start-up is known"
    assert stocked("clean", "P1", "--ml", "W", *ON).code == 2
    assert stocked("clean", "P1", "--ml", "W=1", "--kind", "polish", *ON).code == 1


def test_a_test_print_is_noted_with_its_blank(stocked) -> None:
    ran = stocked("trial", "P1", "--ml", "W=2", "--blank", "TEE-BLK-L", *ON, "--json")
    assert [(one["item"], one["to"]) for one in ran.json()["moved"]] == [
        ("INK-W", "UPKEEP"),
        ("TEE-BLK-L", "WASTE"),
    ]


def test_shaking_and_counters_are_noted(stocked) -> None:
    assert stocked("shaken", "P1-W", *ON).code == 0
    assert stocked("counter", "P1", "48211.5", "--channel", "W", *ON).code == 0
    back = stocked("counter", "P1", "12", "--channel", "W", *ON)
    assert (back.code, "stood at 48211.5" in back.err) == (1, True)


def test_part_of_a_canister_is_poured_off(stocked) -> None:
    done = stocked(
        "decant", "--item", "PT", "--amount", "500 g", "--code", "SPRAYER", *ON, "--json"
    )
    assert done.json()["moved"][-1]["to_container"] == "SPRAYER"
    more = stocked("decant", "--container", "SPRAYER", "--amount", "0.1 kg", *ON, "--json")
    assert more.json()["moved"][0]["amount"] == 100
    assert stocked("decant", "--amount", "1 g").code == 2


def test_a_count_sheet_is_blind_and_can_be_filled_in(stocked, tmp_path: Path) -> None:
    sheet = stocked("sheet", "--kind", "blank", "--reason", "month end")
    assert sheet.out == "place,sku,lot,container,counted,reason\nSHELF,TEE-BLK-L,L-1,,,month end\n"
    filled = tmp_path / "sheet.csv"
    filled.write_text(sheet.out.replace("L-1,,,", "L-1,,39,"))
    assert stocked("count", str(filled), *ON).code == 0
    shelf = {row["item"]: row["amount"] for row in stocked("onhand", "--json").json()}
    assert shelf["TEE-BLK-L"] == 39


def test_a_wrong_lot_and_a_wrong_date_are_put_right(stocked) -> None:
    got = stocked(
        *("receive", "--item", "TEE-WHT-L", "--packs", "3", "--lot", "OOPS", *ON, "--json")
    ).json()
    right = stocked("relot", str(got["entry"]), "--lot", "T-7", *ON, "--json").json()
    assert right["lots"][0]["lot"] == "T-7"
    dated = stocked("relabel", "INK-W", "W-1", "--expires", "2026-12-24", *ON)
    assert dated.code == 0, dated.err
    lots = {row["lot"]: row for row in stocked("onhand", "--json").json()}
    assert "OOPS" not in lots
    assert lots["W-1"]["sealed_expiry"] == "2026-12-24"
    assert stocked("relabel", "INK-W", "W-1").code == 2


def test_a_customers_garments_are_handed_back(stocked) -> None:
    mine = ("receive", "--item", "TEE-WHT-L", "--packs", "5", "--owner", "KIT", *ON)
    assert stocked(*mine).code == 0
    done = stocked("hand-back", "KIT", "--item", "TEE-WHT-L", "--pieces", "2", *ON, "--json").json()
    assert [(one["amount"], one["to"]) for one in done["moved"]] == [(2, "RETURNED")]
    assert stocked("hand-back", "KIT", "--item", "TEE-WHT-L", "--pieces", "9", *ON).code == 1


def test_a_customers_garments_are_counted_as_the_customers(stocked, tmp_path: Path) -> None:
    theirs = ("receive", "--item", "TEE-BLK-L", "--packs", "5", "--owner", "KIT", "--lot", "L-1")
    assert stocked(*theirs, *ON).code == 0
    sheet = stocked("sheet", "--kind", "blank").out
    assert sheet == (
        "place,sku,lot,container,counted,reason,owner\n"
        "SHELF,TEE-BLK-L,L-1,,,count,\nSHELF,TEE-BLK-L,L-1,,,count,KIT\n"
    )
    filled = tmp_path / "sheet.csv"
    filled.write_text(sheet.replace("L-1,,,count,\n", "L-1,,40,count,\n").replace(",,,c", ",,4,c"))
    looked = stocked("count", str(filled), "--dry-run", *ON)
    assert "SHELF TEE-BLK-L L-1: book 5, counted 4" in looked.err
    assert "book 40" not in looked.err
    assert stocked("count", str(filled), *ON).code == 0
    again = stocked("count", str(filled), *ON)
    assert "2 known already" in again.err
    tees = [r for r in stocked("onhand", "--json").json() if r["item"] == "TEE-BLK-L"]
    assert {row["owner"]: row["amount"] for row in tees} == {"": 40, "KIT": 4}
    assert "KIT" in stocked("onhand").out


def test_who_has_no_garments_here_gets_none_back(stocked) -> None:
    ran = stocked("hand-back", "KIT", "--item", "TEE-BLK-L", *ON)
    assert (ran.code, "nothing of KIT's TEE-BLK-L" in ran.err) == (1, True)


def test_a_count_entered_late_is_held_against_the_book_of_its_day(shop, tmp_path: Path) -> None:
    for packs, lot, day in (("10", "A", "2026-03-02"), ("5", "B", "2026-03-10")):
        words = ("--item", "TEE-BLK-L", "--packs", packs, "--lot", lot, "--on", day)
        assert shop("receive", *words).code == 0
    late = tmp_path / "late.csv"
    late.write_text("place,sku,counted,reason\nSHELF,TEE-BLK-L,8,month end\n")
    assert shop("count", str(late), "--on", "2026-03-05").code == 0
    held = {row["lot"]: row["amount"] for row in shop("onhand", "--json").json()}
    assert held == {"A": 8.0, "B": 5.0}
    assert shop("check", "--json").json()["findings"] == []


def test_what_was_undone_since_says_nothing_about_the_day_of_a_late_count(shop, tmp_path: Path):
    words = ("--item", "TEE-BLK-L", "--packs", "10", "--lot", "A", "--on", "2026-03-02")
    assert shop("receive", *words).code == 0
    wrong = ("--item", "TEE-BLK-L", "--lot", "A", "--amount", "4", "--reason", "torn")
    gone = shop("scrap", *wrong, "--on", "2026-03-03", "--json").json()
    assert shop("undo", str(gone["entry"]), "--on", "2026-03-06").code == 0
    late = tmp_path / "late.csv"
    late.write_text("place,sku,counted,reason\nSHELF,TEE-BLK-L,10,month end\n")
    assert shop("count", str(late), "--on", "2026-03-05").code == 0
    assert [row["amount"] for row in shop("onhand", "--json").json()] == [10.0]


def test_goods_are_carried_to_a_shelf_that_is_new_only_when_said(stocked) -> None:
    words = ("move", "--item", "TEE-BLK-L", "--amount", "4", "--to", "SHELF-9", *ON)
    refused = stocked(*words)
    assert refused.code == 1
    assert "SHELF-9" in refused.err
    assert stocked(*words, "--new-shelf").code == 0
    assert stocked(*words, "--new-shelf").code == 0, "it is known by now"
    held = {
        (row["item"], row["place"]): row["amount"] for row in stocked("onhand", "--json").json()
    }
    assert held["TEE-BLK-L", "SHELF-9"] == 8
    odd = stocked("move", "--item", "TEE-BLK-L", "--amount", "1", "--to", "S\u202e9", "--new-shelf")
    assert odd.code == 1
    assert stocked("check", "--json").json()["findings"] == []

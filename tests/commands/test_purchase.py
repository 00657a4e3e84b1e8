"""``stock purchase``: the way of an order from draft to closed, by the command line alone."""

from __future__ import annotations

import csv
from datetime import timedelta

import pytest

from tests.commands.trading import TODAY

REF = "P-2026-0001"
ON = ("--on", TODAY.isoformat())


@pytest.fixture
def draft(traded):
    """A draft of 20 black tees."""
    done = traded("reorder", "--accept", "--packs", "TEE-BLK-L=20", "--json", *ON).json()
    assert REF in {one["purchase"] for one in done["added"]}
    return traded


def lines(run) -> dict[str, dict]:
    return {one["item"]: one for one in run("purchase", "show", REF, "--json").json()["lines"]}


def test_an_order_goes_from_draft_to_part_received_to_closed(draft):
    sent = draft("purchase", "send", REF, "--promised", "2026-06-25", "--json", *ON).json()
    assert (sent["state"], sent["promised_on"]) == ("sent", "2026-06-25")
    part = draft(
        *("purchase", "receive", REF, "--item", "TEE-BLK-L", "--packs", "5"),
        *("--lot", "X1", "--on", "2026-06-24", "--json"),
    ).json()
    assert part["lots"][0]["packs"] == 5
    assert lines(draft)["TEE-BLK-L"]["open_packs"] == 15
    assert draft("purchase", "receive", REF, "--all", "--on", "2026-06-25").code == 0
    whole = draft("purchase", "show", REF, "--json").json()
    assert (whole["state"], whole["closed_on"]) == ("closed", "2026-06-25")
    assert draft("purchase", "list", "--supplier", "BRAMBLE", "--json").json() == []


def test_what_is_ordered_is_not_proposed_again(draft):
    weekly = draft("reorder", "--json", *ON).json()
    tee = [line for line in weekly["lines"] if line["item"] == "TEE-BLK-L"]
    assert all(line["on_order"] == 20 for line in tee)


def test_money_is_in_the_main_unit_with_its_currency(draft):
    order = draft("purchase", "show", REF, "--json").json()
    tee = lines(draft)["TEE-BLK-L"]
    assert (tee["price"], tee["cost"], order["currency"]) == (3.10, 62.0, "EUR")


def test_a_draft_may_be_changed_and_a_line_taken_off(draft):
    draft("purchase", "change", REF, "--item", "TEE-BLK-L", "--packs", "9", *ON)
    assert lines(draft)["TEE-BLK-L"]["packs"] == 9
    draft("purchase", "change", REF, "--item", "TEE-BLK-L", "--packs", "0", *ON)
    assert lines(draft)["TEE-BLK-L"]["open_packs"] == 0


def test_a_late_order_is_listed_with_the_day_it_is_expected_now(draft):
    draft("purchase", "send", REF, "--promised", "2026-06-23", *ON)
    later = (TODAY + timedelta(days=7)).isoformat()
    late = draft("purchase", "retime", "--json", "--on", later).json()
    assert {one["purchase"] for one in late} == {REF}
    assert all(one["expected_on"] > later for one in late)
    moved = draft(
        *("purchase", "retime", REF, "--to", "2026-07-06", "--reason", "their mail", "--json"),
        *("--on", later),
    ).json()
    assert moved["promised_on"] == "2026-07-06"
    assert draft("purchase", "retime", "--json", "--on", later).json() == []


def test_an_order_sent_without_a_day_is_missed_when_it_takes_longer_than_usual(draft):
    draft("purchase", "send", REF, *ON)
    week = ("week", "--json", "--on")
    soon = draft(*week, (TODAY + timedelta(days=1)).isoformat()).json()
    assert not any(REF in said for said in soon["attention"])
    late = draft(*week, (TODAY + timedelta(days=40)).isoformat()).json()
    said = [one for one in late["attention"] if REF in one]
    assert said == [f"Longer under way than its supplier usually takes: {REF}."]


def test_cancelling_keeps_the_reason(draft):
    done = draft("purchase", "cancel", REF, "--reason", "sold out", "--json", *ON).json()
    assert done["state"] == "cancelled"
    assert all("sold out" in one["why"][-1] for one in done["lines"])


def test_the_scorecard_says_how_suppliers_did(draft):
    draft("purchase", "send", REF, "--promised", "2026-06-25", *ON)
    draft("purchase", "receive", REF, "--all", "--on", "2026-06-24")
    rows = {row["supplier"]: row for row in draft("purchase", "scorecard", "--json").json()}
    assert rows["BRAMBLE"]["on_time"] == 1.0
    assert rows["BRAMBLE"]["in_full"] == 1.0
    assert rows["ALDER"]["on_time"] is None


def test_the_order_sheet_is_a_file_for_the_supplier(draft, tmp_path):
    assert draft("purchase", "show", REF, "--out", str(tmp_path / "o.pdf")).code == 0
    assert (tmp_path / "o.pdf").read_bytes().startswith(b"%PDF-")
    draft("purchase", "show", REF, "--out", str(tmp_path / "o.csv"))
    with (tmp_path / "o.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["Packs"] for row in rows if row["Code"] == "TBL"] == ["20"]
    assert rows[-1]["Item"] == "Total"


def test_the_order_sheet_is_a_mail_draft_with_the_pdf(draft, tmp_path):
    from email import message_from_bytes
    from email.policy import default

    (tmp_path / "s.csv").write_text("code,lead_days,email\nBRAMBLE,2,orders@bramble.example\n")
    assert draft("import", "suppliers", str(tmp_path / "s.csv")).code == 0
    assert draft("purchase", "show", REF, "--out", str(tmp_path / "o.eml")).code == 0
    mail = message_from_bytes((tmp_path / "o.eml").read_bytes(), policy=default)
    assert mail["To"] == "orders@bramble.example"
    assert [part.get_filename() for part in mail.iter_attachments()] == [f"{REF}.pdf"]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("show", "P-1"), 1, "There is no purchase order 'P-1'"),
        (("send", REF, "--promised", "2020-01-01"), 1, "before it is sent"),
        (("receive", REF), 2, "--item SKU, or --all"),
        (("receive", REF, "--all", "--lot", "L"), 2, "go with --item"),
        (("receive", REF, "--item", "INK-C", "--packs", "1"), 1, "line of P-2026-0001 for"),
        (("receive", REF, "--item", "TEE-BLK-L", "--packs", "0"), 1, "0 packs"),
        (("retime", REF), 2, "needs --to DATE"),
        (("retime", REF, "--to", "2026-07-01"), 1, "say why"),
        (("cancel", REF, "--packs", "3"), 1, "of one item of the order"),
        (("change", REF, "--item", "TEE-BLK-L", "--packs", "-1"), 1, "-1 packs"),
        (("list", "--state", "lost"), 2, "expected one of draft"),
        (("list", "--supplier", "X"), 1, "There is no supplier 'X'"),
        (("show", REF, "--out", "o.docx"), 2, "expected one of .pdf"),
    ],
)
def test_wrong_calls_are_one_sentence(draft, words, code, said):
    ran = draft("purchase", *words)
    assert ran.code == code, ran.err
    assert said in ran.err
    assert len(ran.err.strip().splitlines()) == 1
    assert lines(draft)["TEE-BLK-L"]["open_packs"] == 20

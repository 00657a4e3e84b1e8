"""Certificates, cautions and the manual on the command line."""

from __future__ import annotations

import pytest

from stock.shop.cautions import CAUTIONS, DEFERS
from stock.shop.manual import pages


def test_an_orders_certificates_are_those_of_the_lots_it_was_printed_from(stocked):
    words = ("certificates", "--item", "TEE-BLK-L", "--lot", "L-1", "--certificate", "CERT-7")
    assert stocked(*words, "--expires", "2026-06-30", "--on", "2026-03-02").code == 0
    assert stocked("certificates", "A1", "--on", "2026-03-02", "--json").json() == []
    stocked("print", "--order", "A1", "--line", "1", "--good", "5", "--on", "2026-03-03")
    found = {
        row["item"]: row
        for row in stocked("certificates", "A1", "--on", "2026-03-03", "--json").json()
    }
    assert set(found) == {"INK-C", "INK-M", "INK-Y", "INK-K", "INK-W", "PT", "TEE-BLK-L"}
    tee = found["TEE-BLK-L"]
    assert (tee["lot"], tee["certificate"], tee["certificate_expiry"], tee["days"]) == (
        *("L-1", "CERT-7"),
        *("2026-06-30", 119),
    )
    assert found["INK-W"]["certificate"] is None


def test_papers_given_on_arrival_are_kept_with_the_lot(stocked):
    words = ("receive", "--item", "TEE-BLK-L", "--packs", "5", "--lot", "L-2")
    papers = ("--certificate", "CERT-8", "--certificate-expires", "30.04.2026")
    ran = stocked(*words, *papers, "--data-sheet", "SDS-3", "--on", "2026-03-02")
    assert ran.code == 0, ran.err
    [row] = stocked("certificates", "--on", "2026-03-02", "--json").json()
    assert (row["lot"], row["certificate"], row["days"], row["data_sheet"]) == (
        *("L-2", "CERT-8"),
        *(59, "SDS-3"),
    )


def test_papers_in_a_delivery_file_are_kept_with_the_lot(stocked, tmp_path):
    path = tmp_path / "deliveries.csv"
    path.write_text(
        "delivery,sku,packs,lot,expires,received_on,certificate,certificate_expires,data_sheet\n"
        "D1,TEE-BLK-L,5,L-3,,2026-03-02,CERT-9,2026-05-31,SDS-4\n"
    )
    assert stocked("import", "deliveries", str(path), "--on", "2026-03-02").code == 0
    [row] = stocked("certificates", "--within", "120d", "--on", "2026-03-02", "--json").json()
    assert (row["lot"], row["certificate_expiry"], row["data_sheet"]) == (
        *("L-3", "2026-05-31"),
        "SDS-4",
    )


def test_only_certificates_that_expire_in_time_are_listed_and_ask_for_attention(stocked):
    words = ("certificates", "--item", "PT", "--lot", "L-1", "--certificate", "C")
    assert stocked(*words, "--expires", "2026-06-30", "--on", "2026-03-02").code == 0
    near = ("certificates", "--within", "60d", "--fail-if-any")
    assert stocked(*near, "--on", "2026-03-02").code == 0
    assert stocked(*near, "--on", "2026-06-01").code == 4
    assert stocked(*near, "--on", "2026-07-15", "--json").json()[0]["days"] == -15


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("certificates", "A404"), 1, "There is no order 'A404'"),
        (("certificates", "--item", "PT"), 2, "both --item and --lot"),
        (("certificates", "--item", "PT", "--lot", "L-9", "--certificate", "C"), 1, "L-9"),
        (("certificates", "--item", "PT", "--lot", "L-1"), 1, "Say which certificate"),
        (("cautions", "bees"), 2, "expected one of hot press"),
        (("guide", "notebok"), 1, "Did you mean notebook"),
    ],
)
def test_what_is_not_there_is_said_in_one_sentence(stocked, words, code, said):
    ran = stocked(*words)
    assert ran.code == code
    assert said in ran.err


def test_every_caution_names_its_source_its_date_and_whom_it_defers_to(run):
    told = run("cautions", "--json").json()
    assert len(told) == len(CAUTIONS) > 5
    for one in told:
        assert one["source"]
        assert one["source_date"]
        assert one["defers_to"] == DEFERS
    assert DEFERS in run("cautions", "waste").out


def test_the_guide_is_read_without_a_book_or_a_checkout(run):
    listed = run("guide").out
    for page in pages():
        assert page.title
        assert page.topic in listed
    assert run("guide", "notebook").out.startswith("# In a notebook")

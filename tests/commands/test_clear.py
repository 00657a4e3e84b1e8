"""``stock clear``: verdicts from the book, customers' garments included."""

from __future__ import annotations

import pytest

from tests.commands.trading import TODAY

ON = ("--on", TODAY.isoformat())


def import_orders(run, tmp_path, *rows: str) -> None:
    path = tmp_path / "more.csv"
    header = "order,line,stage,placed_on,due_on,blank,quantity,owner"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    assert run("import", "orders", str(path), *ON).code == 0


def test_a_job_short_of_garments_is_short_and_says_of_what(traded):
    found = traded("clear", "--days", "5", "--json", *ON).json()
    (job,) = found["jobs"]
    assert (job["order"], job["on"], job["verdict"]) == ("OPEN1", "2026-06-26", "short")
    (lack,) = job["missing"]
    assert (lack["item"], lack["here"], lack["chance"]) == ("TEE-BLK-L", 24.0, 1.0)
    assert 30 <= lack["needed"] < 34
    assert found["better_order"] is None


def test_a_quote_is_no_job(traded):
    assert [job["order"] for job in traded("clear", "--json", *ON).json()["jobs"]] == ["OPEN1"]


def test_a_delivery_clears_the_job(traded):
    words = ("receive", "--item", "TEE-BLK-L", "--packs", "30", "--lot", "N", *ON)
    assert traded(*words).code == 0
    assert traded("clear", "--json", *ON).json()["jobs"][0]["verdict"] == "clear"
    assert traded("clear", "--fail-if-short", *ON).code == 0


def test_a_job_that_fits_goes_before_one_that_does_not(traded, tmp_path):
    import_orders(traded, tmp_path, f"SMALL,1,released,{TODAY},2026-06-26,TEE-BLK-L,10,")
    found = traded("clear", "--json", *ON).json()
    assert [(one["order"], one["line"]) for one in found["better_order"]] == [
        ("SMALL", 1),
        ("OPEN1", 1),
    ]


def test_customers_garments_count_for_their_own_job_only(traded, tmp_path):
    import_orders(
        traded,
        tmp_path,
        f"C1,1,released,{TODAY},2026-06-23,TEE-BLK-L,5,C-7",
        f"C2,1,released,{TODAY},2026-06-24,TEE-BLK-L,5,C-7",
    )
    words = ("receive", "--item", "TEE-BLK-L", "--packs", "6", "--lot", "OWN", "--owner", "C-7")
    assert traded(*words, *ON).code == 0
    jobs = {job["order"]: job for job in traded("clear", "--json", *ON).json()["jobs"]}
    assert jobs["C1"]["verdict"] == "clear"
    assert jobs["C2"]["verdict"] == "short"
    assert "C-7's own TEE-BLK-L: 1 of 5 have been received." in jobs["C2"]["notes"]


def test_shortness_may_be_an_exit_code(traded):
    ran = traded("clear", "--fail-if-short", *ON)
    assert ran.code == 4
    assert "TEE-BLK-L: 24 of 3" in ran.out


@pytest.mark.parametrize("days", ["0", "61"])
def test_days_out_of_reach_are_refused(traded, days):
    ran = traded("clear", "--days", days)
    assert (ran.code, "1 to 60 days" in ran.err) == (2, True)

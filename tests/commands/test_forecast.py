"""``stock needs`` and ``stock forecast``: from orders, from the book's past, from any CSV."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.commands.trading import FIRST, TODAY

ON = ("--on", TODAY.isoformat())


def test_need_is_split_by_where_it_comes_from(traded):
    found = traded("needs", "--weeks", "3", "--json", *ON).json()
    assert found["weeks"] == ["2026-06-22", "2026-06-29", "2026-07-06"]
    rows = {row["item"]: row for row in found["items"]}
    tee = rows["TEE-BLK-L"]
    assert tee["firm"][0] == pytest.approx(30 * 1.03, rel=0.05)  # misprints of the shop's record
    assert tee["firm"][1:] == [0.0, 0.0]
    assert sum(tee["unbooked"]) > 0
    for row in found["items"]:
        parts = [
            sum(week)
            for week in zip(row["firm"], row["quotes"], row["unbooked"], row["upkeep"], strict=True)
        ]
        assert row["total"] == pytest.approx(parts)
    white = rows["TEE-WHT-L"]
    assert 0 < sum(white["quotes"]) < 80
    assert white["total_p90"] >= sum(white["total"])


def test_the_need_of_one_order_is_what_it_still_takes(traded):
    found = traded("needs", "OPEN1", "--json", *ON).json()
    assert found["order"] == "OPEN1"
    (tee,) = found["items"]
    assert tee["item"] == "TEE-BLK-L"
    assert 30 < tee["amount"] < 33
    assert tee["here"] == 24
    ran = traded("needs", "OPEN9", *ON)
    assert (ran.code, "Did you mean OPEN1?" in ran.err) == (1, True)


def test_a_forecast_from_the_book_has_the_contracts_keys(traded):
    rows = traded("forecast", "--weeks", "4", "--quantiles", ".5,.9", "--json", *ON).json()
    tee = next(row for row in rows if row["item"] == "TEE-BLK-L")
    assert set(tee) == {"item", "class", "model", "weekly", "total"}
    assert len(tee["weekly"]) == 4
    # 20 to 24 pieces and one misprint every week
    assert tee["total"]["mean"] == pytest.approx(4 * 23, rel=0.1)
    assert tee["total"]["quantiles"]["0.5"] <= tee["total"]["quantiles"]["0.9"]
    assert tee["class"] == "smooth"


def test_a_csv_of_the_books_own_past_gives_the_books_forecast(traded, tmp_path):
    lines = ["unique_id,ds,y"]
    for week in range(16):
        monday = FIRST + timedelta(weeks=week)
        lines.append(f"TEE-BLK-L,{monday},{20 + week % 5 + 1}")
        lines.append(f"TEE-WHT-L,{monday},7")
    path = tmp_path / "past.csv"
    path.write_text("\n".join(lines) + "\n")
    words = ("forecast", "--weeks", "4", "--quantiles", ".5,.9", "--json")
    assert traded(*words, "--history", str(path)).json() == traded(*words, *ON).json()


def test_a_style_that_replaces_another_is_forecast_with_its_past(traded, tmp_path):
    before = traded("forecast", "--weeks", "4", "--json", *ON).json()
    (tmp_path / "new.csv").write_text(
        "sku,kind,style,colour,size,shade,replaces\nTEE2-BLK-L,blank,TEE2,BLK,L,dark,TEE-BLK-L\n"
    )
    assert traded("import", "items", str(tmp_path / "new.csv")).code == 0
    after = traded("forecast", "--weeks", "4", "--json", *ON).json()
    assert [row["item"] for row in after] == ["TEE-WHT-L", "TEE2-BLK-L"]
    known = {row["item"]: row["total"]["mean"] for row in before}
    assert after[1]["total"]["mean"] == pytest.approx(known["TEE-BLK-L"])
    needs = traded("needs", "--json", *ON).json()["items"]
    assert sum(next(one["unbooked"] for one in needs if one["item"] == "TEE2-BLK-L")) > 0


def test_a_table_for_people_names_the_levels(traded):
    ran = traded("forecast", "--weeks", "2", "--quantiles", ".8,.99", *ON)
    assert "0.8" in ran.out.splitlines()[1]
    assert "0.99" in ran.out.splitlines()[1]


def test_kept_forecasts_are_scored_when_their_weeks_are_over(traded):
    for week in range(4):
        on = (TODAY - timedelta(weeks=8 - week)).isoformat()
        assert traded("forecast", "--keep", "--json", "--on", on).json()["kept"] > 0
        assert traded("forecast", "--keep", "--json", "--on", on).json()["kept"] == 0
    record = traded("forecast", "--accuracy", "--json", *ON).json()
    by_weeks = {one["weeks"]: one for one in record["horizons"]}
    assert set(by_weeks) == {2, 4}
    scored = by_weeks[2]["scores"][-1]
    assert (scored["class"], scored["rounds"]) == ("all", 4)
    assert abs(scored["bias"]) < 0.25
    ran = traded("forecast", "--accuracy", *ON)
    assert "share that stayed within each mark" in ran.out


def test_the_truth_of_a_kept_forecast_is_what_was_really_used(traded):
    import os

    from stock.shop import open_book
    from stock.shop.forecast_log import lost_between

    book = open_book(os.environ["STOCK_BOOK"])
    with book.reading() as connection:
        lost = lost_between(connection, FIRST, FIRST + timedelta(days=13))
    # weeks 0 and 1: 20 + 21 good and 6 + 6, one misprint in each of the four runs
    assert lost == {"TEE-BLK-L": 43.0, "TEE-WHT-L": 14.0}


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("needs", "--weeks", "0"), 2, "1 to 52"),
        (("forecast", "--weeks", "0"), 2, "1 to 52"),
        (("forecast", "--quantiles", "often"), 2, "between 0 and 1"),
        (("forecast", "--quantiles", "1.2"), 2, "between 0 and 1"),
        (("forecast", "--history", "gone.csv"), 1, "no such file"),
        (("forecast", "--history", "x.csv", "--accuracy"), 2, "work on the book"),
        (("forecast", "--engine", "abacus"), 2, "abacus"),
    ],
)
def test_wrong_calls_are_one_sentence(traded, words, code, said):
    ran = traded(*words)
    assert ran.code == code, ran.err
    assert said in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_a_book_without_prints_says_that_nothing_can_be_forecast(shop):
    ran = shop("forecast", "--on", "2026-03-02")
    assert ran.code == 1
    assert "no complete week of prints" in ran.err


def test_faults_in_a_table_come_with_their_lines(run, tmp_path):
    path = tmp_path / "bad.csv"
    path.write_text("unique_id,ds,y\nA,2026-01-05,3\nA,2026-01-12,-4\nA,12/01/2026,5\n")
    ran = run("forecast", "--history", str(path))
    assert ran.code == 1
    assert "line 3, y" in ran.err
    assert "line 4, ds" in ran.err


def test_the_weekly_run_keeps_what_was_believed(traded):
    traded("week", *ON)
    assert traded("forecast", "--accuracy", "--json", *ON).json()["waiting"] > 0
    assert traded("forecast", "--keep", "--json", *ON).json()["kept"] == 0

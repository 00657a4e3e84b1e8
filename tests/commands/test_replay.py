"""``stock replay``: policies over a table of series and over the book's own past."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.commands.trading import TODAY

MONDAY = date(2025, 1, 6)


@pytest.fixture
def table(tmp_path):
    """A table of two steady weekly series over 40 weeks."""
    lines = ["unique_id,ds,y"]
    for week in range(40):
        day = MONDAY + timedelta(weeks=week)
        lines += [f"A,{day},{50 + 5 * (week % 3)}", f"B,{day},{10 + week % 4}"]
    path = tmp_path / "past.csv"
    path.write_text("\n".join(lines) + "\n")
    return str(path)


def replay_json(run, *words: str) -> dict:
    return run("replay", "--json", *words).json()


def test_nobody_does_better_than_the_clairvoyant(run, table):
    found = replay_json(run, "--history", table, "--lead-days", "7,9,14")
    costs = {one["policy"]: one["cost"] for one in found["policies"]}
    bound = next(one for one in found["policies"] if one["bound"])
    assert len(costs) == 7
    assert all(bound["cost"] <= cost + 0.01 for cost in costs.values())
    assert [one["cost"] for one in found["policies"]] == sorted(costs.values())


def test_costs_add_up_from_what_was_counted(run, table):
    words = ("--history", table, "--lead-days", "7", "--unit-value", "20", "--order-cost", "3")
    found = replay_json(run, *words)
    assert found["items"] == 2
    for one in found["policies"]:
        parts = one["holding"] + one["ordering"] + one["shortage"] + one["outdating"]
        assert one["cost"] == pytest.approx(parts, abs=0.05)
        assert one["ordering"] == pytest.approx(3 * one["orders"], abs=0.01)
        if not one["bound"]:
            # holding is 0.4 % of the mean value on the shelf, week by week
            expected = 0.004 * one["mean_stock_value"] * found["weeks"]
            assert one["holding"] == pytest.approx(expected, rel=1e-3)


def test_the_weekly_list_meets_steady_need(run, table):
    found = replay_json(run, "--history", table, "--lead-days", "7")
    ours = next(one for one in found["policies"] if one["policy"] == "the weekly list")
    assert ours["fill_rate"] > 0.99


def test_the_weeks_replayed_can_be_chosen(run, table):
    found = replay_json(
        *(run, "--history", table, "--lead-days", "7", "--from", "2025-06-04"),
        *("--to", "2025-07-20"),
    )
    assert (found["from"], found["weeks"]) == ("2025-06-02", 7)
    assert any("7 weeks are few" in note for note in found["notes"])


def test_the_same_replay_gives_the_same_answer(run, table):
    words = ("replay", "--json", "--history", table, "--lead-days", "7,9,14")
    assert run(*words).out == run(*words).out


def test_the_books_own_past_is_replayed_with_what_was_really_used(traded):
    found = replay_json(traded, "--from", "2026-05-04", "--on", TODAY.isoformat())
    assert (found["from"], found["weeks"], found["items"]) == ("2026-05-04", 7, 2)
    assert any("packs, minimums and price breaks play no part" in note for note in found["notes"])
    rules = [one for one in found["policies"] if not one["bound"]]
    assert all(0 < one["fill_rate"] <= 1 for one in rules)


def test_the_books_loss_by_day_is_what_was_printed(traded):
    import os

    from stock.shop import open_book
    from stock.shop.replaying import past_of_book

    book = open_book(os.environ["STOCK_BOOK"])
    past, _ = past_of_book(book, TODAY, date(2026, 5, 4), None)
    black = past.items.index("TEE-BLK-L")
    weeks = range(9, 16)
    assert past.weekly()[black].tolist() == [20 + week % 5 + 1 for week in weeks]
    assert past.before[black].tolist() == [20 + week % 5 + 1 for week in range(9)]
    thursday = past.need[black].reshape(-1, 7)[:, 3]
    assert thursday.tolist() == past.weekly()[black].tolist()


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--lead-days", "7"), 2, "goes with --history"),
        (("--history", "past.csv"), 2, "needs --lead-days"),
        (("--history", "past.csv", "--lead-days", "soon"), 2, "expected calendar days"),
        (("--history", "gone.csv", "--lead-days", "7"), 1, "no such file"),
        (("--from", "sometime"), 2, "--from"),
    ],
)
def test_wrong_calls_are_one_sentence(traded, words, code, said):
    ran = traded("replay", *words)
    assert ran.code == code, ran.err
    assert said in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_too_short_a_past_is_refused(run, table, traded):
    ran = run("replay", "--history", table, "--lead-days", "7", "--from", "2025-01-20")
    assert ran.code == 1
    assert "2 weeks before 2025-01-20" in ran.err
    early = traded("replay", "--on", "2026-03-04")
    assert early.code == 1
    assert "nothing to replay" in early.err

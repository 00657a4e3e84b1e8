"""Forecasts kept as given and scored later; the truth is what the raw tables add up to."""

from __future__ import annotations

from datetime import timedelta

import pandas as pd
import pytest
from sqlalchemy import insert

from stock.book.opening import Book
from stock.book.tables import forecast_log, item
from stock.shop.forecast_log import accuracy_record, keep_needs, lost_between
from stock.shop.snapshot.daily import daily_loss
from tests.book.builders import MONDAY, the_id
from tests.book.test_snapshot_history import ITEMS, a_random_past, a_shop, frames

AFTER = MONDAY + timedelta(days=141)


def lost_by_pandas(book: Book) -> pd.Series:
    """Loss by (sku, day) by pandas joins alone; the random past has no ink corrections."""
    raw = frames(book)
    entries = raw["entry"].rename(columns={"id": "entry_id"})[["entry_id", "kind", "day"]]
    undone = set(raw["entry"]["reverses"].dropna().astype(int))
    items = raw["item"].set_index("id")
    moved = raw["movement"].drop(columns="day").merge(entries, on="entry_id")
    moved["place"] = moved["to_place_id"].map(raw["place"].set_index("id")["kind"])
    moved["owner"] = moved["lot_id"].map(raw["lot"].set_index("id")["owner"])
    spent = moved["place"].isin(["printed", "upkeep"]) | (
        (moved["kind"] == "print") & (moved["place"] == "waste")
    )
    used = moved[spent & (moved["owner"] == "")][["entry_id", "item_id", "day", "amount"]]
    runs = raw["print_run"].merge(raw["order_line"], left_on="order_line_id", right_on="id")
    brought = set(runs.loc[runs["owner"] != "", "entry_id"])
    over = raw["overrun"].merge(entries, on="entry_id")
    over["amount"] = over["asked"] - over["taken"]
    kind = over["item_id"].map(items["kind"])
    over = over[(kind != "ink") & ~((kind == "blank") & over["entry_id"].isin(brought))]
    both = pd.concat([used, over[["entry_id", "item_id", "day", "amount"]]])
    both = both[~both["entry_id"].isin(undone)]
    both["sku"] = both["item_id"].map(items["sku"])
    return both.groupby(["sku", "day"])["amount"].sum() / 1000


def test_the_daily_loss_is_what_pandas_adds_up(book: Book) -> None:
    a_shop(book)
    a_random_past(book, 11)
    expected = lost_by_pandas(book)
    with book.reading() as connection:
        found = daily_loss(connection, MONDAY, AFTER)
        early = lost_between(connection, MONDAY, MONDAY + timedelta(days=20))
    by_day = {
        (sku, MONDAY + timedelta(days=day)): amount
        for sku, amounts in found.items()
        for day, amount in enumerate(amounts)
        if amount
    }
    assert by_day == pytest.approx(expected.to_dict())
    until = MONDAY + timedelta(days=20)
    first = expected[expected.index.get_level_values("day") <= until].groupby("sku").sum()
    assert early == pytest.approx(first.to_dict())


def test_what_was_kept_stays_as_it_was_given(book: Book) -> None:
    a_shop(book)
    a_random_past(book, 4)
    on = MONDAY + timedelta(days=84)
    assert keep_needs(book, on) == 2 * len(ITEMS)
    assert keep_needs(book, on) == 0
    record = accuracy_record(book, on)
    assert (record.waiting, record.scores) == (2 * len(ITEMS), {})


def test_a_forecast_is_scored_against_what_was_really_lost(book: Book) -> None:
    a_shop(book)
    a_random_past(book, 4)
    start = MONDAY + timedelta(days=98)
    with book.reading() as connection:
        truth = lost_between(connection, start, start + timedelta(days=13))["TEE-M"]

    def given(mean: float, marks: list[float]) -> None:
        book.write(
            lambda connection: connection.execute(
                insert(forecast_log).values(
                    made_on=start,
                    item_id=the_id(book, item, sku="TEE-M"),
                    horizon_weeks=2,
                    model="by hand",
                    quantiles={
                        "class": "smooth",
                        "mean": mean,
                        "levels": [0.5, 0.9],
                        "values": marks,
                    },
                )
            )
        )

    given(truth * 1.25, [truth - 1, truth + 1])
    record = accuracy_record(book, AFTER)
    (row, whole) = record.scores[2]
    assert (row.kind, whole.kind, row.cases) == ("smooth", "all", 1)
    assert row.bias == pytest.approx(0.25)
    assert row.at_most.tolist() == [0.0, 1.0]
    # pinball loss, Koenker and Bassett (1978): tau (y − q) above the mark, (1 − tau) (q − y) below
    assert row.pinball.tolist() == pytest.approx([0.5 * 1 / truth, 0.1 * 1 / truth])


def test_weeks_not_over_yet_wait(book: Book) -> None:
    a_shop(book)
    a_random_past(book, 4)
    on = MONDAY + timedelta(days=112)
    keep_needs(book, on)
    half = accuracy_record(book, on + timedelta(days=15))
    assert set(half.scores) == {2}
    assert half.waiting == len(ITEMS)

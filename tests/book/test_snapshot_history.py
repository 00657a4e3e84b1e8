"""Weekly use in the snapshot against sums made with pandas from the raw tables."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from sqlalchemy import select

from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import (
    customer_order,
    entry,
    item,
    lot,
    movement,
    order_line,
    overrun,
    place,
    print_run,
)
from stock.shop.snapshot.demand import history_of, misprints_of
from tests.book.builders import MONDAY, a_lot, a_printer, a_row, an_item, the_id

ITEMS = {"TEE-L": "blank", "TEE-M": "blank", "INK-W": "ink", "WIPER": "supply"}


def a_shop(book: Book) -> None:
    """Four items with plenty on the shelf, a customer's garments, one printer."""
    for sku, kind in ITEMS.items():
        unit = "mL" if kind == "ink" else "each"
        an_item(book, sku, kind=kind, unit=unit)
        a_lot(book, sku, "OURS", 1e6, expires=None, on=MONDAY - timedelta(days=3))
    a_lot(book, "TEE-L", "THEIRS", 1e5, expires=None, on=MONDAY, owner="C-1")
    a_printer(book, "P1")


def an_order(book: Book, ref: str, *, one_off: bool = False, owner: str = "") -> int:
    """An order of one line; returns the line's id."""
    order_id = a_row(
        book, customer_order, ref=ref, stage="released", placed_on=MONDAY, one_off=one_off
    )
    return a_row(
        book,
        order_line,
        order_id=order_id,
        line=1,
        blank_id=the_id(book, item, sku="TEE-L"),
        quantity=1000,
        due_on=MONDAY + timedelta(days=30),
        owner=owner,
    )


def a_use(
    posting: Posting,
    kind: str,
    on: date,
    sku: str,
    pieces: float,
    *,
    to: str = "PRINTED",
    lot_code: str = "OURS",
    line: int | None = None,
    missed: float = 0.0,
) -> int:
    """So much of an item leaves the shelf in an entry of this kind; returns the entry."""
    connection = posting.connection
    item_id = connection.execute(select(item.c.id).where(item.c.sku == sku)).scalar_one()
    lot_id = connection.execute(
        select(lot.c.id).where(lot.c.item_id == item_id, lot.c.code == lot_code)
    ).scalar_one()
    entry_id = posting.entry(kind, on)
    posting.hold([item_id])
    amount = round(pieces * 1000)
    posting.move(entry_id, on, item_id, lot_id, amount, posting.place("SHELF"), posting.place(to))
    if kind == "print":
        posting.add(
            print_run,
            entry_id=entry_id,
            order_line_id=line,
            printer_id=1,
            good=1,
            misprints=0,
            w_cm2=pieces * 7.0,
        )
    if missed:
        posting.add(
            overrun,
            entry_id=entry_id,
            item_id=item_id,
            place_id=posting.place("SHELF").id,
            asked=amount + round(missed * 1000),
            taken=amount,
        )
    return entry_id


def a_random_past(book: Book, seed: int) -> None:
    """Twenty weeks of prints, upkeep, overruns, one-offs, customers' goods and undone entries."""
    draws = np.random.default_rng(seed)
    plain, odd, theirs = (
        an_order(book, "A-1"),
        an_order(book, "A-2", one_off=True),
        an_order(book, "A-3", owner="C-1"),
    )

    def work(posting: Posting) -> list[int]:
        entries = []
        for _ in range(150):
            on = MONDAY + timedelta(days=int(draws.integers(0, 140)))
            sku = str(draws.choice(list(ITEMS)))
            pieces = float(draws.integers(1, 40))
            if sku == "WIPER":
                entries.append(a_use(posting, "maintain", on, sku, pieces, to="UPKEEP"))
            elif sku == "INK-W" and draws.random() < 0.3:
                entries.append(a_use(posting, "upkeep", on, sku, pieces, to="UPKEEP"))
            else:
                which = int(draws.integers(0, 4))
                line, code = ((plain, "OURS"), (odd, "OURS"), (theirs, "THEIRS"), (None, "OURS"))[
                    which
                ]
                if code == "THEIRS":
                    sku = "TEE-L"
                missed = float(draws.integers(0, 3)) if draws.random() < 0.2 else 0.0
                to = "WASTE" if draws.random() < 0.1 else "PRINTED"
                entries.append(
                    a_use(
                        posting,
                        "print",
                        on,
                        sku,
                        pieces,
                        to=to,
                        lot_code=code,
                        line=line,
                        missed=missed,
                    )
                )
        return entries

    post(book, work, who="test")
    with book.reading() as connection:
        ids = list(connection.scalars(select(entry.c.id).where(entry.c.kind == "print")))

    def undo_some(posting: Posting) -> None:
        from stock.book.undo import undo

        for entry_id in draws.choice(ids, 6, replace=False):
            undo(posting, int(entry_id), MONDAY + timedelta(days=150))

    post(book, undo_some, who="test")


def frames(book: Book) -> dict[str, pd.DataFrame]:
    """The raw tables."""
    tables = (movement, entry, place, item, lot, print_run, order_line, customer_order, overrun)
    with book.reading() as connection:
        return {
            table.name: pd.DataFrame(connection.execute(select(table)).mappings().all())
            for table in tables
        }


def use_by_week(book: Book) -> pd.DataFrame:
    """What the shop used per item and ISO week, by pandas joins alone."""
    raw = frames(book)
    entries = raw["entry"].rename(columns={"id": "entry_id"})[["entry_id", "kind", "day"]]
    undone = set(raw["entry"]["reverses"].dropna().astype(int))
    runs = (
        raw["print_run"]
        .merge(raw["order_line"], left_on="order_line_id", right_on="id", how="left")
        .merge(raw["customer_order"], left_on="order_id", right_on="id", how="left")
    )
    runs["once"] = runs["one_off"].map(lambda said: said is True or said == 1)
    runs["brought"] = runs["owner"].map(lambda named: isinstance(named, str) and named != "")
    once = set(runs.loc[runs["once"], "entry_id"])
    brought = set(runs.loc[runs["brought"], "entry_id"])
    items = raw["item"].set_index("id")
    moved = raw["movement"].drop(columns="day").merge(entries, on="entry_id")
    moved["place"] = moved["to_place_id"].map(raw["place"].set_index("id")["kind"])
    moved["owner"] = moved["lot_id"].map(raw["lot"].set_index("id")["owner"])
    moved["item_kind"] = moved["item_id"].map(items["kind"])
    printed = (moved["kind"] == "print") & moved["place"].isin(["printed", "waste"])
    served = (moved["item_kind"] == "supply") & (moved["place"] == "upkeep")
    used = moved[(printed | served) & (moved["owner"] == "")][
        ["entry_id", "item_id", "day", "amount"]
    ]
    over = raw["overrun"].merge(entries, on="entry_id")
    over["amount"] = over["asked"] - over["taken"]
    blank = over["item_id"].map(items["kind"]) == "blank"
    over = over[~(blank & over["entry_id"].isin(brought))]
    everything = pd.concat([used, over[["entry_id", "item_id", "day", "amount"]]])
    everything = everything[~everything["entry_id"].isin(undone | once)]
    everything["sku"] = everything["item_id"].map(items["sku"])
    calendar = pd.to_datetime(everything["day"]).dt.isocalendar()
    everything["week"] = calendar["year"].astype(str) + "-" + calendar["week"].astype(str)
    return everything.groupby(["sku", "week"])["amount"].sum() / 1000


@pytest.mark.parametrize("seed", [3, 17])
def test_weekly_use_is_what_pandas_adds_up(book: Book, seed: int) -> None:
    a_shop(book)
    a_random_past(book, seed)
    expected = use_by_week(book)
    with book.reading() as connection:
        history = history_of(connection, MONDAY + timedelta(days=141))
    labels = [
        f"{day.isocalendar().year}-{day.isocalendar().week}"
        for day in history.mondays.astype(object)
    ]
    assert len(labels) == 20
    found = {
        (key, label): value
        for key in ITEMS
        for label, value in zip(labels, history.values[history.row(key)], strict=True)
        if value
    }
    assert found == pytest.approx(expected.to_dict())


def test_driver_series_are_the_runs_areas(book: Book) -> None:
    a_shop(book)
    a_random_past(book, 5)
    raw = frames(book)
    undone = set(raw["entry"]["reverses"].dropna().astype(int))
    runs = raw["print_run"].merge(
        raw["order_line"], left_on="order_line_id", right_on="id", how="left"
    )
    runs = runs.merge(raw["customer_order"], left_on="order_id", right_on="id", how="left")
    runs = runs[~runs["one_off"].map(lambda said: said is True or said == 1)]
    runs = runs[~runs["entry_id"].isin(undone)]
    with book.reading() as connection:
        history = history_of(connection, MONDAY + timedelta(days=141))
    white = history.values[history.row("cm2:W:P1")]
    assert np.nansum(white) == pytest.approx(runs["w_cm2"].sum())
    assert np.nansum(history.values[history.row("prints:P1")]) == len(runs)


def test_the_running_week_and_what_came_later_are_left_out(book: Book) -> None:
    a_shop(book)
    days = [MONDAY, MONDAY + timedelta(days=6), MONDAY + timedelta(days=7)]
    post(
        book,
        lambda posting: [a_use(posting, "print", day, "TEE-L", 4) for day in days],
        who="test",
    )
    with book.reading() as connection:
        history = history_of(connection, MONDAY + timedelta(days=8))
    assert history.values[history.row("TEE-L")].tolist() == [8.0]
    assert history.mondays.tolist() == [MONDAY]


def test_weeks_before_an_item_came_are_unknown_not_zero(book: Book) -> None:
    a_shop(book)
    an_item(book, "TEE-S", kind="blank", unit="each")
    a_lot(book, "TEE-S", "OURS", 100, expires=None, on=MONDAY + timedelta(days=15))
    uses: list[tuple[int, str]] = [(0, "TEE-L"), (16, "TEE-S"), (22, "TEE-L")]
    post(
        book,
        lambda posting: [
            a_use(posting, "print", MONDAY + timedelta(days=after), sku, 5) for after, sku in uses
        ],
        who="test",
    )
    with book.reading() as connection:
        history = history_of(connection, MONDAY + timedelta(days=28))
    fresh = history.values[history.row("TEE-S")]
    assert np.isnan(fresh).tolist() == [True, True, False, False]
    assert fresh[2:].tolist() == [5.0, 0.0]


@pytest.fixture
def waiting(book: Book) -> Callable[..., np.ndarray]:
    """A line due in week 1 and printed in week 3; which weeks of the garment count as short."""

    def look(*, left_over: float, owner: str = "") -> np.ndarray:
        an_item(book, "TEE-L", kind="blank", unit="each")
        a_printer(book, "P1")
        a_lot(book, "TEE-L", "OURS", 10 + left_over, expires=None, on=MONDAY)
        line = an_order(book, "A-1", owner=owner)
        book.write(
            lambda connection: connection.execute(
                order_line.update().values(due_on=MONDAY + timedelta(days=9))
            )
        )
        post(book, lambda p: a_use(p, "print", MONDAY, "TEE-L", 10), who="test")
        a_lot(book, "TEE-L", "OURS", 5, expires=None, on=MONDAY + timedelta(days=21))
        post(
            book,
            lambda p: a_use(p, "print", MONDAY + timedelta(days=22), "TEE-L", 5, line=line),
            who="test",
        )
        with book.reading() as connection:
            history = history_of(connection, MONDAY + timedelta(days=35))
        return history.stocked_out[history.row("TEE-L")]

    return look


def test_a_week_ending_empty_with_a_late_line_is_a_floor(
    waiting: Callable[..., np.ndarray],
) -> None:
    assert waiting(left_over=0).tolist() == [False, True, True, False, False]


def test_a_late_line_beside_full_shelves_is_no_stock_out(
    waiting: Callable[..., np.ndarray],
) -> None:
    assert not waiting(left_over=50).any()


def test_a_line_for_the_customers_own_garment_is_no_stock_out(
    waiting: Callable[..., np.ndarray],
) -> None:
    assert not waiting(left_over=0, owner="C-1").any()


def test_the_misprint_record_counts_what_stands(book: Book) -> None:
    a_shop(book)

    def work(posting: Posting) -> list[int]:
        made = []
        for on, good, bad, where in ((0, 20, 1, "front"), (3, 10, 0, "front"), (9, 5, 2, "back")):
            entry_id = posting.entry("print", MONDAY + timedelta(days=on))
            posting.add(print_run, entry_id=entry_id, good=good, misprints=bad, location=where)
            made.append(entry_id)
        return made

    made = post(book, work, who="test")

    def take_back(posting: Posting) -> None:
        from stock.book.undo import undo

        undo(posting, made[1], MONDAY + timedelta(days=4))

    post(book, take_back, who="test")
    with book.reading() as connection:
        whole = misprints_of(connection)
        early = misprints_of(connection, MONDAY + timedelta(days=8))
    assert [(r.location, r.printed, r.misprints) for r in whole] == [
        ("back", 7.0, 2.0),
        ("front", 21.0, 1.0),
    ]
    assert [(r.location, r.printed, r.misprints) for r in early] == [("front", 21.0, 1.0)]

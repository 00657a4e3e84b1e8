"""Trace forward and back, slots in time, the worth of the stock: on both databases."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.slot_history import slot_at, slot_story
from stock.book.tables import customer_order, item, order_line, print_run
from stock.book.trace import trace_lot, trace_order
from stock.book.valuation import value_stock
from stock.errors import Unknown
from stock.shop.counting import CountRow, count
from stock.shop.customer_goods import receive_garments
from stock.shop.loading import Load, load, post_load, unload
from stock.shop.preparing import Mix, mix
from stock.shop.slots import draw_from_shelf, draw_from_slots, move_draws
from stock.shop.undoing import undo
from tests.book.builders import MONDAY, a_lot, a_pack, a_row, a_slot, an_item, the_id

TUESDAY = date(2026, 3, 3)
FRIDAY = date(2026, 3, 6)


def a_print(
    book: Book,
    order: str,
    ml: float,
    *,
    slot: str = "WT",
    pretreat_g: float = 0,
    on: date = TUESDAY,
    at: datetime | None = None,
) -> int:
    """One run of an order's only line, taking ink from a slot and pretreat from the shelf."""
    line = the_id(book, order_line, order_id=the_id(book, customer_order, ref=order))
    pretreat_id = the_id(book, item, sku="PRE")

    def work(posting: Posting) -> int:
        entry_id = posting.entry("print", on)
        posting.add(print_run, entry_id=entry_id, order_line_id=line, good=10, misprints=1)
        draws = draw_from_slots([posting.place(slot)], posting, round(ml * 1000))
        draws += draw_from_shelf(posting, pretreat_id, round(pretreat_g * 1000), day=on)
        move_draws(posting, entry_id, on, draws, posting.place("PRINTED"))
        return entry_id

    return post(book, work, at=at)


@pytest.fixture
def shop(book: Book) -> Book:
    """Two lots of white for a tank, concentrate for a mix, three orders."""
    an_item(book, channel="W", open_life_days=180)
    an_item(book, "PRE-C", kind="pretreat", unit="g")
    an_item(book, "PRE", kind="pretreat", unit="g", mixed_from="PRE-C", mix_ratio=3.0)
    an_item(book, "TEE", kind="blank", unit="each")
    a_slot(book, "WT", feed="tank")
    a_slot(book, "W1")
    pack = a_pack(book, amount=1000)
    a_lot(book, code="OLD", amount=1000, pack_id=pack, expires=date(2026, 9, 1), cost_minor=10_000)
    a_lot(book, code="NEW", amount=3000, pack_id=pack, certificate="OEKO-1", cost_minor=33_000)
    a_lot(book, "PRE-C", "CONC", 5000, cost_minor=5_000, data_sheet="sds.pdf")
    for ref in ("O1", "O2", "O3"):
        order = a_row(
            book, customer_order, ref=ref, stage="released", placed_on=MONDAY, customer=f"C-{ref}"
        )
        a_row(
            book,
            order_line,
            order_id=order,
            line=1,
            blank_id=the_id(book, item, sku="TEE"),
            quantity=10,
            due_on=FRIDAY,
        )
    return book


def test_a_lot_is_traced_to_every_order_it_touched_with_its_share(shop: Book) -> None:
    load(shop, Load("WT", MONDAY, sku="W-1", lot="OLD"))
    a_print(shop, "O1", 100)
    load(shop, Load("WT", TUESDAY, sku="W-1", lot="NEW"))
    a_print(shop, "O2", 190)
    with shop.reading() as connection:
        old, new = trace_lot(connection, "OLD"), trace_lot(connection, "NEW")
    assert [(t.order, t.amount, round(t.share, 4)) for t in old.touches] == [
        ("O1", 100_000, 1.0),
        ("O2", 90_000, round(900 / 1900, 4)),
    ]
    assert [(t.order, t.amount) for t in new.touches] == [("O2", 100_000)]
    assert new.lots[0].certificate == "OEKO-1"
    assert old.orders == ("O1", "O2")


def test_a_lot_too_thin_for_a_thousandth_is_named_all_the_same(shop: Book) -> None:
    load(shop, Load("WT", MONDAY, sku="W-1", lot="OLD", amount=1))
    load(shop, Load("WT", MONDAY, sku="W-1", lot="NEW"))
    a_print(shop, "O1", 5)
    with shop.reading() as connection:
        (touch,) = trace_lot(connection, "OLD").touches
        back = trace_order(connection, "O1")
    assert (touch.order, touch.amount) == ("O1", 0)
    assert touch.share == pytest.approx(1 / 1_000_001)
    assert {t.lot.lot for t in back.touches} == {"OLD", "NEW"}


def test_a_mix_is_traced_to_its_parents_and_from_them(shop: Book) -> None:
    load(shop, Load("WT", MONDAY, sku="W-1"))
    mix(shop, Mix("PRE", MONDAY, ready=4_000_000, code="MIX"))
    a_print(shop, "O1", 10, pretreat_g=30)
    with shop.reading() as connection:
        forward = trace_lot(connection, "CONC")
        back = trace_order(connection, "O1")
    assert [(t.order, t.by_way_of, t.amount) for t in forward.touches] == [("O1", ("MIX",), 30_000)]
    assert [(t.lot.lot, t.by_way_of) for t in back.touches] == [
        ("MIX", ()),
        ("OLD", ()),
        ("CONC", ("MIX",)),
    ]
    assert {fact.lot: fact.data_sheet for fact in back.lots}["CONC"] == "sds.pdf"


def test_an_undone_print_is_not_traced(shop: Book) -> None:
    load(shop, Load("WT", MONDAY, sku="W-1", lot="OLD"))
    entry_id = a_print(shop, "O1", 100)
    undo(shop, entry_id, on=TUESDAY)
    with shop.reading() as connection:
        assert trace_lot(connection, "OLD").touches == ()
        assert trace_order(connection, "O1").touches == ()


def test_what_is_not_there_cannot_be_traced(shop: Book) -> None:
    with shop.reading() as connection:
        with pytest.raises(Unknown):
            trace_lot(connection, "NOPE")
        with pytest.raises(Unknown):
            trace_order(connection, "NOPE")


def test_what_was_in_a_slot_at_a_moment(shop: Book) -> None:
    zone = ZoneInfo("Europe/Berlin")
    nine = datetime(2026, 3, 3, 9, tzinfo=zone)
    post(shop, lambda p: post_load(p, Load("W1", TUESDAY, sku="W-1", lot="OLD")), at=nine)
    a_print(shop, "O1", 100, slot="W1", at=nine + timedelta(hours=2))
    post(
        shop,
        lambda p: post_load(p, Load("W1", TUESDAY, sku="W-1", lot="NEW", old="waste")),
        at=nine + timedelta(hours=4),
    )

    def seen(hour: int) -> list[tuple[str, float]]:
        with shop.reading() as connection:
            moment = nine.replace(hour=hour)
            return [(one.lot, one.amount / 1000) for one in slot_at(connection, "W1", moment)]

    assert seen(8) == []
    assert seen(10) == [("OLD", 1000.0)]
    assert seen(12) == [("OLD", 900.0)]
    assert seen(14) == [("NEW", 1000.0)]
    with shop.reading() as connection:
        later = slot_at(connection, "W1", datetime(2026, 3, 9, tzinfo=UTC))
        story = slot_story(connection, "W1")
    assert [one.lot for one in later] == ["NEW"]
    assert [(stay.lot, stay.since, stay.until) for stay in story] == [
        ("OLD", TUESDAY, TUESDAY),
        ("NEW", TUESDAY, None),
    ]


def test_an_undone_load_was_never_in_the_slot(shop: Book) -> None:
    done = load(shop, Load("W1", MONDAY, sku="W-1"))
    undo(shop, done.entry or 0, on=MONDAY)
    with shop.reading() as connection:
        assert slot_at(connection, "W1", datetime(2026, 3, 9, tzinfo=UTC)) == []
        assert slot_story(connection, "W1") == []


def test_a_container_that_went_out_and_in_again_has_two_stays(shop: Book) -> None:
    load(shop, Load("W1", MONDAY, sku="W-1", lot="OLD"))
    unload(shop, "W1", on=TUESDAY)
    load(shop, Load("W1", FRIDAY, container="K000001"))
    with shop.reading() as connection:
        story = slot_story(connection, "W1")
    assert [(stay.since, stay.until) for stay in story] == [(MONDAY, TUESDAY), (FRIDAY, None)]


def test_what_is_drawn_takes_the_oldest_cost_first_or_the_average(shop: Book) -> None:
    load(shop, Load("WT", MONDAY, sku="W-1", lot="OLD"))
    load(shop, Load("WT", MONDAY, sku="W-1", lot="NEW"))
    a_print(shop, "O1", 1100)
    with shop.reading() as connection:
        fifo = {line.item: line for line in value_stock(connection, FRIDAY).lines}
        mean = {line.item: line for line in value_stock(connection, FRIDAY, "average").lines}
        before = {line.item: line for line in value_stock(connection, MONDAY).lines}
    # 1000 mL for 100.00 and 3000 mL for 330.00; 1100 mL used.
    assert (fifo["W-1"].used_minor, fifo["W-1"].value_minor) == (11_100, 31_900)
    assert (mean["W-1"].used_minor, mean["W-1"].value_minor) == (11_825, 31_175)
    assert before["W-1"].value_minor == 43_000


def test_a_mix_takes_its_parents_cost_with_it(shop: Book) -> None:
    mix(shop, Mix("PRE", TUESDAY, ready=4_000_000))
    with shop.reading() as connection:
        lines = {line.item: line for line in value_stock(connection, FRIDAY).lines}
    assert lines["PRE-C"].value_minor == 4_000
    assert lines["PRE"].value_minor == 1_000
    assert lines["PRE-C"].used_minor == 0


def test_an_undone_use_leaves_the_value_as_if_it_had_not_been(shop: Book) -> None:
    load(shop, Load("WT", MONDAY, sku="W-1"))
    entry_id = a_print(shop, "O1", 100)
    undo(shop, entry_id, on=FRIDAY)
    with shop.reading() as connection:
        between = value_stock(connection, TUESDAY).total_minor
        after = value_stock(connection, FRIDAY).total_minor
    assert (between, after) == (47_000, 48_000)


def test_a_customers_garments_are_never_valued(shop: Book) -> None:
    receive_garments(shop, "KIT", "TEE", 10, on=MONDAY)
    with shop.reading() as connection:
        assert "TEE" not in {line.item for line in value_stock(connection, FRIDAY).lines}


def test_a_delivery_without_a_cost_is_said_to_have_none(shop: Book) -> None:
    a_lot(shop, "TEE", "T1", 12)
    count(shop, [CountRow("SHELF", "TEE", 14_000)], "found", on=TUESDAY)
    with shop.reading() as connection:
        lines = {line.item: line for line in value_stock(connection, FRIDAY).lines}
    assert (lines["TEE"].value_minor, lines["TEE"].without_cost) == (0, 12_000)

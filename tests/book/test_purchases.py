"""Purchase orders: accepted once, sent, received in parts, re-timed, cancelled."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest
from sqlalchemy import func, select

from stock.book.opening import Book
from stock.book.tables import purchase_line
from stock.errors import Refused, Unknown
from stock.plan.decisions import Decisions, NeedParts, ReorderLine
from stock.shop.accepting import accept_reorder
from stock.shop.purchases import (
    cancel_purchase,
    change_packs,
    list_purchases,
    retime_purchase,
    send_purchase,
    show_purchase,
)
from stock.shop.receive import Delivery, receive
from stock.shop.scorecard import late_lines, scorecard
from tests.book.builders import MONDAY, a_pack, an_item

TUESDAY = MONDAY + timedelta(days=1)
FRIDAY = MONDAY + timedelta(days=4)


def a_line(sku: str = "W-1", packs: int = 4, *, on_order: float = 0.0, supplier: str = "S"):
    """A line of the weekly list, packs of 500."""
    return ReorderLine(
        item=sku,
        supplier=supplier,
        pack=f"{sku}-500",
        packs=packs,
        amount=packs * 500.0,
        unit="mL",
        cost=packs * 10_000.0,
        on_hand_usable=0.0,
        on_order=on_order,
        need=NeedParts(firm=1000.0),
        protection_days=9.0,
        order_up_to=2000.0,
        order_by=MONDAY,
        stockout_chance=0.5,
        expiry_chance=0.0,
        why=("Because.",),
    )


def a_list(*lines: ReorderLine, newest: int = 0) -> Decisions:
    """A weekly list of these lines."""
    return Decisions(MONDAY, "EUR", lines or (a_line(),), (), (), (), (), newest)


@pytest.fixture
def shop(book: Book) -> Book:
    """Two inks of S and one of T, in packs of 500."""
    for sku, code in (("W-1", "S"), ("K-1", "S"), ("C-1", "T")):
        an_item(book, sku)
        a_pack(book, sku, 500, supplier_code=code)
    return book


def test_a_list_becomes_one_draft_per_supplier(shop: Book) -> None:
    done = accept_reorder(shop, a_list(a_line(), a_line("K-1", 2), a_line("C-1", 1, supplier="T")))
    assert done.added == (
        ("P-2026-0001", "W-1", 4),
        ("P-2026-0001", "K-1", 2),
        ("P-2026-0002", "C-1", 1),
    )
    first = show_purchase(shop, "P-2026-0001")
    assert (first.supplier, first.state, first.created_on) == ("S", "draft", MONDAY)
    assert first.cost_minor == 6 * 10_000
    assert {line.item: line.why for line in first.lines}["W-1"] == ("Because.",)


def test_accepting_the_same_list_twice_orders_once(shop: Book) -> None:
    weekly = a_list(a_line(), a_line("K-1", 2))
    accept_reorder(shop, weekly)
    again = accept_reorder(shop, weekly)
    assert again.added == ()
    assert "4 packs were ordered since this list was made (P-2026-0001)" in again.notes[0]
    assert [line.packs for line in show_purchase(shop, "P-2026-0001").lines] == [2, 4]


def test_a_second_buyers_older_list_adds_only_what_is_missing(shop: Book) -> None:
    accept_reorder(shop, a_list(a_line(packs=3)))
    done = accept_reorder(shop, a_list(a_line(packs=5)))
    assert done.added == (("P-2026-0001", "W-1", 2),)
    assert [line.packs for line in show_purchase(shop, "P-2026-0001").lines] == [5]


def test_what_the_list_already_knew_to_be_on_order_is_not_taken_off_again(shop: Book) -> None:
    accept_reorder(shop, a_list(a_line(packs=3)))
    with shop.reading() as connection:
        newest = connection.scalar(select(func.max(purchase_line.c.id)))
    done = accept_reorder(shop, a_list(a_line(packs=2, on_order=1500.0), newest=newest))
    assert done.added == (("P-2026-0001", "W-1", 2),)
    assert [line.packs for line in show_purchase(shop, "P-2026-0001").lines] == [5]


def test_a_stale_list_does_not_order_again_what_has_come_meanwhile(shop: Book) -> None:
    weekly = a_list()
    accept_reorder(shop, weekly)
    send_purchase(shop, "P-2026-0001", on=MONDAY)
    receive(shop, Delivery(TUESDAY, "W-1", packs=4, lot="N", purchase="P-2026-0001"))
    assert accept_reorder(shop, weekly, on=TUESDAY).added == ()


def test_two_stations_accepting_at_once_order_once(shop: Book) -> None:
    weekly = a_list(a_line(), a_line("C-1", 1, supplier="T"))
    failures: list[BaseException] = []

    def accept() -> None:
        try:
            accept_reorder(shop, weekly)
        except BaseException as error:
            failures.append(error)

    stations = [threading.Thread(target=accept) for _ in range(4)]
    for station in stations:
        station.start()
    for station in stations:
        station.join()
    assert failures == []
    orders = list_purchases(shop)
    assert sorted((o.supplier, [line.packs for line in o.lines]) for o in orders) == [
        ("S", [4]),
        ("T", [1]),
    ]


def test_the_buyer_may_choose_other_packs(shop: Book) -> None:
    weekly = a_list(a_line(), a_line("K-1", 2))
    done = accept_reorder(shop, weekly, packs={"W-1": 6, "K-1": 0})
    assert done.added == (("P-2026-0001", "W-1", 6),)
    line = show_purchase(shop, "P-2026-0001").lines[0]
    assert line.why[-1] == "The list said 4 packs; the buyer chose 6."


def test_edited_packs_that_cannot_be_are_refused_whole(shop: Book) -> None:
    with pytest.raises(Refused, match="-1 packs"):
        accept_reorder(shop, a_list(), packs={"W-1": -1})
    with pytest.raises(Unknown, match="line of this list"):
        accept_reorder(shop, a_list(), packs={"Q-1": 1})
    assert list_purchases(shop) == ()


def test_packs_against_the_suppliers_multiple_are_ordered_and_said(book: Book) -> None:
    an_item(book)
    a_pack(book, amount=500, multiple=3, min_packs=6)
    done = accept_reorder(book, a_list(), packs={"W-1": 4})
    assert done.added[0][2] == 4
    assert "multiples of 3, 6 at least; 4 were ordered" in done.notes[0]


def test_a_price_break_sets_the_price_of_the_order(book: Book) -> None:
    an_item(book)
    a_pack(book, amount=500, price_minor=10_000, breaks=[[4, 9_000]])
    accept_reorder(book, a_list(a_line(packs=3)))
    assert show_purchase(book, "P-2026-0001").lines[0].price_minor == 10_000
    change_packs(book, "P-2026-0001", "W-1", 5, on=MONDAY)
    line = show_purchase(book, "P-2026-0001").lines[0]
    assert (line.packs, line.price_minor) == (5, 9_000)


def test_a_sent_order_goes_through_part_received_to_closed(shop: Book) -> None:
    accept_reorder(shop, a_list())
    ref = "P-2026-0001"
    assert send_purchase(shop, ref, on=MONDAY, promised_on=FRIDAY).state == "sent"
    receive(shop, Delivery(TUESDAY, "W-1", packs=1, lot="N1", purchase=ref))
    part = show_purchase(shop, ref)
    assert (part.state, part.lines[0].received_packs, part.lines[0].open_packs) == (
        "part received",
        1,
        3,
    )
    receive(shop, Delivery(FRIDAY, "W-1", packs=3, lot="N2", purchase=ref))
    whole = show_purchase(shop, ref)
    assert (whole.state, whole.closed_on) == ("closed", FRIDAY)
    assert list_purchases(shop) == ()
    assert [order.ref for order in list_purchases(shop, every=True)] == [ref]


def test_a_sent_order_cannot_be_sent_again_or_changed(shop: Book) -> None:
    accept_reorder(shop, a_list())
    send_purchase(shop, "P-2026-0001", on=MONDAY)
    with pytest.raises(Refused, match="is sent, sent on 2026-03-02; only a draft"):
        send_purchase(shop, "P-2026-0001", on=TUESDAY)
    with pytest.raises(Refused, match="only a draft can be changed"):
        change_packs(shop, "P-2026-0001", "W-1", 9, on=TUESDAY)


def test_new_lines_after_sending_open_a_new_draft(shop: Book) -> None:
    accept_reorder(shop, a_list())
    send_purchase(shop, "P-2026-0001", on=MONDAY)
    done = accept_reorder(shop, a_list(a_line("K-1", 2)))
    assert done.added == (("P-2026-0002", "K-1", 2),)


def test_cancelling_the_rest_closes_what_was_part_received(shop: Book) -> None:
    accept_reorder(shop, a_list())
    send_purchase(shop, "P-2026-0001", on=MONDAY)
    receive(shop, Delivery(TUESDAY, "W-1", packs=1, lot="N1", purchase="P-2026-0001"))
    done = cancel_purchase(shop, "P-2026-0001", on=FRIDAY, reason="sold out")
    assert (done.state, done.lines[0].cancelled_packs) == ("closed", 3)
    assert done.lines[0].why[-1] == "2026-03-06: 3 packs cancelled: sold out."


def test_cancelling_all_of_an_order_that_brought_nothing_cancels_it(shop: Book) -> None:
    accept_reorder(shop, a_list(a_line(), a_line("K-1", 2)))
    one = cancel_purchase(shop, "P-2026-0001", on=MONDAY, sku="K-1", packs=1)
    assert one.state == "draft"
    assert {line.item: line.open_packs for line in one.lines} == {"K-1": 1, "W-1": 4}
    assert cancel_purchase(shop, "P-2026-0001", on=MONDAY).state == "cancelled"
    with pytest.raises(Refused, match="nothing to cancel"):
        cancel_purchase(shop, "P-2026-0001", on=MONDAY)


def test_more_packs_than_are_open_cannot_be_cancelled(shop: Book) -> None:
    accept_reorder(shop, a_list())
    with pytest.raises(Refused, match="5 packs of W-1 were to be cancelled, 4 are open"):
        cancel_purchase(shop, "P-2026-0001", on=MONDAY, sku="W-1", packs=5)
    assert show_purchase(shop, "P-2026-0001").lines[0].cancelled_packs == 0


def test_a_cancelled_line_can_be_ordered_again_on_the_same_draft(shop: Book) -> None:
    accept_reorder(shop, a_list(a_line(), a_line("K-1", 2)))
    cancel_purchase(shop, "P-2026-0001", on=MONDAY, sku="W-1")
    with shop.reading() as connection:
        newest = connection.scalar(select(func.max(purchase_line.c.id)))
    done = accept_reorder(shop, a_list(a_line(packs=3), newest=newest))
    line = next(li for li in done.purchases[0].lines if li.item == "W-1")
    assert line.open_packs == 3


def test_a_moved_day_keeps_its_reason(shop: Book) -> None:
    accept_reorder(shop, a_list())
    send_purchase(shop, "P-2026-0001", on=MONDAY, promised_on=TUESDAY)
    done = retime_purchase(shop, "P-2026-0001", FRIDAY, on=TUESDAY, reason="lorry broke down")
    assert (done.promised_on, done.lines[0].promised_on) == (FRIDAY, FRIDAY)
    assert done.lines[0].why[-1] == (
        "2026-03-03: promised day moved from 2026-03-03 to 2026-03-06: lorry broke down"
    )
    with pytest.raises(Refused, match="say why"):
        retime_purchase(shop, "P-2026-0001", FRIDAY, on=TUESDAY, reason=" ")


def test_an_unknown_order_is_named(shop: Book) -> None:
    accept_reorder(shop, a_list())
    with pytest.raises(Unknown, match="Did you mean P-2026-0001"):
        show_purchase(shop, "P-2026-001")


def test_a_line_past_its_promise_is_late_and_timed_anew(shop: Book) -> None:
    accept_reorder(shop, a_list())
    send_purchase(shop, "P-2026-0001", on=MONDAY, promised_on=TUESDAY)
    assert late_lines(shop, TUESDAY) == ()
    late = late_lines(shop, FRIDAY)
    assert [(line.purchase, line.item, line.promised_on) for line in late] == [
        ("P-2026-0001", "W-1", TUESDAY)
    ]
    assert FRIDAY < late[0].expected_on <= late[0].latest_on


def test_a_draft_is_never_late(shop: Book) -> None:
    accept_reorder(shop, a_list())
    assert late_lines(shop, MONDAY + timedelta(days=300)) == ()


def test_the_scorecard_counts_what_came_when_and_whole(shop: Book) -> None:
    for at, (first, last) in enumerate(((4, 4), (2, 4), (4, 4))):
        on = MONDAY + timedelta(days=210 * at)
        with shop.reading() as connection:
            newest = connection.scalar(select(func.max(purchase_line.c.id))) or 0
        ref = accept_reorder(shop, a_list(newest=newest), on=on).purchases[0].ref
        due = on + timedelta(days=4)
        send_purchase(shop, ref, on=on, promised_on=due)
        came = due + timedelta(days=3 if at == 2 else 0)
        receive(shop, Delivery(came, "W-1", packs=first, lot=f"N{at}", purchase=ref))
        if first < last:
            late = came + timedelta(days=1)
            receive(shop, Delivery(late, "W-1", packs=last - first, lot=f"R{at}", purchase=ref))
    score = scorecard(shop, MONDAY + timedelta(days=500), supplier_code="S")[0]
    # order 1 on time and whole, order 2 in two parts and a day late, order 3 three days late
    assert (score.lines, score.on_time, score.in_full) == (3, 0.3333, 0.6667)
    assert score.price_drift == 0.0


def test_a_supplier_without_a_past_has_no_shares(shop: Book) -> None:
    score = scorecard(shop, MONDAY, supplier_code="T")[0]
    assert (score.lines, score.on_time, score.in_full, score.price_drift) == (0, None, None, None)
    assert score.lead_days == pytest.approx(score.stated_days, rel=0.02)

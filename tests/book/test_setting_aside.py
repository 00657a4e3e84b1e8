"""What leaves a shelf without being printed, and what is taken back: on both databases."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import select

from stock.book.check import check_book
from stock.book.opening import Book
from stock.book.tables import (
    container,
    customer_order,
    entry,
    item,
    order_line,
    pack,
    purchase_line,
    purchase_order,
    supplier,
)
from stock.clock import now_utc
from stock.errors import CannotUndo, NotEnough, Refused, Unknown
from stock.shop.choosing import Choice
from stock.shop.customer_goods import receive_garments, return_garments
from stock.shop.loading import Load, load
from stock.shop.maintaining import service_done, shaken
from stock.shop.preparing import open_pack
from stock.shop.printing import PrintLog, log_print
from stock.shop.receive import Delivery, receive
from stock.shop.setting_aside import (
    move,
    quarantine,
    release,
    return_to_supplier,
    scrap,
    write_off_expired,
)
from stock.shop.undoing import correct_expiry, replace_lot, undo
from stock.shop.upkeep import catch_up, run_upkeep, trial_print
from tests.book.builders import (
    FAR,
    MONDAY,
    a_lot,
    a_pack,
    a_row,
    a_shelf,
    a_slot,
    an_item,
    held,
    the_id,
)

TUESDAY = date(2026, 3, 3)


@pytest.fixture
def shop(book: Book) -> Book:
    """White in two lots, tees, a second shelf, a slot."""
    an_item(book, channel="W", open_life_days=180)
    an_item(book, "TEE", kind="blank", unit="each")
    an_item(book, "WIPER", kind="supply", unit="each", amount_per_service=2)
    a_pack(book, amount=500)
    a_shelf(book)
    a_slot(book)
    a_lot(book, code="L1", amount=1000, expires=date(2026, 6, 1))
    a_lot(book, code="L2", amount=500)
    a_lot(book, "TEE", "T1", 24, expires=None)
    return book


def test_quarantined_goods_stay_in_the_book_and_come_back(shop: Book) -> None:
    quarantine(shop, Choice(sku="W-1", lot="L1"), "frozen", on=TUESDAY)
    assert held(shop, "QUARANTINE") == {("L1", ""): 1000.0}
    assert load(shop, Load("W1", TUESDAY, sku="W-1")).moved[0].lot == "L2", "never from there"
    release(shop, Choice(sku="W-1", lot="L1"), on=TUESDAY, to="COLD")
    assert held(shop, "COLD") == {("L1", ""): 1000.0}


def test_an_open_container_is_quarantined_whole(shop: Book) -> None:
    open_pack(shop, "W-1", on=TUESDAY)
    with pytest.raises(Refused, match="as a whole"):
        quarantine(shop, Choice(container="K000001", amount=1000), "frozen", on=TUESDAY)
    quarantine(shop, Choice(container="K000001"), "frozen", on=TUESDAY)
    with shop.reading() as connection:
        assert connection.scalar(select(container.c.state)) == "quarantined"


@pytest.mark.parametrize("action", [quarantine, return_to_supplier, scrap])
def test_a_reason_is_asked_for(shop: Book, action: object) -> None:
    with pytest.raises(Refused, match="Say why"):
        action(shop, Choice(sku="W-1", lot="L1"), "  ", on=TUESDAY)  # type: ignore[operator]


def test_what_is_not_there_cannot_be_scrapped(shop: Book) -> None:
    with pytest.raises(NotEnough, match=r"1,500 mL of W-1; 1,600 mL"):
        scrap(shop, Choice(sku="W-1", amount=1_600_000), "torn", on=TUESDAY)
    with pytest.raises(Unknown):
        scrap(shop, Choice(sku="W-1", lot="L7"), "torn", on=TUESDAY)
    with pytest.raises(Refused, match="which lot of W-1, or how much"):
        scrap(shop, Choice(sku="W-1"), "torn", on=TUESDAY)


def test_goods_go_back_to_their_supplier_and_between_shelves(shop: Book) -> None:
    return_to_supplier(shop, Choice(sku="W-1", lot="L2"), "wrong ink", on=TUESDAY)
    move(shop, Choice(sku="W-1", lot="L1", amount=400_000), "COLD", on=TUESDAY)
    assert held(shop, "SHELF", "W-1") == {("L1", ""): 600.0}
    with pytest.raises(Refused, match="on COLD already"):
        move(shop, Choice(sku="W-1", lot="L1", place="COLD"), "COLD", on=TUESDAY)


def test_expired_goods_are_written_off_but_what_is_loaded_is_only_named(shop: Book) -> None:
    load(shop, Load("W1", TUESDAY, sku="W-1"))
    receive_garments(shop, "KIT", "TEE", 3, on=MONDAY)
    done = write_off_expired(shop, on=date(2026, 6, 2))
    assert [(m.lot, m.amount, m.target) for m in done.moved] == [("L1", 500_000, "WASTE")]
    assert done.notes[0].startswith("W1 holds W-1 lot L1, past its date (2026-06-01)")
    assert write_off_expired(shop, on=date(2026, 6, 2)).entry is None


def test_the_last_day_of_use_is_not_yet_expired(shop: Book) -> None:
    assert write_off_expired(shop, on=date(2026, 6, 1)).entry is None


def test_a_customers_garments_are_drawn_only_for_that_customer(shop: Book) -> None:
    receive_garments(shop, "KIT", "TEE", 5, on=MONDAY)
    order = a_row(shop, customer_order, ref="O1", stage="released", placed_on=MONDAY)
    for line, owner in ((1, "KIT"), (2, "")):
        a_row(
            shop,
            order_line,
            order_id=order,
            line=line,
            blank_id=the_id(shop, item, sku="TEE"),
            quantity=50,
            due_on=FAR,
            owner=owner,
        )
    printed = log_print(shop, PrintLog("O1", 1, 6, 1, TUESDAY))
    assert [(over.asked, over.taken) for over in printed.overruns] == [(7000, 5000)]
    assert held(shop, "SHELF", "TEE") == {("T1", ""): 24.0}
    log_print(shop, PrintLog("O1", 2, 6, 0, TUESDAY))
    assert held(shop, "SHELF", "TEE") == {("T1", ""): 18.0}


def test_a_customers_garments_go_back_to_the_customer_only(shop: Book) -> None:
    receive_garments(shop, "KIT", "TEE", 5, on=MONDAY, lot="KIT-1")
    with pytest.raises(Refused, match="go back to the customer"):
        return_to_supplier(shop, Choice(sku="TEE", owner="KIT", amount=1000), "x", on=TUESDAY)
    return_garments(shop, "KIT", "TEE", 2, on=TUESDAY)
    return_garments(shop, "KIT", "TEE", on=TUESDAY, lot="KIT-1")
    assert held(shop, "SHELF", "TEE") == {("T1", ""): 24.0}
    with pytest.raises(Refused, match="garments only"):
        receive_garments(shop, "KIT", "W-1", 5, on=MONDAY)


def test_a_service_happened_whatever_the_shelf_says(shop: Book) -> None:
    a_lot(shop, "WIPER", "P1", 3, expires=None)
    service_done(shop, "WIPER", on=TUESDAY, printer_code="P1")
    done = service_done(shop, "WIPER", on=TUESDAY, printer_code="P1")
    assert [m.amount for m in done.moved] == [1000]
    assert "Count WIPER: the shelf gave 1 of 2" in done.notes
    with pytest.raises(Refused, match="not a maintenance supply"):
        service_done(shop, "W-1", on=TUESDAY)
    assert shaken(shop, "W1", on=TUESDAY).notes == ("W1 was shaken on 2026-03-03",)


def test_cleaning_takes_what_is_there_and_notes_the_rest(shop: Book) -> None:
    load(shop, Load("W1", TUESDAY, sku="W-1"))
    done = run_upkeep(shop, "P1", "clean", on=TUESDAY, ml={"W": 600})
    assert done.notes == ("Check W1: W-1 gave 500 mL of 600 mL asked",)
    with pytest.raises(Refused, match="no slot for channel M"):
        run_upkeep(shop, "P1", "clean", on=TUESDAY, ml={"M": 1})
    trial_print(shop, "P1", {"W": 0}, on=TUESDAY, blank="TEE", pieces=2)
    assert held(shop, "SHELF", "TEE") == {("T1", ""): 22.0}


def test_daily_upkeep_is_posted_once_for_every_calendar_day(shop: Book) -> None:
    load(shop, Load("W1", MONDAY, sku="W-1"))
    first = catch_up(shop, date(2026, 3, 8))
    assert (first.days, catch_up(shop, date(2026, 3, 8)).days) == ({"P1": 7}, {"P1": 0})
    with shop.reading() as connection:
        days = connection.scalars(
            select(entry.c.day).where(entry.c.kind == "upkeep").order_by(entry.c.day)
        ).all()
    assert [day.isoformat() for day in days] == [f"2026-03-0{n}" for n in range(2, 9)]
    assert held(shop, "W1") == {("L1", "K000001"): 430.0}, "10 mL a day, the prior for white"


def test_an_entry_is_undone_once_and_an_undo_never(shop: Book) -> None:
    done = scrap(shop, Choice(sku="W-1", lot="L1"), "torn", on=TUESDAY)
    undone = undo(shop, done.entry or 0, on=TUESDAY)
    with pytest.raises(CannotUndo, match=f"entry {undone.entry} undid it already"):
        undo(shop, done.entry or 0, on=TUESDAY)
    with pytest.raises(CannotUndo, match="itself the undo"):
        undo(shop, undone.entry, on=TUESDAY)
    with pytest.raises(Unknown):
        undo(shop, 9999, on=TUESDAY)


def test_what_was_used_since_cannot_be_taken_back(shop: Book) -> None:
    received = receive(shop, Delivery(on=MONDAY, sku="TEE", amount=5000, lot="T2"))
    used = scrap(shop, Choice(sku="TEE", lot="T2", amount=2000), "torn", on=TUESDAY)
    with pytest.raises(CannotUndo, match=rf"used since by entry {used.entry} \(scrap"):
        undo(shop, received.entry, on=TUESDAY)
    undo(shop, used.entry or 0, on=TUESDAY)
    undo(shop, received.entry, on=TUESDAY)
    assert held(shop, "SHELF", "TEE") == {("T1", ""): 24.0}


def test_a_load_is_not_undone_once_its_cartridge_went_on(shop: Book) -> None:
    loaded = load(shop, Load("W1", MONDAY, sku="W-1"))
    swapped = load(shop, Load("W1", TUESDAY, sku="W-1", old="keep"))
    with pytest.raises(CannotUndo, match=f"K000001 was touched since by entry {swapped.entry}"):
        undo(shop, loaded.entry or 0, on=TUESDAY)
    undo(shop, swapped.entry or 0, on=TUESDAY)
    undo(shop, loaded.entry or 0, on=TUESDAY)
    assert held(shop, "SHELF", "W-1") == {("L1", ""): 1000.0, ("L2", ""): 500.0}


def test_an_undone_print_opens_its_order_again(shop: Book) -> None:
    order = a_row(shop, customer_order, ref="O1", stage="released", placed_on=MONDAY)
    tee = the_id(shop, item, sku="TEE")
    a_row(shop, order_line, order_id=order, line=1, blank_id=tee, quantity=2, due_on=FAR)
    printed = log_print(shop, PrintLog("O1", 1, 2, 0, TUESDAY))

    def stage() -> str | None:
        with shop.reading() as connection:
            return connection.scalar(select(customer_order.c.stage))

    assert stage() == "printed"
    undo(shop, printed.entry, on=TUESDAY)
    assert stage() == "released"


def test_a_wrong_lot_is_put_right_on_its_own_day_and_purchase(shop: Book) -> None:
    purchase = a_row(
        shop,
        purchase_order,
        ref="P1",
        supplier_id=the_id(shop, supplier, code="S"),
        state="sent",
        created_on=MONDAY,
        sent_on=MONDAY,
        at=now_utc(),
    )
    line = {"purchase_id": purchase, "packs": 1, "why": []}
    a_row(shop, purchase_line, pack_id=the_id(shop, pack, code="W-1-500"), **line)
    wrong = receive(
        shop, Delivery(on=MONDAY, sku="W-1", packs=1, lot="WRONG", expires=FAR, purchase="P1")
    )
    right = replace_lot(shop, wrong.entry, on=TUESDAY, lot_code="RIGHT")
    assert held(shop, "SHELF", "W-1")[("RIGHT", "")] == 500.0
    assert ("WRONG", "") not in held(shop, "SHELF", "W-1")
    with shop.reading() as connection:
        assert connection.scalar(select(entry.c.day).where(entry.c.id == right.entry)) == MONDAY
        assert connection.scalar(select(purchase_order.c.state)) == "closed"
    assert check_book(shop).findings == ()


def test_a_corrected_date_reaches_the_open_containers(shop: Book) -> None:
    load(shop, Load("W1", MONDAY, sku="W-1"))
    done = correct_expiry(shop, "W-1", "L1", date(2026, 5, 1), on=TUESDAY)
    with shop.reading() as connection:
        assert connection.scalar(select(container.c.effective_expiry)) == date(2026, 5, 1)
    with pytest.raises(CannotUndo, match="correct the date again"):
        undo(shop, done.entry or 0, on=TUESDAY)
    correct_expiry(shop, "W-1", "L1", None, on=TUESDAY)
    with shop.reading() as connection:
        assert connection.scalar(select(container.c.effective_expiry)) == date(2026, 8, 29)
    assert check_book(shop).findings == ()

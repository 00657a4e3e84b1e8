"""The snapshot: stock, purchases, orders and terms as they stood at the end of a day."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pandas as pd
import pytest
from sqlalchemy import select, update

from stock.book.opening import Book
from stock.book.posting import Posting, post
from stock.book.tables import (
    customer_order,
    item,
    movement,
    order_line,
    pack,
    place,
    purchase_line,
    purchase_order,
    rate,
    supplier,
)
from stock.demand.known import ItemTerms
from stock.plan.snapshot import PlanSettings, Snapshot
from stock.shop.choosing import Choice
from stock.shop.loading import Load, load
from stock.shop.maintaining import service_done
from stock.shop.preparing import Mix, mix
from stock.shop.receive import Delivery, receive
from stock.shop.setting_aside import quarantine
from stock.shop.snapshot import Targets, take_snapshot
from stock.shop.weighing import Weighing, weigh
from tests.book.builders import MONDAY, a_lot, a_pack, a_printer, a_row, a_slot, an_item, the_id
from tests.book.scenes import a_bit_of_everything

TUESDAY = MONDAY + timedelta(days=1)
LATER = MONDAY + timedelta(days=60)


def seen(book: Book, day: date = LATER, **options: Any) -> Snapshot:
    """The snapshot of a day with usual settings."""
    return take_snapshot(book, day, PlanSettings(), **options)


def terms(snapshot: Snapshot, sku: str) -> ItemTerms:
    """One item's terms."""
    return next(one for one in snapshot.items if one.sku == sku)


def a_purchase(
    book: Book,
    packs: int,
    *,
    ref: str = "P-1",
    sku: str = "W-1",
    state: str = "sent",
    sent_on: date | None = MONDAY,
    **line: Any,
) -> int:
    """A purchase order of one line; returns the line's id."""
    with book.reading() as connection:
        bought = connection.execute(
            select(pack).join(item, item.c.id == pack.c.item_id).where(item.c.sku == sku)
        ).first()
    assert bought is not None
    purchase_id = a_row(
        book,
        purchase_order,
        ref=ref,
        supplier_id=bought.supplier_id,
        state=state,
        created_on=MONDAY,
        sent_on=sent_on,
        at=pd.Timestamp("2026-03-02", tz="UTC").to_pydatetime(),
    )
    return a_row(
        book, purchase_line, purchase_id=purchase_id, pack_id=bought.id, packs=packs, **line
    )


def test_stock_adds_up_to_what_pandas_makes_of_the_movements(book: Book) -> None:
    a_bit_of_everything(book)
    with book.reading() as connection:
        moves = pd.DataFrame(connection.execute(select(movement)).mappings().all())
        kinds = pd.Series(
            {row.id: row.kind for row in connection.execute(select(place.c.id, place.c.kind))}
        )
        names = pd.Series(
            {row.id: row.sku for row in connection.execute(select(item.c.id, item.c.sku))}
        )
    holding = kinds[kinds.isin(["shelf", "slot", "quarantine"])].index
    came = moves[moves["to_place_id"].isin(holding)].groupby("item_id")["amount"].sum()
    went = moves[moves["from_place_id"].isin(holding)].groupby("item_id")["amount"].sum()
    expected = came.sub(went, fill_value=0)
    expected.index = names[expected.index]
    snapshot = seen(book)
    own = [lot for lot in snapshot.stock if " within " not in lot.lot]
    found = pd.Series([lot.amount for lot in own], index=[lot.item for lot in own])
    assert found.groupby(level=0).sum().to_dict() == pytest.approx(
        (expected[expected > 0] / 1000).to_dict()
    )


def test_a_past_day_is_seen_as_it_was(book: Book) -> None:
    an_item(book)
    a_lot(book, amount=500, on=MONDAY)
    a_lot(book, code="L2", amount=300, on=TUESDAY)
    assert [lot.amount for lot in seen(book, MONDAY).stock] == [500.0]
    assert sum(lot.amount for lot in seen(book, TUESDAY).stock) == 800.0


def test_a_past_day_gives_the_balances_when_nothing_came_later(book: Book) -> None:
    a_bit_of_everything(book)
    before = seen(book, date(2026, 3, 3)).stock
    a_lot(book, code="L9", amount=1, on=date(2026, 3, 9))
    assert seen(book, date(2026, 3, 3)).stock == before


def test_what_never_comes_out_of_a_pack_is_not_cover(book: Book) -> None:
    an_item(book)
    made = a_pack(book, amount=500, unusable_rest=20)
    a_lot(book, amount=1000, pack_id=made)
    a_purchase(book, 3)
    snapshot = seen(book)
    assert [lot.unusable_rest for lot in snapshot.stock] == [40.0]
    assert [line.amount for line in snapshot.on_order] == [3 * 480.0]
    assert [offer.amount for offer in snapshot.offers] == [480.0]


def test_a_tanks_rest_counts_once_however_many_lots_it_holds(book: Book) -> None:
    an_item(book)
    a_slot(book, "WT", feed="tank", unusable_rest=90_000)
    made = a_pack(book, amount=500)
    for code in ("L1", "L2"):
        a_lot(book, code=code, amount=500, pack_id=made)
        load(book, Load("WT", MONDAY, sku="W-1", lot=code))
    held = [lot for lot in seen(book).stock if lot.place == "WT"]
    assert sum(lot.amount for lot in held) == 1000.0
    assert sum(lot.unusable_rest for lot in held) == 90.0


def test_a_slot_is_unsure_until_it_is_weighed(book: Book) -> None:
    an_item(book, channel="W", density_g_per_ml=1.0)
    a_slot(book, sku="W-1")
    made = a_pack(book, amount=500, tare_mg=0)
    a_lot(book, amount=500, pack_id=made)
    a_row(
        book,
        rate,
        printer_id=the_id(book, place, code="W1") and 1,
        channel="W",
        valid_from=MONDAY,
        per_cm2_ul=2.0,
        per_cm2_ul_sd=0.5,
        per_day_ml=10.0,
        per_day_ml_sd=4.0,
    )
    load(book, Load("W1", MONDAY, sku="W-1"))

    def a_print(posting: Posting) -> None:
        entry_id = posting.entry("print", TUESDAY)
        slot = posting.place("W1")
        posting.hold([1])
        held = next(iter(posting.holdings(1, {slot.id})))
        posting.move(
            entry_id,
            TUESDAY,
            held.item_id,
            held.lot_id,
            100_000,
            slot,
            posting.place("PRINTED"),
            from_container=held.container_id,
        )

    post(book, a_print, who="test")
    ten_days = MONDAY + timedelta(days=10)
    doubt = next(lot.amount_sd for lot in seen(book, ten_days).stock if lot.place == "W1")
    # 100 mL at a rate known to 25 %, ten days of upkeep known to 4 mL a day each
    assert doubt == pytest.approx((25.0**2 + 40.0**2) ** 0.5)
    weigh(book, Weighing("W1", 380, ten_days, net=True))
    sure = next(lot.amount_sd for lot in seen(book, ten_days).stock if lot.place == "W1")
    assert sure == 0.0


def test_a_tank_just_filled_is_no_less_sure_than_what_it_can_hold(book: Book) -> None:
    an_item(book)
    a_slot(book, "WT", feed="tank", capacity=1_200_000)
    a_pack(book, amount=900)
    a_row(
        book,
        rate,
        printer_id=1,
        channel="W",
        valid_from=MONDAY,
        per_cm2_ul=2.0,
        per_cm2_ul_sd=0.5,
        per_day_ml=10.0,
        per_day_ml_sd=40.0,
    )
    for code, on in (("L1", MONDAY), ("L2", MONDAY + timedelta(days=50))):
        a_lot(book, code=code, amount=900, on=MONDAY)
        load(book, Load("WT", on, sku="W-1", lot=code))

    def doubt(day: date) -> float:
        found = seen(book, day).stock
        return max(lot.amount_sd for lot in found if lot.place == "WT")

    # Fifty days at 40 mL a day each, never weighed.
    assert doubt(MONDAY + timedelta(days=49)) == pytest.approx(49 * 40.0)
    # Filled with 900 mL of 1,200: the level is from 900 to 1,200, even chances.
    assert doubt(MONDAY + timedelta(days=50)) == pytest.approx(300 / 12**0.5)


def test_a_ready_mix_counts_as_the_concentrate_in_it(book: Book) -> None:
    an_item(book, "PRE-C", kind="pretreat", unit="g")
    an_item(
        book, "PRE", kind="pretreat", unit="g", mixed_from="PRE-C", mix_ratio=3.0, mix_life_days=30
    )
    a_pack(book, "PRE-C", 5000)
    a_lot(book, "PRE-C", "C1", 5000)
    before = seen(book)
    mix(book, Mix("PRE", MONDAY, ready=4_000_000))
    after = seen(book)

    def concentrate(snapshot: Snapshot) -> float:
        return sum(lot.amount for lot in snapshot.stock if lot.item == "PRE-C")

    assert concentrate(before) == concentrate(after) == 5000.0
    within = next(lot for lot in after.stock if "within PRE" in lot.lot)
    assert (within.item, within.amount) == ("PRE-C", 1000.0)
    assert within.effective_expiry == MONDAY + timedelta(days=30)
    assert not terms(after, "PRE").reorder
    assert terms(after, "PRE-C").reorder


def test_a_mix_is_worth_what_its_concentrate_cost_and_not_twice(book: Book) -> None:
    an_item(book, "PRE-C", kind="pretreat", unit="g")
    an_item(book, "PRE", kind="pretreat", unit="g", mixed_from="PRE-C", mix_ratio=3.0)
    a_lot(book, "PRE-C", "C1", 5000, cost_minor=10_000)
    mix(book, Mix("PRE", MONDAY, ready=4_000_000))
    assert sum(lot.value_minor for lot in seen(book).stock) == pytest.approx(10_000)


def test_an_item_without_targets_takes_the_shops(book: Book) -> None:
    an_item(book, "W-1")
    an_item(book, "K-1", service=0.8, waste_risk=0.3, service_kind="cycle")
    kinds = ("ink", "pretreat", "blank", "supply")
    own = Targets(dict.fromkeys(kinds, 0.97), "fill", dict.fromkeys(kinds, 0.05))
    snapshot = seen(book, targets=own)
    white, black = terms(snapshot, "W-1"), terms(snapshot, "K-1")
    assert (white.service, white.service_kind, white.waste_risk) == (0.97, "fill", 0.05)
    assert (black.service, black.service_kind, black.waste_risk) == (0.8, "cycle", 0.3)


def test_a_supply_knows_its_last_service_even_when_the_shelf_was_empty(book: Book) -> None:
    an_item(book, "WIPER", kind="supply", unit="each", every_days=30.0)
    a_printer(book)
    service_done(book, "WIPER", on=TUESDAY)

    def runs(posting: Posting) -> None:
        from stock.book.tables import print_run

        for after, good in ((0, 5), (1, 7), (2, 11), (9, 13)):
            entry_id = posting.entry("print", MONDAY + timedelta(days=after))
            posting.add(print_run, entry_id=entry_id, good=good, misprints=1, printer_id=1)

    post(book, runs, who="test")
    wiper = terms(seen(book, MONDAY + timedelta(days=9)), "WIPER")
    assert wiper.last_used_on == TUESDAY
    assert wiper.prints_since_used == 11 + 1 + 13 + 1


def test_part_of_a_purchase_that_came_is_no_longer_on_order(book: Book) -> None:
    an_item(book)
    a_pack(book, amount=500)
    a_purchase(book, 5, cancelled_packs=1)
    receive(book, Delivery(TUESDAY, "W-1", packs=2, lot="N1", purchase="P-1", expires=LATER))
    assert [line.amount for line in seen(book, MONDAY).on_order] == [2000.0]
    line = seen(book).on_order[0]
    assert (line.amount, line.sent, line.ordered_on) == (1000.0, True, MONDAY)


def test_a_draft_counts_as_on_order_but_not_as_sent(book: Book) -> None:
    an_item(book)
    a_pack(book, amount=500)
    a_purchase(book, 2, state="draft", sent_on=None)
    line = seen(book).on_order[0]
    assert (line.amount, line.sent) == (1000.0, False)


def test_closed_and_cancelled_purchases_bring_nothing(book: Book) -> None:
    an_item(book)
    a_pack(book, amount=500)
    a_purchase(book, 2, state="closed")
    a_purchase(book, 2, ref="P-2", state="cancelled")
    assert seen(book).on_order == ()


def test_lead_times_come_from_deliveries_and_else_from_what_the_file_stated(book: Book) -> None:
    an_item(book)
    a_pack(book, amount=500)
    a_purchase(book, 2, state="closed", stated_received_on=TUESDAY, stated_received_packs=2)
    a_purchase(book, 2, ref="P-2")
    wednesday = MONDAY + timedelta(days=2)
    receive(book, Delivery(wednesday, "W-1", packs=2, lot="N1", purchase="P-2", expires=LATER))
    history = seen(book).suppliers[0].lead_history
    assert history == ((MONDAY, TUESDAY, 1000.0, 1000.0), (MONDAY, wednesday, 1000.0, 1000.0))
    assert seen(book, TUESDAY).suppliers[0].lead_history == history[:1]


def test_bad_terms_in_the_book_do_not_stop_the_snapshot(book: Book) -> None:
    an_item(book)
    bad = a_pack(book, amount=500)
    book.write(
        lambda c: c.execute(
            update(supplier).values(
                order_days="someday", closed=["soon", "2026-04-01"], country="ZZ"
            )
        )
    )
    book.write(
        lambda c: c.execute(update(pack).where(pack.c.id == bad).values(breaks=[[5], "x", [3, 9]]))
    )
    snapshot = seen(book)
    assert snapshot.suppliers[0].order_days == frozenset()
    assert snapshot.suppliers[0].closed == {date(2026, 4, 1)}
    assert [(b.from_packs, b.price_minor) for b in snapshot.offers[0].breaks] == [(3, 9.0)]


def an_order(
    book: Book, stage: str, *, outcome_on: date | None = None, pieces: int = 10, owner: str = ""
) -> None:
    """An order of one line for black tees."""
    order_id = a_row(
        book,
        customer_order,
        ref=f"A-{stage}-{outcome_on}-{owner}",
        stage=stage,
        placed_on=MONDAY,
        outcome_on=outcome_on,
        was_quote=stage == "quote",
        win_probability=0.4 if stage == "quote" else None,
    )
    a_row(
        book,
        order_line,
        order_id=order_id,
        line=1,
        blank_id=the_id(book, item, sku="TEE"),
        quantity=pieces,
        due_on=MONDAY + timedelta(days=14),
        owner=owner,
    )


def test_open_lines_carry_their_need_and_closed_ones_do_not(book: Book) -> None:
    an_item(book, "TEE", kind="blank", unit="each")
    an_order(book, "confirmed")
    an_order(book, "quote")
    an_order(book, "released", owner="C-1")
    an_order(book, "printed", outcome_on=TUESDAY)
    an_order(book, "cancelled", outcome_on=TUESDAY)
    snapshot = seen(book)
    assert sorted(line.stage for line in snapshot.order_lines) == ["confirmed", "quote", "released"]
    by_stage = {line.stage: line for line in snapshot.order_lines}
    assert [(use.item, use.amount) for use in by_stage["confirmed"].uses] == [("TEE", 1.0)]
    assert by_stage["released"].uses == ()
    assert by_stage["quote"].win_probability == 0.4
    assert sorted(line.outcome for line in snapshot.past_lines) == [
        *("cancelled", "open", "open", "open", "printed"),
    ]


def test_an_order_that_ended_later_was_open_then(book: Book) -> None:
    an_item(book, "TEE", kind="blank", unit="each")
    an_order(book, "printed", outcome_on=LATER)
    assert [line.pieces for line in seen(book, TUESDAY).order_lines] == [10.0]
    assert [line.outcome for line in seen(book, TUESDAY).past_lines] == ["open"]
    assert seen(book, LATER).order_lines == ()


def test_stock_in_quarantine_stays_apart(book: Book) -> None:
    an_item(book)
    a_lot(book, amount=500)
    quarantine(book, Choice(sku="W-1", lot="L1"), "frozen", on=MONDAY)
    assert [(lot.place_kind, lot.amount) for lot in seen(book).stock] == [("quarantine", 500.0)]


def test_the_list_orders_the_concentrate_not_the_mix(book: Book) -> None:
    from stock.shop.planning import list_from

    an_item(book, "PRE-C", kind="pretreat", unit="g")
    an_item(
        book, "PRE", kind="pretreat", unit="g", mixed_from="PRE-C", mix_ratio=3.0, mix_life_days=30
    )
    a_pack(book, "PRE-C", 1000)
    a_lot(book, "PRE-C", "C1", 6000)
    a_printer(book)
    mix(book, Mix("PRE", MONDAY, ready=23_000_000, code="M1"))

    def sprays(posting: Posting) -> None:
        ready, mixed = the_id(book, item, sku="PRE"), 2
        for week in range(13):
            on = MONDAY + timedelta(weeks=week)
            entry_id = posting.entry("print", on)
            posting.hold([ready])
            source, target = posting.place("SHELF"), posting.place("PRINTED")
            posting.move(entry_id, on, ready, mixed, 1_600_000, source, target)

    post(book, sprays, who="test")
    day = MONDAY + timedelta(weeks=13)
    snapshot = take_snapshot(book, day, PlanSettings(paths=200, blend_autoets=False))
    # 1,600 g of mix a week are 400 g of concentrate; 2,200 g of mix left hold 550 g, 250 are pure
    link = next(link for link in snapshot.links if link.item == "PRE-C")
    assert (link.series, link.factor) == ("PRE", 0.25)
    weekly = list_from(snapshot)
    (line,) = weekly.lines
    assert line.item == "PRE-C"
    assert line.need.total / line.protection_days * 7 == pytest.approx(400, rel=0.1)
    assert "550 g is within ready mix" in line.why[1]
    assert {lot.item for lot in weekly.expiring} <= {"PRE", "PRE-C"}
    assert all(" within " not in lot.lot for lot in weekly.expiring)


def test_pretreat_kept_in_ml_is_needed_by_its_density(book: Book) -> None:
    from stock.shop.recipes import recipes_of

    an_item(book, "PRE-C", kind="pretreat", unit="mL", density_g_per_ml=1.1)
    an_item(
        *(book, "PRE"),
        kind="pretreat",
        unit="mL",
        density_g_per_ml=1.05,
        mixed_from="PRE-C",
        mix_ratio=1.0,
    )
    with book.reading() as connection:
        uses = recipes_of(connection).uses(21.0, 2.1)
    assert [(use.item, use.amount, use.sd) for use in uses] == [
        ("PRE", pytest.approx(20.0), pytest.approx(2.0)),
        ("PRE-C", pytest.approx(10.0), pytest.approx(1.0)),
    ]

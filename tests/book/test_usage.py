"""Usage, prices and costs read the same from either database."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import func, select

from stock.book.tables import balance, item
from stock.shop.cost_over_time import cost_by_month
from stock.shop.loading import Load, load
from stock.shop.preparing import Mix, mix
from stock.shop.prices import item_prices, lot_prices
from stock.shop.setting_aside import write_off_expired
from stock.shop.undoing import undo
from stock.shop.usage import usage
from stock.shop.where_it_went import USES
from tests.book.builders import a_lot, a_pack, a_slot, an_item, the_id
from tests.book.scenes import a_bit_of_everything

MARCH = (date(2026, 3, 1), date(2026, 3, 31))
TUESDAY = date(2026, 3, 3)


def test_usage_adds_up_after_a_bit_of_everything(book):
    a_bit_of_everything(book)
    report = usage(book, *MARCH)
    rows = {row.item: row for row in report.rows}
    for row in report.rows:
        assert row.opening == 0
        assert row.received + row.made == sum(row.used[use] for use in USES) + row.closing
    with book.reading() as connection:
        there = dict(
            connection.execute(
                select(item.c.sku, func.sum(balance.c.amount))
                .join(balance, balance.c.item_id == item.c.id)
                .group_by(item.c.sku)
            ).all()
        )
    assert {sku: row.closing for sku, row in rows.items()} == there
    # 500 mL packs of which 20 mL never come out: the cartridge run dry left them.
    assert rows["W-1"].used["unusable_rest"] == 20_000
    assert rows["PRE"].made == 4_000_000
    assert rows["PRE-C"].used["into_mixes"] == 1_000_000


def test_a_spill_taken_back_the_same_day_is_in_no_column(book):
    a_bit_of_everything(book)
    assert {row.item: row.used["scrapped"] for row in usage(book, *MARCH).rows}["W-1"] == 0


def test_a_mix_costs_its_concentrate_and_the_water_nothing(book):
    an_item(book, "PRE-C", kind="pretreat", unit="g")
    an_item(book, "PRE", kind="pretreat", unit="g", mixed_from="PRE-C", mix_ratio=3.0)
    a_lot(book, "PRE-C", "C1", 5000, cost_minor=10_000)
    mix(book, Mix("PRE", TUESDAY, ready=4_000_000))
    with book.reading() as connection:
        prices = {price.sku: price for price in item_prices(connection).values()}
    assert prices["PRE-C"].per_unit_minor == pytest.approx(2.0)
    assert prices["PRE"].per_unit_minor == pytest.approx(0.5)


def test_what_is_on_hand_sets_the_price_before_the_packs_price_does(book):
    an_item(book)
    a_pack(book, amount=500, price_minor=10_000)
    item_id = the_id(book, item, sku="W-1")
    with book.reading() as connection:
        assert item_prices(connection)[item_id].basis == "list"
    a_lot(book, code="L1", amount=500, cost_minor=6_000)
    a_lot(book, code="L2", amount=1500, cost_minor=30_000)
    with book.reading() as connection:
        price = item_prices(connection)[item_id]
    assert price.basis == "on hand"
    assert price.per_unit_minor == pytest.approx(36_000 / 2000)


def test_a_customers_garments_cost_nothing_and_have_a_row_of_their_own(book):
    an_item(book, "TEE", kind="blank", unit="each")
    a_pack(book, "TEE", 1, price_minor=300)
    a_lot(book, "TEE", "OWN", 10)
    lot_id = a_lot(book, "TEE", "THEIRS", 5, owner="CLUB")
    with book.reading() as connection:
        assert lot_prices(connection)[lot_id] == 0
    rows = {row.owner: row for row in usage(book, *MARCH).rows}
    assert rows["CLUB"].received == 5000
    assert rows[""].received == 10_000


def test_a_lot_without_a_price_paid_takes_its_packs_price(book):
    an_item(book)
    a_pack(book, amount=500, price_minor=10_000)
    a_lot(book, code="L1", amount=500, expires=TUESDAY)
    write_off_expired(book, on=date(2026, 3, 4))
    assert usage(book, *MARCH).rows[0].cost_minor["expired"] == pytest.approx(10_000)


def test_months_and_usage_agree_on_what_was_wasted(book):
    a_bit_of_everything(book)
    load(book, Load("W1", date(2026, 3, 9), sku="W-1", old="waste"))
    month = cost_by_month(book, date(2026, 3, 31), months=1).months[0]
    wasted = sum(row.wasted_minor for row in usage(book, *MARCH).rows)
    assert wasted != 0
    assert month.cost["waste"] == pytest.approx(wasted)


def test_an_undone_load_that_ran_a_cartridge_dry_gives_its_rest_back(book):
    an_item(book)
    pack = a_pack(book, amount=500, unusable_rest=20)
    a_lot(book, code="L1", amount=1000, pack_id=pack)
    a_slot(book)
    load(book, Load("W1", TUESDAY, sku="W-1"))
    done = load(book, Load("W1", TUESDAY, sku="W-1", old="empty"))
    assert usage(book, *MARCH).rows[0].used["unusable_rest"] == 20_000
    undo(book, done.entry or 0, on=TUESDAY)
    row = usage(book, *MARCH).rows[0]
    assert (row.used["unusable_rest"], row.used["unexplained"], row.closing) == (0, 0, 1_000_000)


def test_of_a_part_used_cartridge_thrown_away_the_rest_that_never_comes_out_is_told_apart(book):
    an_item(book)
    a_slot(book)
    pack = a_pack(book, amount=500, unusable_rest=20)
    a_lot(book, code="L1", amount=1000, pack_id=pack)
    load(book, Load("W1", TUESDAY, sku="W-1"))
    load(book, Load("W1", TUESDAY, sku="W-1", old="waste"))
    used = usage(book, *MARCH).rows[0].used
    assert (used["unusable_rest"], used["scrapped"]) == (20_000, 480_000)

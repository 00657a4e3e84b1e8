"""Whole books for tests to start from; built once per worker and database, then copied."""

from __future__ import annotations

from datetime import date

from stock.book.opening import Book
from stock.shop.choosing import Choice
from stock.shop.counting import CountRow, count
from stock.shop.loading import Load, load
from stock.shop.preparing import Mix, mix
from stock.shop.setting_aside import move, quarantine, scrap
from stock.shop.undoing import undo
from stock.shop.weighing import Weighing, weigh
from tests.book.builders import a_lot, a_pack, a_shelf, a_slot, an_item

TUESDAY = date(2026, 3, 3)


def a_bit_of_everything(book: Book) -> None:
    """Two lots of white in a cartridge slot and a tank, a mix, a weighing, a count, an undo."""
    an_item(book, channel="W", open_life_days=180, density_g_per_ml=1.2)
    an_item(book, "PRE-C", kind="pretreat", unit="g")
    an_item(
        book, "PRE", kind="pretreat", unit="g", mixed_from="PRE-C", mix_ratio=3.0, mix_life_days=30
    )
    a_shelf(book)
    a_slot(book)
    a_slot(book, "WT", feed="tank")
    pack = a_pack(book, amount=500, unusable_rest=20)
    a_lot(book, code="L1", amount=2000, pack_id=pack)
    a_lot(book, code="L2", amount=1000, pack_id=pack, expires=date(2026, 10, 1))
    a_lot(book, "PRE-C", "C1", 5000)
    load(book, Load("W1", TUESDAY, sku="W-1"))
    load(book, Load("WT", TUESDAY, sku="W-1"))
    load(book, Load("WT", TUESDAY, sku="W-1"))
    mix(book, Mix("PRE", TUESDAY, ready=4_000_000))
    weigh(book, Weighing("W1", 540, TUESDAY, net=True))
    count(book, [CountRow("SHELF", "W-1", 990_000)], "month end", on=TUESDAY)
    done = scrap(book, Choice(place="WT", amount=7_001), "spilled", on=TUESDAY, spilled=True)
    undo(book, done.entry or 0, on=TUESDAY)
    move(book, Choice(sku="PRE", amount=1_000_000), "COLD", on=TUESDAY)
    quarantine(book, Choice(sku="PRE-C", lot="C1"), "frozen", on=TUESDAY)
    load(book, Load("W1", TUESDAY, sku="W-1", old="empty"))

"""Opening, pouring off and mixing, on both databases."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import select

from stock.book.opening import Book
from stock.book.tables import container, lot, lot_parent
from stock.errors import NotEnough, Refused
from stock.shop.preparing import Decant, Mix, decant, mix, open_pack
from tests.book.builders import a_lot, a_pack, an_item, held

TUESDAY = date(2026, 3, 3)
APRIL = date(2026, 4, 1)


@pytest.fixture
def shop(book: Book) -> Book:
    """Concentrate in canisters of 5 kg that live 90 days once open; a mix of 1 : 3 for 30 days."""
    an_item(book, "PRE-C", kind="pretreat", unit="g", open_life_days=90)
    an_item(
        book, "PRE", kind="pretreat", unit="g", mixed_from="PRE-C", mix_ratio=3.0, mix_life_days=30
    )
    pack = a_pack(book, "PRE-C", 5000)
    a_lot(book, "PRE-C", "C1", 10_000, pack_id=pack, expires=date(2026, 12, 31))
    return book


def _opened(book: Book) -> list[tuple[str, str, date | None, date | None]]:
    with book.reading() as connection:
        return [
            tuple(row)
            for row in connection.execute(
                select(
                    container.c.code,
                    container.c.state,
                    container.c.opened_on,
                    container.c.effective_expiry,
                ).order_by(container.c.id)
            )
        ]


def test_one_canister_is_opened_and_the_others_stay_sealed(shop: Book) -> None:
    open_pack(shop, "PRE-C", on=TUESDAY)
    assert held(shop, "SHELF") == {("C1", ""): 5000.0, ("C1", "K000001"): 5000.0}
    assert _opened(shop) == [("K000001", "opened", TUESDAY, date(2026, 6, 1))]


def test_what_is_poured_off_was_opened_when_its_canister_was(shop: Book) -> None:
    open_pack(shop, "PRE-C", on=TUESDAY)
    decant(shop, Decant(1_500_000, APRIL, container="K000001", code="BOTTLE"))
    assert held(shop, "SHELF")[("C1", "BOTTLE")] == 1500.0
    assert _opened(shop)[1] == ("BOTTLE", "opened", TUESDAY, date(2026, 6, 1))


def test_pouring_from_a_sealed_canister_opens_it(shop: Book) -> None:
    decant(shop, Decant(1_000_000, TUESDAY, sku="PRE-C"))
    assert held(shop, "SHELF") == {
        ("C1", ""): 5000.0,
        ("C1", "K000001"): 4000.0,
        ("C1", "K000002"): 1000.0,
    }


def test_a_canister_poured_out_to_the_last_gram_is_empty(shop: Book) -> None:
    open_pack(shop, "PRE-C", on=TUESDAY)
    decant(shop, Decant(5_000_000, TUESDAY, container="K000001"))
    assert [(code, state) for code, state, _, _ in _opened(shop)] == [
        ("K000001", "empty"),
        ("K000002", "opened"),
    ]


def test_more_than_the_canister_holds_cannot_be_poured(shop: Book) -> None:
    with pytest.raises(NotEnough, match="holds 5,000 g"):
        decant(shop, Decant(6_000_000, TUESDAY, sku="PRE-C"))


def test_a_container_code_is_given_once(shop: Book) -> None:
    open_pack(shop, "PRE-C", on=TUESDAY, code="BLUE")
    with pytest.raises(Refused, match="BLUE is in the book already"):
        open_pack(shop, "PRE-C", on=TUESDAY, code="BLUE")


def test_a_mix_is_a_lot_of_its_own_that_names_its_parents(shop: Book) -> None:
    done = mix(shop, Mix("PRE", TUESDAY, ready=8_000_000))
    assert held(shop, "SHELF", "PRE") == {("MIX-20260303-1", ""): 8000.0}
    assert held(shop, "SHELF", "PRE-C") == {("C1", ""): 5000.0, ("C1", "K000001"): 3000.0}
    assert done.notes[0] == "add 6,000 g of distilled water; use by 2026-04-02"
    with shop.reading() as connection:
        made = connection.execute(select(lot).where(lot.c.code == "MIX-20260303-1")).one()
        parent = connection.execute(select(lot_parent)).one()
    assert made.sealed_expiry == date(2026, 4, 2)
    assert (parent.lot_id, parent.amount) == (made.id, 2_000_000)


def test_a_mix_never_outlives_its_parents(shop: Book) -> None:
    a_lot(shop, "PRE-C", "C0", 1000, expires=date(2026, 3, 10))
    done = mix(shop, Mix("PRE", TUESDAY, ready=8_000_000))
    assert "use by 2026-03-10" in done.notes[0]


def test_a_mix_takes_whole_canisters_and_opens_the_last(shop: Book) -> None:
    mix(shop, Mix("PRE", TUESDAY, concentrate=7_000_000))
    assert held(shop, "SHELF", "PRE-C") == {("C1", "K000001"): 3000.0}


def test_two_mixes_of_a_day_are_two_lots(shop: Book) -> None:
    for _ in range(2):
        mix(shop, Mix("PRE", TUESDAY, ready=400_000))
    assert sorted(code for code, _ in held(shop, "SHELF", "PRE")) == [
        "MIX-20260303-1",
        "MIX-20260303-2",
    ]


def test_a_mix_without_enough_concentrate_is_refused(shop: Book) -> None:
    with pytest.raises(NotEnough):
        mix(shop, Mix("PRE", TUESDAY, concentrate=10_000_001))
    with pytest.raises(Refused, match="not mixed from anything"):
        mix(shop, Mix("PRE-C", TUESDAY, ready=1))
    with pytest.raises(Refused, match="how much"):
        mix(shop, Mix("PRE", TUESDAY))

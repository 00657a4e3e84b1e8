"""A shop that does anything in any order, and what must hold after every step.

The expected state is made again from the movements in plain Python, apart from the SQL of the book
and of its check.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlalchemy import select

from stock.book.check import check_book
from stock.book.opening import Book
from stock.book.tables import (
    balance,
    container,
    customer_order,
    entry,
    item,
    lot,
    movement,
    order_line,
    place,
)
from stock.errors import CannotUndo, Refused
from stock.shop.choosing import Choice
from stock.shop.counting import CountRow, count
from stock.shop.customer_goods import receive_garments, return_garments
from stock.shop.loading import Load, load, unload
from stock.shop.maintaining import service_done, shaken
from stock.shop.preparing import Decant, Mix, decant, mix, open_pack
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
from stock.shop.weighing import Counter, Weighing, dip, read_counter, weigh
from tests.book.builders import MONDAY, a_pack, a_row, a_shelf, a_slot, an_item, the_id

SKUS = ("W-1", "PRE-C", "PRE", "TEE-L", "WIPER")
HOLDING = ("shelf", "slot", "quarantine")
WHERE = {"loaded": "slot", "opened": "shelf", "sealed": "shelf", "quarantined": "quarantine"}

skus = st.sampled_from(SKUS)
lots = st.sampled_from(("", "A", "B"))
some = st.integers(1, 900_000)
slots = st.sampled_from(("W1", "WT"))


class Shop(RuleBasedStateMachine):
    """Rules are what a person may do; a refusal must leave the book as it was."""

    def make_book(self) -> Book:
        """A fresh, empty book; given by the test."""
        raise NotImplementedError

    @initialize()
    def open_shop(self) -> None:
        self.book = self.make_book()
        self.day = MONDAY
        self.posted: list[int] = []
        self.before: dict[int, Any] = {}
        book = self.book
        an_item(book, channel="W", open_life_days=60, density_g_per_ml=1.1)
        an_item(book, "PRE-C", kind="pretreat", unit="g", open_life_days=90)
        an_item(
            book,
            "PRE",
            kind="pretreat",
            unit="g",
            mixed_from="PRE-C",
            mix_ratio=2.0,
            mix_life_days=20,
        )
        an_item(book, "TEE-L", kind="blank", unit="each")
        an_item(book, "WIPER", kind="supply", unit="each", amount_per_service=2)
        a_pack(book, "W-1", 500, unusable_rest=15, tare_mg=90_000)
        a_pack(book, "PRE-C", 5000)
        a_pack(book, "TEE-L", 12)
        a_pack(book, "WIPER", 10)
        a_shelf(book)
        a_slot(book, "W1")
        a_slot(book, "WT", feed="tank", capacity=2_000_000)
        order = a_row(book, customer_order, ref="O1", stage="released", placed_on=MONDAY)
        for number, owner in enumerate(("", "KIT"), start=1):
            a_row(
                book,
                order_line,
                order_id=order,
                line=number,
                blank_id=the_id(book, item, sku="TEE-L"),
                quantity=10_000,
                due_on=MONDAY,
                owner=owner,
            )
        for sku in SKUS:
            for code, life in (("A", 40), ("B", 300)):
                if sku != "PRE":
                    until = MONDAY + timedelta(days=life)
                    receive(book, Delivery(on=MONDAY, sku=sku, packs=3, lot=code, expires=until))
        mix(book, Mix("PRE", MONDAY, ready=6_000_000, code="A"))
        for slot in ("W1", "WT"):
            load(book, Load(slot, MONDAY, sku="W-1"))

    # -- doing ------------------------------------------------------------------------------

    def _do(self, action: Callable[[], Any], *, alone: bool = True) -> None:
        """Do one thing: it posts, or it is refused and nothing changed.

        ``alone``: it posts one entry, so that undoing this one brings everything back.
        """
        before = self._state()
        try:
            result = action()
        except Refused:
            assert self._state() == before
            return
        entry_id = getattr(result, "entry", None)
        if entry_id is not None:
            self.posted.append(entry_id)
            if alone:
                self.before[entry_id] = before

    @rule(days=st.integers(0, 30))
    def a_day_passes(self, days: int) -> None:
        self.day += timedelta(days=days)

    @rule(
        sku=skus, packs=st.integers(1, 4), code=lots, life=st.integers(-5, 200), dated=st.booleans()
    )
    def receive(self, sku: str, packs: int, code: str, life: int, dated: bool) -> None:
        until = self.day + timedelta(days=life) if dated else None
        amount = 3_000_000 if sku == "PRE" else None
        delivery = Delivery(
            on=self.day,
            sku=sku,
            packs=None if amount else packs,
            amount=amount,
            lot=code,
            expires=until,
        )
        self._do(lambda: receive(self.book, delivery))

    @rule(pieces=st.integers(1, 30), back=st.booleans())
    def garments(self, pieces: int, back: bool) -> None:
        if back:
            self._do(lambda: return_garments(self.book, "KIT", "TEE-L", pieces, on=self.day))
        else:
            self._do(lambda: receive_garments(self.book, "KIT", "TEE-L", pieces, on=self.day))

    @rule(
        slot=slots,
        code=lots,
        old=st.sampled_from(("", "empty", "keep", "waste")),
    )
    def load(self, slot: str, code: str, old: Any) -> None:
        self._do(lambda: load(self.book, Load(slot, self.day, sku="W-1", lot=code, old=old)))

    @rule(number=st.integers(0, 20), slot=slots)
    def load_container(self, number: int, slot: str) -> None:
        code = self._container(number)
        self._do(lambda: load(self.book, Load(slot, self.day, container=code, old="keep")))

    @rule(amount=some)
    def top_up(self, amount: int) -> None:
        self._do(lambda: load(self.book, Load("WT", self.day, sku="W-1", amount=amount)))

    @rule(slot=slots, old=st.sampled_from(("empty", "keep", "waste")))
    def unload(self, slot: str, old: Any) -> None:
        self._do(lambda: unload(self.book, slot, on=self.day, old=old))

    @rule(line=st.integers(1, 2), good=st.integers(0, 9), misprints=st.integers(0, 3))
    def print_pieces(self, line: int, good: int, misprints: int) -> None:
        catch_up(self.book, self.day)  # else the print posts the missing days beside its own entry
        self._do(lambda: log_print(self.book, PrintLog("O1", line, good, misprints, self.day)))

    @rule(ml=st.floats(0.001, 400), kind=st.sampled_from(("clean", "circulate", "start")))
    def upkeep(self, ml: float, kind: str) -> None:
        self._do(lambda: run_upkeep(self.book, "P1", kind, on=self.day, ml={"W": ml}))

    @rule(ml=st.floats(0, 9), pieces=st.integers(0, 2))
    def trial(self, ml: float, pieces: int) -> None:
        blank = "TEE-L" if pieces else ""
        self._do(
            lambda: trial_print(
                self.book, "P1", {"W": ml}, on=self.day, blank=blank, pieces=max(pieces, 1)
            )
        )

    @rule()
    def daily_upkeep(self) -> None:
        catch_up(self.book, self.day)

    @rule(grams=st.floats(0, 700), net=st.booleans(), number=st.integers(0, 20))
    def weigh(self, grams: float, net: bool, number: int) -> None:
        what = "W1" if number < 8 else self._container(number)
        self._do(lambda: weigh(self.book, Weighing(what, grams, self.day, net)))

    @rule(level=st.integers(0, 2_300_000), slot=slots)
    def dip(self, level: int, slot: str) -> None:
        self._do(lambda: dip(self.book, slot, level, on=self.day))

    @rule(sku=skus, code=lots, pieces=st.integers(0, 400), where=st.sampled_from(("SHELF", "COLD")))
    def count(self, sku: str, code: str, pieces: int, where: str) -> None:
        rows = [CountRow(where, sku, pieces * 1000, code)]
        self._do(lambda: count(self.book, rows, "recount", on=self.day))

    @rule(sku=skus, code=lots)
    def open_pack(self, sku: str, code: str) -> None:
        self._do(lambda: open_pack(self.book, sku, on=self.day, lot=code))

    @rule(number=st.integers(0, 20), amount=some)
    def decant_container(self, number: int, amount: int) -> None:
        code = self._container(number)
        self._do(lambda: decant(self.book, Decant(amount, self.day, container=code)))

    @rule(sku=skus, amount=some)
    def decant_pack(self, sku: str, amount: int) -> None:
        self._do(lambda: decant(self.book, Decant(amount, self.day, sku=sku, to="COLD")))

    @rule(ready=st.integers(1, 9_000_000))
    def mix(self, ready: int) -> None:
        self._do(lambda: mix(self.book, Mix("PRE", self.day, ready=ready)))

    @rule(sku=skus, code=lots, amount=some, all_of_it=st.booleans(), how=st.integers(0, 4))
    def set_aside(self, sku: str, code: str, amount: int, all_of_it: bool, how: int) -> None:
        choice = Choice(sku=sku, lot=code, amount=None if all_of_it else amount)
        actions: tuple[Callable[[], Any], ...] = (
            lambda: quarantine(self.book, choice, "frozen", on=self.day),
            lambda: release(self.book, choice, on=self.day),
            lambda: scrap(self.book, choice, "torn", on=self.day),
            lambda: return_to_supplier(self.book, choice, "wrong", on=self.day),
            lambda: move(self.book, choice, "COLD", on=self.day),
        )
        self._do(actions[how])

    @rule(number=st.integers(0, 20), how=st.integers(0, 3))
    def set_container_aside(self, number: int, how: int) -> None:
        choice = Choice(container=self._container(number))
        actions: tuple[Callable[[], Any], ...] = (
            lambda: quarantine(self.book, choice, "frozen", on=self.day),
            lambda: release(self.book, choice, on=self.day),
            lambda: scrap(self.book, choice, "torn", on=self.day),
            lambda: move(self.book, choice, "COLD", on=self.day),
        )
        self._do(actions[how])

    @rule(amount=some, slot=slots)
    def spill(self, amount: int, slot: str) -> None:
        choice = Choice(place=slot, amount=amount)
        self._do(lambda: scrap(self.book, choice, "spilled", on=self.day, spilled=True))

    @rule(how=st.integers(0, 3), value=st.floats(0, 1e6))
    def note(self, how: int, value: float) -> None:
        actions: tuple[Callable[[], Any], ...] = (
            lambda: service_done(self.book, "WIPER", on=self.day, printer_code="P1"),
            lambda: shaken(self.book, "W1", on=self.day),
            lambda: read_counter(self.book, Counter("P1", value, self.day, "W")),
            lambda: write_off_expired(self.book, on=self.day),
        )
        self._do(actions[how])

    @rule(sku=skus, code=lots, life=st.integers(-10, 300))
    def relabel(self, sku: str, code: str, life: int) -> None:
        until = self.day + timedelta(days=life)
        self._do(lambda: correct_expiry(self.book, sku, code, until, on=self.day))

    @precondition(lambda self: self.posted)
    @rule(back=st.integers(0, 12))
    def replace_lot(self, back: int) -> None:
        entry_id = self.posted[-1 - min(back, len(self.posted) - 1)]
        self._do(lambda: replace_lot(self.book, entry_id, on=self.day, lot_code="R"), alone=False)

    @precondition(lambda self: self.posted)
    @rule(back=st.integers(0, 12))
    def undo_something(self, back: int) -> None:
        entry_id = self.posted[-1 - min(back, len(self.posted) - 1)]
        self._do(lambda: undo(self.book, entry_id, on=self.day))

    @precondition(lambda self: self.posted)
    @rule()
    def undo_the_last(self) -> None:
        """The newest entry can always be undone, and then all is as it was before it."""
        with self.book.reading() as connection:
            last = connection.execute(select(entry).order_by(entry.c.id.desc()).limit(1)).one()
        if last.id != self.posted[-1]:
            return
        if last.reverses is not None or last.kind == "relabel":
            try:
                undo(self.book, last.id, on=self.day)
            except CannotUndo:
                return
            raise AssertionError("an undo was undone")
        undone = undo(self.book, last.id, on=self.day)
        if last.id in self.before:
            assert self._state() == self.before[last.id]
        self.posted.append(undone.entry)

    # -- what must hold ---------------------------------------------------------------------

    def _container(self, number: int) -> str:
        with self.book.reading() as connection:
            codes = connection.scalars(select(container.c.code).order_by(container.c.id)).all()
        return codes[number % len(codes)] if codes else "K0"

    def _state(self) -> Any:
        """Balances and live containers, as plain values."""
        with self.book.reading() as connection:
            stock = sorted(
                connection.execute(
                    select(
                        balance.c.place_id,
                        balance.c.lot_id,
                        balance.c.container_id,
                        balance.c.amount,
                    )
                ),
                key=repr,
            )
            boxes = sorted(
                connection.execute(
                    select(
                        container.c.id,
                        container.c.state,
                        container.c.place_id,
                        container.c.opened_on,
                        container.c.effective_expiry,
                    ).where(container.c.state != "empty")
                ),
                key=repr,
            )
        return [tuple(row) for row in stock], [tuple(row) for row in boxes]

    @invariant()
    def the_book_is_the_sum_of_its_movements(self) -> None:
        if not hasattr(self, "book"):
            return
        with self.book.reading() as connection:
            kinds = dict(map(tuple, connection.execute(select(place.c.id, place.c.kind))))
            legs = connection.execute(select(movement).order_by(movement.c.id)).all()
            stock = connection.execute(select(balance)).all()
            boxes = connection.execute(
                select(container, lot.c.sealed_expiry).join(lot, lot.c.id == container.c.lot_id)
            ).all()
        sums: dict[tuple[int, int, int | None], int] = defaultdict(int)
        outside: dict[int, int] = defaultdict(int)
        for leg in legs:
            assert leg.amount > 0
            if kinds[leg.from_place_id] in HOLDING:
                key = (leg.from_place_id, leg.lot_id, leg.from_container_id)
                sums[key] -= leg.amount
                assert sums[key] >= 0, f"movement {leg.id} took what was not there"
            else:
                outside[leg.item_id] -= leg.amount
            if kinds[leg.to_place_id] in HOLDING:
                sums[(leg.to_place_id, leg.lot_id, leg.to_container_id)] += leg.amount
            else:
                outside[leg.item_id] += leg.amount
        found = {(row.place_id, row.lot_id, row.container_id): row.amount for row in stock}
        assert found == {key: amount for key, amount in sums.items() if amount}
        inside: dict[int, int] = defaultdict(int)
        for row in stock:
            inside[row.item_id] += row.amount
        for item_id in inside.keys() | outside.keys():
            assert inside[item_id] + outside[item_id] == 0, "an item was made or lost"
        boxed = [row for row in stock if row.container_id is not None]
        at = {row.container_id: row.place_id for row in boxed}
        assert len(at) == len(boxed), "a container is in two places"
        for box in boxes:
            if box.id in at:
                assert box.place_id == at[box.id]
                assert WHERE[box.state] == kinds[at[box.id]]
            if box.state != "empty" and box.sealed_expiry is not None:
                assert box.effective_expiry is not None
                assert box.effective_expiry <= box.sealed_expiry

    def teardown(self) -> None:
        if not hasattr(self, "book"):
            return
        checked = check_book(self.book)
        damage = [finding for finding in checked.findings if finding.damage]
        self.book.close()
        assert damage == []

"""Orders, reorder and what-if by keys alone, at 80 × 24."""

from __future__ import annotations

from types import SimpleNamespace

from textual.widgets import Input, Static

from stock.screens.reorder import meaning
from stock.screens.widgets.rows import Rows
from stock.shop.consequence import Consequence
from tests.screens.conftest import held, press, settled, shown, type_in


def detail(pilot) -> str:
    return str(pilot.app.screen.query_one("#reorder-detail", Static).render())


async def test_a_line_shows_its_arithmetic_and_its_chart(opened):
    async with opened() as pilot:
        await press(pilot, "6")
        assert pilot.app.screen.query_one(Rows).count >= 1
        assert "Position" in detail(pilot)
        await press(pilot, "c")
        assert "stock if nothing is ordered" in shown(pilot)
        await press(pilot, "f9")
        assert "usable stock" in str(
            pilot.app.screen.query_one("#reorder-chart Static", Static).render()
        )
        await press(pilot, "c")
        assert "Position" in detail(pilot)


async def test_a_wide_window_shows_arithmetic_and_chart_at_once(opened):
    async with opened(size=(160, 48)) as pilot:
        await press(pilot, "6")
        assert "Position" in shown(pilot)
        assert "stock if nothing is ordered" in shown(pilot)
        assert "chart" not in {b.binding.action for b in pilot.app.screen.active_bindings.values()}
        for size in ((160, 36), (80, 48), (80, 24)):
            await pilot.resize_terminal(*size)
            await settled(pilot)
            assert "Position" in shown(pilot)
            assert "stock if nothing is ordered" not in shown(pilot)
            await press(pilot, "c")
            assert "stock if nothing is ordered" in shown(pilot)
            assert "Position" not in shown(pilot)
            await press(pilot, "c")


def test_a_risk_no_order_can_take_away_is_named():
    line = SimpleNamespace(unit="each")
    told = meaning(line, Consequence(9, 9.0, 0.08, None, 900.0, before_arrival=0.07))
    assert told.endswith("with chance 8 %, 7 % of it before this order can be here.")
    told = meaning(line, Consequence(9, 9.0, 0.08, None, 900.0, before_arrival=0.001))
    assert told.endswith("with chance 8 %.")


async def test_changed_packs_say_what_they_mean(opened):
    async with opened() as pilot:
        await press(pilot, "6")
        line = pilot.app.screen.query_one(Rows).current
        await press(pilot, "plus")
        assert f"{line.packs + 1} ({line.packs})" in shown(pilot)
        assert f"By hand: {line.packs + 1} packs instead of {line.packs}" in detail(pilot)
        assert "runs out before the next chance delivers with chance" in detail(pilot)
        await press(pilot, "minus")
        assert "By hand" not in detail(pilot)


async def test_the_consequence_is_told_while_packs_are_typed(opened):
    async with opened() as pilot:
        await press(pilot, "6", "enter", *["backspace"] * 3)
        await type_in(pilot, "0")
        await press(pilot, "end")
        none = str(pilot.app.screen.query_one("#form-means", Static).render())
        assert "0 packs" in none
        await press(pilot, "backspace", "9", "9")
        many = str(pilot.app.screen.query_one("#form-means", Static).render())
        assert "99 packs" in many
        assert "chance" in many
        await press(pilot, "enter")
        assert "99 (" in shown(pilot)
        await press(pilot, "enter", "x", "enter")
        assert "is not a whole number" in shown(pilot)


async def test_what_if_puts_two_lists_side_by_side_and_leaves_the_book_alone(opened, book_file):
    before = held(book_file, "TEE-BLK-L")
    async with opened() as pilot:
        await press(pilot, "6", "w")
        await type_in(pilot, "lead NOBODY +5")
        await press(pilot, "enter")
        assert "There is no supplier 'NOBODY'" in shown(pilot)
        assert pilot.app.screen.query_one("#change", Input).value == "lead NOBODY +5"
        await press(pilot, *["backspace"] * 14)
        await type_in(pilot, "won A2")
        await press(pilot, "enter")
        assert "If quote A2 becomes an order" in shown(pilot)
        rows = pilot.app.screen.query_one(Rows)
        assert rows.count >= 1
        blank = next(rows.row(n) for n in range(rows.count) if rows.row(n).item == "TEE-BLK-L")
        # at even odds the service of 95 in 100 covers the quote already; without it more is short
        assert blank.after.packs >= blank.before.packs
        assert blank.after.stockout_chance > blank.before.stockout_chance
        await type_in(pilot, "lost A1")
        await press(pilot, "enter")
        assert "A1 falls away" in " ".join(shown(pilot).split())
        await press(pilot, "escape")
        assert "lines from" in shown(pilot) or "line from" in shown(pilot)
    assert held(book_file, "TEE-BLK-L") == before


async def test_an_accepted_list_is_on_order_and_gone(opened):
    async with opened() as pilot:
        await press(pilot, "6")
        lines = pilot.app.screen.query_one(Rows).count
        assert lines
        await press(pilot, "a", "a")
        assert f"{lines} lines on draft purchase orders" in shown(pilot)
        assert pilot.app.screen.query_one(Rows).count == 0


async def test_only_one_supplier_s_lines_are_accepted_with_packs_by_hand(opened):
    async with opened() as pilot:
        await press(pilot, "6")
        rows = pilot.app.screen.query_one(Rows)
        suppliers = list(dict.fromkeys(rows.row(n).supplier for n in range(rows.count)))
        own = [rows.row(n) for n in range(rows.count) if rows.row(n).supplier == suppliers[0]]
        await press(pilot, "plus", "a", "1")
        assert f"{len(own)} lines on draft purchase orders" in shown(pilot)
        await press(pilot, "p", "enter")
        packs = {line.item: line.packs for line in pilot.app.screen.purchase.lines}
        assert packs[own[0].item] == own[0].packs + 1
        assert set(packs) == {line.item for line in own}


async def test_orders_say_what_can_be_printed_and_what_one_of_them_needs(opened):
    async with opened() as pilot:
        await press(pilot, "5")
        text = shown(pilot)
        assert "2 orders, 3 lines, 42 pieces" in text
        assert "can be printed" in text or "cannot be printed" in text
        await press(pilot, "slash")
        await type_in(pilot, "nobody")
        assert 'No line with "nobody".' in shown(pilot)
        await press(pilot, "escape", "t")
        assert "1 order, 2 lines" in shown(pilot)
        await press(pilot, "c")
        assert "Pieces left to print" in shown(pilot)
        await press(pilot, "enter")
        text = shown(pilot)
        assert "TEE-BLK-L" in text
        assert "INK-W" in text
        await press(pilot, "p")
        assert pilot.app.current_mode == "press"
        assert pilot.app.screen.query_one(Rows).current.order == "A1"


async def test_expiry_shows_lots_on_a_line_of_weeks_and_as_a_chart(opened):
    async with opened() as pilot:
        await press(pilot, "7")
        text = shown(pilot)
        assert "2 lots within 90 days" in text
        assert "···●·········" in text
        await press(pilot, "w")
        assert "within 180 days" in shown(pilot)
        await press(pilot, "c")
        assert "Value expected to be left" in shown(pilot)
        await press(pilot, "enter", "i")
        assert "INK-Y" in shown(pilot)

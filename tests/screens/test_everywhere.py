"""What holds on every screen: numbers, keys, the palette, refusals, first run, resizing."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

import pytest
from textual.actions import parse
from textual.screen import ModalScreen
from textual.widgets import Input
from textual.widgets._footer import FooterKey

from stock.errors import Refused
from stock.screens.base import ShopScreen
from stock.screens.keys import MOVING, keys_of
from stock.screens.widgets.rows import Rows
from stock.shop import open_book
from stock.shop.onhand import on_hand
from tests.screens.conftest import FILES, press, settled, shown, type_in

PUSHED = {
    "item": ("4", "enter"),
    "count": ("4", "b"),
    "history": ("1", "h"),
    "movements": ("4", "h"),
    "order": ("5", "enter"),
    "what if": ("6", "w"),
    "purchases": ("6", "p"),
    "purchase": ("6", "p", "enter"),
}


@pytest.mark.parametrize(
    ("key", "mode", "words"),
    [
        ("1", "today", "need you"),
        ("2", "receive", "Booked last"),
        ("3", "press", "2 jobs to print"),
        ("4", "shelf", "8 items"),
        ("5", "orders", "2 orders"),
        ("6", "reorder", "from"),
        ("7", "expiry", "2 lots within 90 days"),
    ],
)
async def test_a_number_leads_to_each_screen(opened, key, mode, words):
    async with opened() as pilot:
        await press(pilot, f"f{key}")
        assert pilot.app.current_mode == mode
        assert words in shown(pilot)


EVERY_SCREEN = [(f"f{n}",) for n in range(1, 8)] + list(PUSHED.values())


async def each_screen(pilot):
    """Every screen in turn, those opened from others too."""
    await press(pilot, "6", "a", "a")  # so that there is a purchase order
    for keys in EVERY_SCREEN:
        for key in keys:
            await press(pilot, key)
        screen = pilot.app.screen
        assert isinstance(screen, ShopScreen)
        yield screen
        while len(pilot.app.screen_stack) > 1:
            pilot.app.pop_screen()
            await settled(pilot)


def declared(screen: ShopScreen) -> set[str]:
    """Names of the actions written down for the screen that are possible now."""
    return {
        bound.description
        for kind in type(screen).__mro__
        if issubclass(kind, ShopScreen)
        for bound in kind.BINDINGS
        if bound.description
        and bound.key not in MOVING
        and not bound.action.startswith(("app.", "screen."))
        and screen.check_action(*action_of(bound.action)) is not False
    }


def action_of(text: str) -> tuple[str, tuple[object, ...]]:
    _, name, parameters = parse(text)
    return name, parameters


async def test_every_action_has_one_name_in_the_palette_and_in_the_keys(opened):
    """Of the seven screens and of those opened from them."""
    checked = 0
    async with opened() as pilot:
        async for screen in each_screen(pilot):
            titles = [command.title for command in pilot.app.get_system_commands(screen)]
            assert len(titles) == len(set(titles)), f"named twice: {sorted(titles)}"
            names = declared(screen)
            assert names <= set(titles)
            screen.set_focus(None)
            told = {does.split(":")[0] for _, does in keys_of(screen)}
            assert names <= told, f"{type(screen).__name__}: {names - told} not among the keys"
            checked += len(names)
    assert checked > 60


async def test_while_something_is_typed_no_letter_is_named_as_a_key(opened):
    """Neither in the footer nor among the keys: it would be written into the field."""
    fields = 0
    async with opened() as pilot:
        async for screen in each_screen(pilot):
            for field in screen.query(Input):
                if not field.focusable:
                    continue
                field.focus()
                await settled(pilot)
                told = keys_of(screen)
                assert ("F10", "Keys: the keys in force here") in told
                assert not [line for line in told if len(line[0]) == 1], told
                assert "shift" not in str(told), "what every field does needs no line"
                footer = [key.key_display for key in screen.query(FooterKey)]
                assert footer
                assert not [key for key in footer if len(key) == 1], footer
                fields += 1
    assert fields > 5


async def test_the_keys_in_force_are_those_of_the_screen(opened):
    async with opened() as pilot:
        await press(pilot, "7", "question_mark")
        text = shown(pilot)
        assert "Write off" in text
        assert "Undo" not in text
        assert "Log a run" not in text
        await press(pilot, "escape", "3", "g", "question_mark")
        assert "Undo" in shown(pilot)


async def test_an_action_runs_from_the_palette_by_its_name(opened):
    async with opened() as pilot:
        await press(pilot, "7")
        await pilot.press("ctrl+p")
        await type_in(pilot, "Further")
        await pilot.pause(0.3)
        await press(pilot, "enter")
        assert "within 180 days" in shown(pilot)


async def test_numbers_do_not_leave_a_question(opened):
    async with opened() as pilot:
        await press(pilot, "3", "enter")
        assert isinstance(pilot.app.screen, ModalScreen)
        await press(pilot, "f7")
        assert pilot.app.current_mode == "press"
        await press(pilot, "escape", "f7")
        assert pilot.app.current_mode == "expiry"


async def test_an_empty_address_leads_a_newcomer_from_step_to_step(opened, tmp_path):
    async with opened(address=str(tmp_path / "new.sqlite")) as pilot:
        assert "There is no book" in shown(pilot)
        assert "invented shop" in shown(pilot)
        await press(pilot, "c")
        assert "No suppliers in the book yet" in shown(pilot)
        for kind in ("suppliers", "items", "packs", "printers"):
            (tmp_path / f"{kind}.csv").write_text(FILES[kind], encoding="utf-8")
            assert f"No {kind} in the book yet" in shown(pilot)
            await press(pilot, "home", "enter", "enter")
            await type_in(pilot, str(tmp_path / f"{kind}.csv"))
            await press(pilot, "ctrl+s")
            assert f"{kind}: " in shown(pilot)
        await press(pilot, "4")
        assert "8 items" in shown(pilot)
        await press(pilot, "3")
        assert "No jobs" in shown(pilot)
        await press(pilot, "6")
        assert "from" in shown(pilot) or "Nothing to order" in shown(pilot)
        await press(pilot, "7")
        assert "No lot expires" in shown(pilot)
    assert (tmp_path / "new.sqlite").exists()


async def test_a_file_with_faults_takes_nothing_and_the_faults_are_listed(opened, tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("sku,kind\nX1,ink\n,blank\n", encoding="utf-8")
    async with opened() as pilot:
        await press(pilot, "1", "i")
        await type_in(pilot, "items")
        await press(pilot, "enter")
        await type_in(pilot, str(bad))
        await press(pilot, "ctrl+s")
        assert "nothing was taken" in " ".join(shown(pilot).split())
        assert "line 2" in shown(pilot) or "line 3" in shown(pilot)
        await press(pilot, "escape", "4")
        assert "8 items" in shown(pilot)


async def test_a_damaged_book_is_said_and_can_be_tried_again(opened, tmp_path, book_file):
    place = tmp_path / "damaged.sqlite"
    place.write_bytes(b"this is no book at all" * 100)
    async with opened(address=str(place)) as pilot:
        assert "not a book" in " ".join(shown(pilot).split())
        place.write_bytes(book_file.read_bytes())
        await press(pilot, "r")
        assert "need you" in shown(pilot)


async def test_text_from_outside_cannot_steer_the_terminal(opened, book_file):
    from datetime import date

    from stock.shop.receive import Delivery, receive

    book = open_book(book_file)
    plain = Delivery(on=date(2026, 3, 10), sku="INK-C", packs=1, lot="L-plain", expires=None)
    with pytest.raises(Refused, match=r"invisible character U\+001B"):
        receive(book, replace(plain, lot="L\x1b[2Jx[bold]"))
    receive(book, plain)
    book.close()
    with sqlite3.connect(book_file) as raw:  # by another program, past the door of the book
        raw.execute("UPDATE lot SET code = ? WHERE code = 'L-plain'", ("L\x1b[2Jx[bold]",))
    raw.close()
    book = open_book(book_file)
    assert any("\x1b" in row.lot for row in on_hand(book))
    book.close()
    async with opened() as pilot:
        for keys in (("2",), ("4", "enter"), ("h",)):
            await press(pilot, *(("escape",) if pilot.app.current_mode == "receive" else ()), *keys)
            assert "\x1b" not in shown(pilot)
            assert "[bold]" in shown(pilot)


async def test_a_window_made_small_and_large_while_it_works_survives(opened):
    async with opened(size=(160, 48)) as pilot:
        await pilot.press("6")
        await pilot.resize_terminal(80, 24)
        await settled(pilot)
        assert "[6 Reorder]" in shown(pilot)
        for size in ((40, 12), (20, 5), (160, 48)):
            await pilot.resize_terminal(*size)
            await settled(pilot)
        assert "from" in shown(pilot)


async def test_a_long_list_is_read_in_pages_as_it_is_scrolled(opened, book_file, tmp_path):
    from datetime import date

    from stock.shop.imports import import_rows

    many = "sku,kind,style,colour,size,shade\n" + "".join(
        f"ZZ-{n:04},blank,ZZ,RED,M,dark\n" for n in range(1200)
    )
    (tmp_path / "items.csv").write_text(many)
    book = open_book(book_file)
    import_rows(book, "items", tmp_path / "items.csv", on=date(2026, 3, 11))
    book.close()
    async with opened() as pilot:
        await press(pilot, "4")
        rows = pilot.app.screen.query_one("#items", Rows)
        assert rows.count == 1208
        assert rows.row(1000) is None
        await press(pilot, "end")
        assert rows.current.sku == "ZZ-1199"
        assert "ZZ-1199" in shown(pilot)
        await press(pilot, "pageup", "pageup")
        assert rows.current.sku < "ZZ-1170"
        await press(pilot, "enter")
        assert "None of it is here" in shown(pilot)
        await press(pilot, "escape")
        assert rows.current.sku < "ZZ-1170"

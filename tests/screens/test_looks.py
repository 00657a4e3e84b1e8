"""Every screen whole, in both sizes and every look; words that stand out; no cell that is cut."""

from __future__ import annotations

import difflib
import importlib.util
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from rich.cells import cell_len
from rich.color import Color
from textual.pilot import Pilot
from textual.screen import ModalScreen
from textual.widgets import Footer, Static

from stock.screens.look import DARK, LIGHT
from stock.screens.widgets.rows import Rows
from tests.screens.conftest import press, shown
from tests.screens.looks import SCREENS, SIZES, leave, read, section, visit

ROOT = Path(__file__).parents[2]
PLANNED = {"today", "shelf item", "orders", "reorder", "reorder what if", "expiry"}
"""Screens with figures out of fits and drawn paths: another processor may move a last digit."""
ALOUD = {
    "today": {"what needs you"},
    "today history": {"what moved", "note"},
    "shelf": {"name"},
    "shelf slots": {"lots"},
    "shelf count": {"name"},
}
"""Columns of free text that may be cut: the line below the table, or Enter, shows it whole."""
WIDTHS = (160, 130, 118, 110, 80)
TEXT, GRAPHICS = 4.5, 3.0
"""Least contrast of text and of what is drawn (WCAG 2.1, success criteria 1.4.3 and 1.4.11)."""


def compared() -> Any:
    """The comparison the pictures of the guide use too."""
    place = ROOT / ".ci" / "pictures.py"
    spec = importlib.util.spec_from_file_location("pictures", place)
    assert spec is not None
    assert spec.loader is not None
    module = sys.modules["pictures"] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


PICTURES = compared()


def same(name: str, kept: str, now: str) -> bool:
    """Letter by letter; where figures are planned, last digits may differ, and bars with them."""
    if kept == now or name not in PLANNED:
        return kept == now
    olds, news = kept.split("\n"), now.split("\n")
    return len(olds) == len(news) and all(map(_near, olds, news))


def _near(old: str, new: str) -> bool:
    pair = [
        [part for part in PICTURES.TOKEN.findall(line) if not PICTURES.DRAWN.fullmatch(part)]
        for line in (old, new)
    ]
    return [PICTURES.shape(part) for part in pair[0]] == [
        PICTURES.shape(part) for part in pair[1]
    ] and all(
        PICTURES.near(one, other)
        for one, other in zip(*pair, strict=True)
        if PICTURES.shape(one) != one
    )


def against(name: str, head: str, now: str) -> None:
    """Fail with a readable difference where a screen is not what is kept."""
    sections = read(name)
    kept = sections.get(head, sections.get(head.replace(", NO_COLOR", "")))
    assert kept is not None, f"{name} {head} is not kept: .venv/bin/python -m tests.screens.looks"
    if not same(name, kept, now):
        lines = difflib.unified_diff(
            kept.split("\n"), now.split("\n"), "kept", "now", lineterm="", n=1
        )
        pytest.fail(
            f"{name} {head} looks another way than it is kept. If it should: "
            ".venv/bin/python -m tests.screens.looks\n" + "\n".join(lines),
            pytrace=False,
        )


@pytest.mark.parametrize("size", SIZES, ids="{0[0]}x{0[1]}".format)
async def test_every_screen_looks_as_it_is_kept_and_stands_out_dark_and_light(opened, size):
    async with opened(size=size) as pilot:
        for name in SCREENS:
            await visit(pilot, name)
            against(name, section(size, plain=False), shown(pilot))
            seen = {}
            for theme in (DARK, LIGHT):
                if pilot.app.theme != theme.name:
                    pilot.app.theme = theme.name
                    await pilot.pause()
                seen[theme.name] = shown(pilot), looks(pilot)
                too_faint = faint(pilot)
                assert not too_faint, (name, theme.name, too_faint)
            dark, light = seen.values()
            assert dark[0] == light[0], name
            assert [attributes for _, attributes in dark[1]] == [
                attributes for _, attributes in light[1]
            ], name
            colours = [{colours for colours, _ in part[1]} for part in (dark, light)]
            assert not colours[0] & colours[1], name
            pilot.app.theme = DARK.name
            await leave(pilot)


@pytest.mark.parametrize("size", SIZES, ids="{0[0]}x{0[1]}".format)
async def test_without_colour_every_screen_says_the_same(opened, size, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    async with opened(size=size) as pilot:
        for name in SCREENS:
            await visit(pilot, name)
            against(name, section(size, plain=True), shown(pilot))
            for colours, _ in looks(pilot):
                assert colours == (None, None), name
            if any(rows.count and rows.has_focus for rows in pilot.app.screen.query(Rows)):
                assert any("reverse" in attributes for _, attributes in looks(pilot)), name
            await leave(pilot)


def strips(pilot: Pilot[Any]) -> Iterator[Any]:
    """Parts of the screen as they are written, line by line, questions over what is below."""
    for strip in pilot.app.screen._compositor.render_strips():
        yield from strip


def in_force(pilot: Pilot[Any]) -> Iterator[Any]:
    """The same without what a question covers: what cannot be used now, 1.4.3 leaves out."""
    screen = pilot.app.screen
    if not isinstance(screen, ModalScreen):
        yield from strips(pilot)
        return
    box = screen.query_one("#form").region
    for line, strip in enumerate(screen._compositor.render_strips()):
        if box.y <= line < box.bottom:
            yield from strip.crop(box.x, box.right)


def looks(pilot: Pilot[Any]) -> list[tuple[tuple[Any, Any], str]]:
    """Colours, and what is told without colour, of every part with letters in it."""
    found = []
    for part in strips(pilot):
        if part.text.strip() and part.style is not None:
            style = part.style
            kinds = ("reverse", "bold", "underline")
            attributes = " ".join(kind for kind in kinds if getattr(style, kind))
            found.append(((named(style.color), named(style.bgcolor)), attributes))
    return found


def named(colour: Color | None) -> str | None:
    """A colour's name; None where the terminal's own is used."""
    return None if colour is None or colour.is_default else colour.name


def faint(pilot: Pilot[Any]) -> set[tuple[str, str, str, float]]:
    """Text, letters, ground and contrast of what does not stand out enough."""
    found = set()
    for part in in_force(pilot):
        text, style = part.text.strip(), part.style
        if not text or style is None or set(text) <= set("│─▔▁▎▊┌┐└┘├┤┬┴┼ "):
            continue  # lines between parts tell nothing: 1.4.11 leaves them out
        pair = (named(style.color), named(style.bgcolor))
        assert None not in pair, (text, pair)
        least = TEXT if any(letter.isalnum() for letter in text) else GRAPHICS
        ratio = contrast(*pair)
        if ratio < least:
            found.add((text[:30], *pair, round(ratio, 2)))
    return found


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two sRGB colours (WCAG 2.1, W3C Recommendation 2018, definitions).

    The recommendation's own bounds: black on white is 21 to 1, a colour on itself 1 to 1.
    """
    lights = sorted((luminance(one), luminance(other)), reverse=True)
    return (lights[0] + 0.05) / (lights[1] + 0.05)


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.1, definition)."""

    def linear(byte: int) -> float:
        share = byte / 255
        return share / 12.92 if share <= 0.03928 else ((share + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(byte) for byte in Color.parse(colour).get_truecolor())
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_contrast_is_measured_as_the_recommendation_defines_it():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#777777") == pytest.approx(1)
    # Known from practice, W3C technique G18: #767676 is the lightest grey that passes on white.
    assert contrast("#767676", "#ffffff") >= TEXT > contrast("#777777", "#ffffff")


async def test_no_cell_that_matters_is_cut_at_any_width(opened, shop_book):
    book, day = shop_book
    async with opened(size=(WIDTHS[0], 24), address=str(book), day=day) as pilot:
        for name in sorted(SCREENS.keys() - {"today import", "press form", "keys"}):
            await visit(pilot, name)
            for width in WIDTHS:
                await pilot.resize_terminal(width, 24)
                assert not list(cut(pilot, ALOUD.get(name, set()))), (name, width)
            await pilot.resize_terminal(WIDTHS[0], 24)
            await leave(pilot)


def cut(pilot: Pilot[Any], aloud: set[str]) -> Iterator[str]:
    """What does not fit on the present screen."""
    for rows in pilot.app.screen.query(Rows):
        if rows.is_on_screen:
            yield from cut_cells(rows, aloud)
    for text in pilot.app.screen.query(Static):
        within = any(parent.styles.overflow_y in ("auto", "scroll") for parent in text.ancestors)
        if text.is_on_screen and not within:
            needs = text.visual.get_height(text.styles, text.size.width)
            if needs > text.size.height:
                yield f"{text.id} needs {needs} lines and has {text.size.height}"
    for footer in pilot.app.screen.query(Footer):
        if footer.virtual_size.width > footer.size.width:
            yield "keys"


def cut_cells(rows: Rows, aloud: set[str]) -> Iterator[str]:
    """Heads and cells of the rows here that are wider than their column."""
    widths = list(zip(rows.columns, rows._widths, strict=True))
    for column, wide in widths:
        if wide and cell_len(column.title) > wide:
            yield f"head {column.title}"
    for number in range(rows.count):
        row = rows.row(number)
        if row is None:
            return
        for cell, (column, wide) in zip(rows.cells(row), widths, strict=True):
            if wide and cell_len(cell) > wide and column.title not in aloud:
                yield f"{column.title}: {cell} in {wide}"


async def test_the_cursor_is_seen_without_colour(opened, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    async with opened() as pilot:
        await press(pilot, "4")
        assert "›INK-C" in shown(pilot)
        assert os.environ["NO_COLOR"] == "1"

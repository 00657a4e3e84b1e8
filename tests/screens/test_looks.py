"""Every screen at two sizes, light and dark, and without colour: what matters is not cut."""

from __future__ import annotations

import itertools

import pytest
from textual.color import Color
from textual.widgets import Footer

from stock.screens.look import DARK, LIGHT
from tests.screens.conftest import press, shown

WANTED = {
    "f1": ("what needs you", "where", "Import", "History"),
    "f2": ("Scan/item", "Packs", "Lot", "Use by", "Purchase", "Booked last", "Book it"),
    "f3": ("due", "order", "garment", "left", "printer", "Hot press", "All good"),
    "f4": ("item", "on shelf", "in slots", "first date", "Load", "Count", "Count all"),
    "f5": ("week", "due", "print?", "garment", "left", "stage", "Stages", "Chart"),
    "f6": ("item", "packs", "order by", "runs out", "expires", "cost", "Accept", "What if"),
    "f7": ("use by", "days", "left", "weeks ahead", "at risk", "Write off", "Set aside"),
}
"""Heads of columns and names of keys each screen must show in full."""


@pytest.mark.parametrize("size", [(80, 24), (160, 48)])
@pytest.mark.parametrize("look", ["dark", "light", "no colour"])
async def test_every_screen_fits_in_every_look(opened, size, look, monkeypatch):
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("STOCK_THEME", look)
    if look == "no colour":
        monkeypatch.setenv("NO_COLOR", "1")
    async with opened(size=size) as pilot:
        assert pilot.app.theme == (LIGHT.name if look == "light" else DARK.name)
        for key, words in WANTED.items():
            await press(pilot, key)
            text = shown(pilot)
            for word in words:
                assert word in text, (key, word, text)
            lines = text.splitlines()
            assert len(lines) == size[1]
            assert max(map(len, lines)) <= size[0]
            footer = pilot.app.screen.query_one(Footer)
            assert footer.virtual_size.width <= size[0], key
            assert text.count("✗") == 0


async def test_without_colour_nothing_is_coloured_and_the_cursor_is_still_seen(opened, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    async with opened() as pilot:
        await press(pilot, "4")
        painted = itertools.chain.from_iterable(pilot.app.screen._compositor.render_strips())
        styles = [part.style for part in painted if part.style is not None]
        for style in styles:
            for colour in (style.color, style.bgcolor):
                assert colour is None or colour.is_default
        assert any(style.reverse for style in styles)
        assert "›INK-C" in shown(pilot)


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2, W3C Recommendation, definition)."""

    def linear(byte: int) -> float:
        share = byte / 255
        return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(byte) for byte in Color.parse(colour).rgb)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("theme", [DARK, LIGHT], ids=lambda theme: theme.name)
@pytest.mark.parametrize("name", ["foreground", "secondary", "warning", "error"])
def test_words_stand_out_from_their_ground(theme, name):
    """Contrast at least 4.5 to 1 (WCAG 2.2, success criterion 1.4.3)."""
    for ground in ("background", "surface"):
        pair = sorted(
            (luminance(getattr(theme, name)), luminance(getattr(theme, ground))), reverse=True
        )
        assert (pair[0] + 0.05) / (pair[1] + 0.05) >= 4.5

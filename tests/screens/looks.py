"""Every screen whole, as text, at two sizes, with colours and without: kept in ``looks/``.

    .venv/bin/python -m tests.screens.looks      draws them anew

``test_looks.py`` compares. One file a screen, a section a size; dark and light show the same text,
and so does NO_COLOR where it has no section of its own.
"""

from __future__ import annotations

import asyncio
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from textual.pilot import Pilot

from stock.screens.app import StockApp
from tests.screens.conftest import DAY, make_template, neutral, press, settled, shown

KEPT = Path(__file__).parent / "looks"
SIZES = ((80, 24), (160, 48))
SCREENS: dict[str, tuple[str, ...]] = {
    "today": ("f1",),
    "today history": ("f1", "h"),
    "today import": ("f1", "i"),
    "receive": ("f2",),
    "receive purchases": ("f2", "ctrl+o"),
    "press": ("f3",),
    "press form": ("f3", "enter"),
    "shelf": ("f4", "home"),
    "shelf slots": ("f4", "s"),
    "shelf item": ("f4", "home", "enter"),
    "shelf count": ("f4", "b"),
    "orders": ("f5",),
    "orders needs": ("f5", "enter"),
    "reorder": ("f6",),
    "reorder what if": ("f6", "w"),
    "expiry": ("f7",),
    "keys": ("f3", "question_mark"),
}
"""Name and the keys that lead there from any of the seven screens."""


def section(size: tuple[int, int], plain: bool) -> str:
    """What a section of a file is headed."""
    return f"══ {size[0]} × {size[1]}{', NO_COLOR' if plain else ''} ══"


async def visit(pilot: Pilot[Any], name: str) -> None:
    """Go to a screen by its keys."""
    await press(pilot, *SCREENS[name])
    if name.startswith("receive"):
        pilot.app.set_focus(None)  # a blinking cursor is in no picture
        await settled(pilot)


async def leave(pilot: Pilot[Any]) -> None:
    """Back to one of the seven screens as it was first seen."""
    while len(pilot.app.screen_stack) > 1:
        await press(pilot, "escape")
    if pilot.app.current_mode == "shelf":
        await press(pilot, "escape")


async def texts(book_file: Path) -> dict[str, dict[str, str]]:
    """By screen and section, what stands there."""
    found: dict[str, dict[str, str]] = {name: {} for name in SCREENS}
    for size in SIZES:
        for plain in (False, True):
            os.environ.pop("NO_COLOR", None)
            if plain:
                os.environ["NO_COLOR"] = "1"
            app = StockApp(str(book_file), day=DAY)
            async with app.run_test(size=size) as pilot:
                await settled(pilot)
                for name in SCREENS:
                    await visit(pilot, name)
                    found[name][section(size, plain)] = shown(pilot)
                    await leave(pilot)
    return found


def read(name: str) -> dict[str, str]:
    """The sections kept of a screen."""
    return dict(_sections((KEPT / f"{name.replace(' ', '-')}.txt").read_text("utf-8")))


def _sections(text: str) -> Iterator[tuple[str, str]]:
    head, lines = "", []
    for line in text.split("\n"):
        if line.startswith("══ "):
            if head:
                yield head, "\n".join(lines)
            head, lines = line, []
        else:
            lines.append(line)
    yield head, "\n".join(lines[:-1])


def main() -> None:
    """Draw all of them anew."""
    with tempfile.TemporaryDirectory() as place:
        for name, value in neutral(Path(place)).items():
            os.environ.pop(name, None)
            if value is not None:
                os.environ[name] = value
        found = asyncio.run(texts(make_template(Path(place))))
    KEPT.mkdir(exist_ok=True)
    for name, sections in found.items():
        for head in [head for head in sections if head.endswith(", NO_COLOR ══")]:
            if sections[head] == sections[head.replace(", NO_COLOR", "")]:
                del sections[head]
        whole = "".join(f"{head}\n{text}\n" for head, text in sections.items())
        (KEPT / f"{name.replace(' ', '-')}.txt").write_text(whole, "utf-8")


if __name__ == "__main__":
    main()

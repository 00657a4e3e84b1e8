"""Draw the screens of the real app on the demo shop as SVG, or compare with what is kept.

.ci/shots            draw them into stock/guide
.ci/shots --check    draw them elsewhere and compare: words, numbers, colours (see pictures.py)

What the terminal, the person's settings, the clock or the time zone would change is set here.
"""

from __future__ import annotations

import asyncio
import os
import re
import sys
import tempfile
import time
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pictures import differences, made_with, missing, versions

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from stock.screens.app import StockApp

KEPT = Path(__file__).parent.parent / "stock" / "guide"
DAY = date(2026, 3, 9)
SIZE = (130, 34)
SHOTS = {
    "today": ("1",),
    "receive": ("f2",),
    "press": ("f3",),
    "slots": ("f4", "s"),
    "orders": ("f5",),
    "reorder": ("f6",),
    "expiry": ("f7",),
}
OURS = ("STOCK_", "TEXTUAL")
"""Beginnings of the names of variables that change the app or its library."""
LOOKS = ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LINES", "TERM", "COLORTERM")
PATIENCE = 240.0
"""Seconds after which a screen that still works is given up, on the slowest machine."""


def alike_everywhere(folder: Path) -> None:
    """Take this machine, its person and its terminal out of what is drawn."""
    for name in [name for name in os.environ if name.startswith(OURS) or name in LOOKS]:
        del os.environ[name]
    settings = folder / "settings.toml"
    settings.touch()
    os.environ |= {
        "STOCK_SETTINGS": str(settings),
        "STOCK_CACHE": str(folder / "cache"),
        "USER": "press 1",
        "TZ": "UTC",
        "TERM": "xterm-256color",
    }
    if hasattr(time, "tzset"):
        time.tzset()


async def settled(app: StockApp, pilot: Pilot[Any]) -> None:
    """Wait until no worker runs."""
    deadline = time.monotonic() + PATIENCE
    while time.monotonic() < deadline:
        await pilot.pause()
        if not [worker for worker in app.workers if worker.is_running]:
            await pilot.pause()
            if not [worker for worker in app.workers if worker.is_running]:
                return
        await asyncio.sleep(0.05)
    raise SystemExit("the app did not come to rest")


async def draw(book: str) -> dict[str, tuple[str, list[str]]]:
    """Press the keys of every shot; by its name, what stands then and its frame."""
    from stock.screens.app import StockApp

    found = {}
    app = StockApp(book, day=DAY)
    async with app.run_test(size=SIZE) as pilot:
        await settled(app, pilot)
        for name, keys in SHOTS.items():
            await pilot.press(*keys)
            await settled(app, pilot)
            if name == "receive":
                app.set_focus(None)
            await pilot.pause()
            found[name] = plain(app.export_screenshot(title="stock")), frame(app)
    return found


def frame(app: StockApp) -> list[str]:
    """What stands on the present screen whatever the book holds."""
    from textual.widgets import Footer, Label

    from stock.screens.widgets.rows import Rows
    from stock.screens.widgets.strip import PLACES

    screen = app.screen
    texts = [f"{key} {name}" for key, _, name in PLACES]
    texts += [str(label.content) for label in screen.query(Label) if label.is_on_screen]
    for rows in screen.query(Rows):
        if rows.is_on_screen:
            shown = zip(rows.columns, rows._widths, strict=True)
            texts += [column.title for column, width in shown if width]
    if screen.query(Footer):
        keys = [active.binding for active in screen.active_bindings.values() if active.enabled]
        texts += [key.description for key in keys if key.show]
    return texts


def plain(svg: str) -> str:
    """The picture without fonts from elsewhere: whoever looks at it calls nobody."""
    svg = re.sub(r"<!--.*?-->\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r"@font-face \{.*?\}\s*", "", svg, flags=re.DOTALL)
    return re.sub(r"(<svg [^>]*>)", rf"\1\n    <!-- made with {versions()} -->", svg, count=1)


def trouble(name: str, now: str, parts: list[str]) -> list[str]:
    """What the kept picture of that name does not show as the app does."""
    place = KEPT / f"{name}.svg"
    if not place.exists():
        return ["it is not there"]
    kept = place.read_text("utf-8")
    if made_with(kept) == versions():
        return differences(kept, now)
    return missing(kept, parts)


def main() -> int:
    """Draw or compare; 1 when a picture differs."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        alike_everywhere(folder)
        from stock.shop.demo import build_demo

        build_demo(folder / "demo", DAY, say=lambda _: None).close()
        drawn = asyncio.run(draw(str(folder / "demo" / "book.sqlite")))
    if "--check" not in sys.argv:
        for name, (svg, _) in drawn.items():
            (KEPT / f"{name}.svg").write_text(svg, "utf-8")
        return 0
    wrong = 0
    for name, (svg, parts) in drawn.items():
        found = trouble(name, svg, parts)
        if found:
            wrong += 1
            sys.stderr.write(f"stock/guide/{name}.svg is not what the app shows: run .ci/shots\n")
            sys.stderr.write("".join(f"  {one}\n" for one in found[:12]))
    sys.stdout.write(f"{len(drawn)} pictures compared, {wrong} differ; made with {versions()}\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())

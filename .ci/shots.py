"""Draw the screens of the real app on the demo shop as SVG, or compare with what is kept.

.ci/shots            draw them into stock/guide
.ci/shots --check    draw them elsewhere and compare what they show, letter by letter
"""

from __future__ import annotations

import asyncio
import re
import sys
import tempfile
from datetime import date
from html import unescape
from pathlib import Path

from stock.screens.app import StockApp
from stock.shop.demo import build_demo

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


async def settled(app: StockApp, pilot: object) -> None:
    """Wait until no worker runs."""
    for _ in range(600):
        await pilot.pause()  # type: ignore[attr-defined]
        if not [worker for worker in app.workers if worker.is_running]:
            await pilot.pause()  # type: ignore[attr-defined]
            if not [worker for worker in app.workers if worker.is_running]:
                return
        await asyncio.sleep(0.05)
    raise SystemExit("the app did not come to rest")


async def draw(book: str, folder: Path) -> None:
    """Press the keys of every shot and save what stands."""
    app = StockApp(book, day=DAY)
    async with app.run_test(size=SIZE) as pilot:
        await settled(app, pilot)
        for name, keys in SHOTS.items():
            await pilot.press(*keys)
            await settled(app, pilot)
            if name == "receive":
                app.set_focus(None)
            await pilot.pause()
            (folder / f"{name}.svg").write_text(
                plain(app.export_screenshot(title="stock")), "utf-8"
            )


def plain(svg: str) -> str:
    """The picture without fonts from elsewhere: whoever looks at it calls nobody."""
    svg = re.sub(r"<!--.*?-->\s*", "", svg, flags=re.DOTALL)
    return re.sub(r"@font-face \{.*?\}\s*", "", svg, flags=re.DOTALL)


def words(svg: str) -> str:
    """What a picture shows, without colours and positions."""
    return unescape(" ".join(re.findall(r">([^<>]+)</text>", svg))).replace("\xa0", " ")


def main() -> int:
    """Draw or compare; 1 when a picture differs."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        build_demo(folder / "demo", DAY, say=lambda _: None)
        check = "--check" in sys.argv
        target = folder if check else KEPT
        asyncio.run(draw(str(folder / "demo" / "book.sqlite"), target))
        if not check:
            return 0
        differ = [
            shot
            for shot in SHOTS
            if not (KEPT / f"{shot}.svg").exists()
            or words((KEPT / f"{shot}.svg").read_text("utf-8"))
            != words((folder / f"{shot}.svg").read_text("utf-8"))
        ]
    for shot in differ:
        sys.stderr.write(f"stock/guide/{shot}.svg is not what the app shows: run .ci/shots\n")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())

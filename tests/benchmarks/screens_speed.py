"""How soon the terminal UI stands, and how soon a key is answered in a large book.

    python -m tests.benchmarks.screens_speed

First paint: from the start of the process to the first frame on a terminal of 80 × 24, against a
bare Textual app with one table. Keys: 50,000 movements and 10,000 items, from the key to the
frame that answers it, the median and the 95th percentile; against the 100 ms that feel at once.
"""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import os
import pty
import select
import statistics
import struct
import sys
import tempfile
import termios
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, insert

from stock.book.opening import create_book
from stock.book.tables import item
from tests.benchmarks.book_rows import furnish, post_uses
from tests.benchmarks.ratios import Ratio, compare, table

BARE = """
from textual.app import App
from textual.widgets import DataTable
class Bare(App):
    def compose(self):
        yield DataTable()
    def on_mount(self):
        self.query_one(DataTable).add_columns("bare", "table")
        self.query_one(DataTable).add_row("1", "2")
Bare().run()
"""
MOVEMENTS = 50_000
ITEMS = 10_000
KEYS = ("down", "pagedown", "end", "up", "pageup", "home")
"""Each of them moves the cursor."""
ROUNDS = 25
LONGEST = 2.0
"""Seconds after which a key counts as not answered."""


def first_paint(words: list[str], mark: bytes) -> None:
    """Run a program on a terminal until ``mark`` is on it, then end it."""
    child, terminal = pty.fork()
    if child == 0:
        os.environ |= {"TERM": "xterm-256color"}
        os.execv(words[0], words)
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    seen = b""
    deadline = time.monotonic() + 60
    while mark not in seen and time.monotonic() < deadline:
        if select.select([terminal], [], [], 0.02)[0]:
            try:
                seen += os.read(terminal, 65536)
            except OSError:
                break
    os.kill(child, 9)
    os.waitpid(child, 0)
    os.close(terminal)
    if mark not in seen:
        raise SystemExit(f"{words} never showed {mark!r}")


def large_book(folder: Path) -> Path:
    """A book of many items and movements."""
    book = create_book(folder / "large.sqlite")
    furnish(book)

    def work(connection: Connection) -> None:
        rows = [
            {"sku": f"B{n:05}", "kind": "blank", "unit": "each", "name": f"Blank {n}"}
            for n in range(ITEMS)
        ]
        connection.execute(insert(item), rows)
        post_uses(connection, MOVEMENTS // 8)

    book.write(work)
    book.close()
    return folder / "large.sqlite"


async def answered(book: Path, screen: tuple[str, ...]) -> list[float]:
    """Seconds from each key to the frame that answers it, on one screen.

    Keys are handed to the app as its terminal driver does, and the clock stops when the next
    frame is written, so that work in threads counts as far as it delays the frame.
    """
    from textual import events
    from textual.keys import _character_to_key

    from stock.screens.app import StockApp

    app = StockApp(str(book), day=date(2026, 3, 11))
    frames: list[float] = []
    found: list[float] = []
    async with app.run_test(size=(160, 48)) as pilot:
        for key in screen:
            await pilot.press(key)
            await asyncio.sleep(1.0)
        draw = app._display

        def drawn(*what: Any) -> None:
            draw(*what)
            frames.append(time.perf_counter())

        app._display = drawn  # type: ignore[method-assign]
        for _ in range(ROUNDS):
            for key in KEYS:
                await asyncio.sleep(0.05)
                seen, start = len(frames), time.perf_counter()
                app.post_message(events.Key(_character_to_key(key), None))
                while len(frames) == seen and time.perf_counter() - start < LONGEST:
                    await asyncio.sleep(0.001)
                found.append(frames[seen] - start if len(frames) > seen else LONGEST)
        await pilot.press("q")
    return found


def keys() -> dict[str, tuple[float, float]]:
    """Median and 95th percentile by what is scrolled."""
    told = {}
    with tempfile.TemporaryDirectory() as name:
        book = large_book(Path(name))
        for what, screen in {
            "items": ("f4",),
            "movements": ("f4", "end", "h"),
            "entries": ("h",),
        }.items():
            found = asyncio.run(answered(book, screen))
            told[what] = (
                statistics.median(found),
                statistics.quantiles(found, n=20)[-1],
            )
    return told


def rows() -> Iterator[Ratio]:
    """First paint on the demo, and keys in the large book."""
    from stock.clock import today
    from stock.shop.demo import build_demo

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        build_demo(folder / "demo", today(), say=lambda _: None).close()
        bare = folder / "bare.py"
        bare.write_text(BARE)
        ours = [sys.executable, "-m", "stock", "--book", str(folder / "demo" / "book.sqlite")]
        yield compare(
            "TUI first paint, demo",
            "bare Textual app with one DataTable",
            lambda: first_paint(ours, b"1 Today"),
            lambda: first_paint([sys.executable, str(bare)], b"bare"),
            2.0,
            repeats=5,
        )
    for what, (median, late) in keys().items():
        yield Ratio(
            f"key p95, scrolling {what} of {MOVEMENTS:,} movements, {ITEMS:,} items",
            "100 ms",
            (late, median),
            (0.1, 0.1),
            1.0,
        )


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        print(table(rows()))

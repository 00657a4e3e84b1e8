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
import multiprocessing
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
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, insert

from stock.book.opening import create_book
from stock.book.posting import Posting
from stock.book.tables import item, lot, pack, supplier
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
DAY = date(2026, 3, 11)
FIRST_DAY = DAY - timedelta(days=303)
MOVEMENTS = 50_000
ITEMS = 10_000
SCROLL = ("down", "pagedown", "end", "up", "pageup", "home")
"""Each of them moves the cursor."""
WALKS = {
    "scrolling items": (("f4",), SCROLL),
    "scrolling movements": (("f4", "end", "h"), SCROLL),
    "scrolling entries": (("h",), SCROLL),
    "from screen to screen": ((), ("f2", "f3", "f4", "f5", "f6", "f7", "f1")),
    "opening an item, and back": (("f4",), ("enter", "escape", "down")),
    "opening an entry, and back": (("h",), ("enter", "escape", "down")),
    "typing into the scan field": (("f2",), tuple("ab1")),
    "finding an item by name": (("f4", "slash"), ("b", "l", "a", "n", "k")),
    "keys in force, and back": (("f4",), ("question_mark", "escape")),
    "actions by name, and back": (("f4",), ("ctrl+p", "r", "escape")),
}
"""What is done: the keys that lead to it, then the keys whose answers are timed, in turns."""
ROUNDS = 25
SAY = "--each" in sys.argv
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
    book.write(fill)
    book.close()
    return folder / "large.sqlite"


def fill(connection: Connection) -> None:
    """Blanks of one supplier, received once and used in the ten months before ``DAY``.

    The last one goes into every print, so that there is one with thousands of movements.
    """
    numbers = range(1, ITEMS + 1)
    connection.execute(insert(supplier), [{"id": 1, "code": "MILL", "lead_days": 5.0}])
    connection.execute(
        insert(item),
        [
            {"id": n, "sku": f"B{n:05}", "kind": "blank", "unit": "each", "name": f"Blank {n}"}
            for n in numbers
        ],
    )
    common = {"supplier_id": 1, "amount": 12_000, "price_minor": 3000}
    connection.execute(
        insert(pack), [{"item_id": n, "code": f"B{n:05}-12", **common} for n in numbers]
    )
    connection.execute(
        insert(lot),
        [{"id": n, "item_id": n, "code": "L1", "received_on": FIRST_DAY} for n in numbers],
    )
    posting = Posting(
        connection, who="bench", at=datetime(DAY.year, DAY.month, DAY.day, tzinfo=UTC)
    )
    maker, shelf, printed = map(posting.place, ("SUPPLIER", "SHELF", "PRINTED"))
    posting.hold(numbers)
    entry_id = posting.entry("receive", FIRST_DAY)
    for n in numbers:
        amount = 40_000 if n < ITEMS else 1000 * MOVEMENTS
        posting.move(entry_id, FIRST_DAY, n, n, amount, maker, shelf)
    posting.flush()
    for number in range((MOVEMENTS - ITEMS) // 8):
        day = FIRST_DAY + timedelta(days=number % 300)
        entry_id = posting.entry("print", day, source_ref=f"bench:{number}")
        for part in range(7):
            n = 1 + (7 * number + part) * 7 % ITEMS
            posting.move(entry_id, day, n, n, 1000 * (1 + part), shelf, printed)
        posting.move(entry_id, day, ITEMS, ITEMS, 1000, shelf, printed)
        if number % 1000 == 999:
            posting.flush()
    posting.flush()


async def answered(book: Path, way: tuple[str, ...], keys: tuple[str, ...]) -> list[float]:
    """Seconds from each key to the frame that answers it, once the keys of the way are pressed.

    Keys are handed to the app as its terminal driver does, and the clock stops when the next
    frame is written, so that work in threads counts as far as it delays the frame.
    """
    from textual import events
    from textual.keys import _character_to_key

    from stock.screens.app import StockApp
    from stock.screens.tidying import tidy_when_idle

    app = StockApp(str(book), day=DAY)
    frames: list[float] = []
    found: list[float] = []
    async with app.run_test(size=(160, 48)) as pilot:
        tidy_when_idle(app, lambda: app.last_input)
        for key in way:
            await pilot.press(key)
            await asyncio.sleep(1.0)
        draw = app._display

        def drawn(*what: Any) -> None:
            draw(*what)
            frames.append(time.perf_counter())

        app._display = drawn  # type: ignore[method-assign]
        for _ in range(ROUNDS):
            for key in keys:
                await asyncio.sleep(0.05)
                letter = key if len(key) == 1 else None
                event = events.Key(_character_to_key(key) if letter else key, letter)
                seen, start = len(frames), time.perf_counter()
                app.post_message(event)
                while len(frames) == seen and time.perf_counter() - start < LONGEST:
                    await asyncio.sleep(0.001)
                found.append(frames[seen] - start if len(frames) > seen else LONGEST)
                if SAY:
                    print(f"{key:14} {1000 * found[-1]:7.1f} ms", file=sys.stderr)
        app.exit()
    return found


def timed(book: Path, what: str) -> list[float]:
    """The answers of one of the walks."""
    return asyncio.run(answered(book, *WALKS[what]))


def keys() -> dict[str, tuple[float, float]]:
    """Median and 95th percentile by what is done, each in a process of its own."""
    fresh = multiprocessing.get_context("spawn")
    with (
        tempfile.TemporaryDirectory() as name,
        ProcessPoolExecutor(1, mp_context=fresh, max_tasks_per_child=1) as pool,
    ):
        book = large_book(Path(name))
        told = {}
        for what in WALKS:
            found = pool.submit(timed, book, what).result()
            told[what] = (statistics.median(found), statistics.quantiles(found, n=20)[-1])
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
            f"key p95, {what}: {MOVEMENTS:,} movements, {ITEMS:,} items",
            "100 ms",
            (late, median),
            (0.1, 0.1),
            1.0,
        )


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        print(table(rows()))

"""What grows with the work: seconds and peak memory at n, 10 n and 100 n, drawn for the manual.

    python -m tests.benchmarks.growth [FILE.svg]

Each point is a process of its own: its wall time without imports, and its peak resident memory
with them. The table is printed; with a name the picture is written there.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from math import log10
from pathlib import Path
from xml.sax.saxutils import escape


def measure(pixels: int) -> Callable[[], object]:
    """One grainy RGBA picture for a dark garment."""
    import numpy as np
    from PIL import Image

    from stock.ink.measure import measure_shares
    from stock.ink.mode import PrintMode

    side = round(pixels**0.5)
    noise = np.random.default_rng(1).integers(0, 256, (side, side, 4), np.uint8)
    path = Path(tempfile.mkdtemp()) / "grain.png"
    Image.fromarray(noise, "RGBA").save(path)
    return lambda: measure_shares(path, garment="dark", mode=PrintMode("standard"))


def import_movements(movements: int) -> Callable[[], object]:
    """Movements posted in one transaction."""
    from tests.benchmarks.book_rows import ITEMS, furnish, new_book, post_uses

    book = new_book(None)
    furnish(book)
    return lambda: book.write(lambda connection: post_uses(connection, movements // ITEMS))


def weekly_list(items: int) -> Callable[[], object]:
    """The weekly list of a book of so many garments and 60 weeks, from the book on."""
    from stock.plan.decide import plan
    from stock.plan.snapshot import PlanSettings
    from stock.shop.snapshot import take_snapshot
    from tests.benchmarks.snapshot_scale import START, a_large_book

    weeks = 60
    book = a_large_book(Path(tempfile.mkdtemp()) / "book.sqlite", items, weeks)
    day = START + timedelta(days=7 * weeks)
    return lambda: plan(take_snapshot(book, day, PlanSettings()))


def forecasts(series: int) -> Callable[[], object]:
    """Quantiles of so many weekly series of three years."""
    from stock.demand.forecast import forecast
    from tests.benchmarks import demand_speed

    history = demand_speed.series(series)
    return lambda: forecast(history, demand_speed.AHEAD)


@dataclass(frozen=True)
class Work:
    """One kind of work, and how much of it."""

    title: str
    unit: str
    prepare: Callable[[int], Callable[[], object]]
    sizes: tuple[int, int, int]


WORKS = {
    "measure": Work("measure a picture", "pixels", measure, (240_000, 2_400_000, 24_000_000)),
    "import": Work("import movements", "movements", import_movements, (8_000, 80_000, 800_000)),
    "list": Work("weekly list", "items", weekly_list, (100, 1_000, 10_000)),
    "forecast": Work("forecast", "series", forecasts, (100, 1_000, 10_000)),
}


def one_point(name: str, size: int) -> None:
    """Do the work in this process and print the seconds."""
    run = WORKS[name].prepare(size)
    begun = time.perf_counter()
    run()
    print(time.perf_counter() - begun)


def point(name: str, size: int) -> tuple[float, float]:
    """(seconds, peak MiB) of a process that does the work once."""
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.growth", "--point", name, str(size)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None
    told = child.stdout.read()
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{name} at {size} failed")
    return float(told.split()[-1]), used.ru_maxrss / 1024


_COLOURS = {"measure": "#1b7f9c", "import": "#a8336e", "list": "#222222", "forecast": "#9a7d0a"}
_SIDE, _MARGIN = 300, 60


def drawn(points: dict[str, list[tuple[float, float]]]) -> str:
    """Two panels, seconds and MiB against n, 10 n, 100 n, both scales by powers of ten."""
    width, height = 2 * (_SIDE + _MARGIN) + 170, _SIDE + 2 * _MARGIN
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        'font-family="sans-serif" font-size="13">',
        f'<rect width="{width}" height="{height}" fill="white"/>',
    ]
    for panel, title in enumerate(("seconds", "peak memory, MiB")):
        left = _MARGIN + panel * (_SIDE + _MARGIN)
        seen = [pair[panel] for pairs in points.values() for pair in pairs]
        low, high = (round(log10(min(seen)) - 0.5), round(log10(max(seen)) + 0.5))
        parts.append(f'<text x="{left}" y="{_MARGIN - 20}" font-weight="bold">{title}</text>')

        def up(value: float, low: int = low, high: int = high) -> float:
            return _MARGIN + _SIDE * (1 - (log10(value) - low) / (high - low))

        for power in range(low, high + 1):
            y = up(10.0**power)
            parts.append(
                f'<line x1="{left}" x2="{left + _SIDE}" y1="{y:.1f}" y2="{y:.1f}" stroke="#ddd"/>'
                f'<text x="{left - 6}" y="{y + 4:.1f}" text-anchor="end">{10.0**power:g}</text>'
            )
        for step, label in enumerate(("n", "10 n", "100 n")):
            x = left + _SIDE * step / 2
            y = _MARGIN + _SIDE + 20
            parts.append(f'<text x="{x:.1f}" y="{y}" text-anchor="middle">{label}</text>')
        for name, pairs in points.items():
            line = " ".join(
                f"{left + _SIDE * step / 2:.1f},{up(pair[panel]):.1f}"
                for step, pair in enumerate(pairs)
            )
            parts.append(
                f'<polyline points="{line}" fill="none" stroke="{_COLOURS[name]}" '
                'stroke-width="2.5"/>'
            )
    for place, name in enumerate(points):
        work = WORKS[name]
        x, y = 2 * (_SIDE + _MARGIN) + 10, _MARGIN + 20 + 46 * place
        parts.append(
            f'<text x="{x}" y="{y}" fill="{_COLOURS[name]}" font-weight="bold">'
            f"{escape(work.title)}</text>"
            f'<text x="{x}" y="{y + 16}">n = {work.sizes[0]:,} {work.unit}</text>'
        )
    return "\n".join([*parts, "</svg>"]) + "\n"


def main(words: list[str]) -> None:
    """Measure every point, print the table, draw it."""
    points: dict[str, list[tuple[float, float]]] = {}
    print("| work | n | seconds at n, 10 n, 100 n | peak MiB at n, 10 n, 100 n |")
    print("|---|---|---|---|")
    for name, work in WORKS.items():
        points[name] = [point(name, size) for size in work.sizes]
        took = ", ".join(f"{seconds:.2f}" for seconds, _ in points[name])
        peak = ", ".join(f"{mib:.0f}" for _, mib in points[name])
        print(f"| {work.title} | {work.sizes[0]:,} {work.unit} | {took} | {peak} |", flush=True)
    if words:
        Path(words[0]).write_text(drawn(points), encoding="utf-8")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--point"]:
        one_point(sys.argv[2], int(sys.argv[3]))
    else:
        main(sys.argv[1:])

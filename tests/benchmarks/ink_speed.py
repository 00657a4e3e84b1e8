"""How long artwork takes, against what a user would write instead, in the same run.

    python -m tests.benchmarks.ink_speed

Pictures of 4500 × 5400 pixels with alpha, made from a photograph scikit-image ships: smooth with a
soft fade, grainy, flat graphics with smoothed outlines. Opponent: decoding the file with Pillow and
one numpy sum over its pixels. Peak memory is of a fresh process.
"""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import skimage
from PIL import Image, ImageDraw

from stock.ink.batch import measure_many
from stock.ink.measure import measure_shares
from stock.ink.mode import Garment, PrintMode
from tests.benchmarks.ratios import Ratio, compare, seconds, table

WIDE, HIGH = 4500, 5400
PLAIN = PrintMode()
CHOKED = PrintMode(choke_px=3.0)


def pictures(folder: Path, scale: float = 1.0) -> dict[str, Path]:
    """The three pictures, at ``scale`` of the full pixels."""
    side = scale**0.5
    wide, high = round(WIDE * side), round(HIGH * side)
    rng = np.random.default_rng(1)
    source = Path(skimage.__file__).parent / "data" / "astronaut.png"
    photo = np.asarray(
        Image.open(source).convert("RGB").resize((wide, high), Image.Resampling.BICUBIC)
    )
    y, x = np.mgrid[0:high, 0:wide].astype(np.float32)
    off = np.hypot((x - wide / 2) / (wide / 2), (y - high / 2) / (high / 2))
    alpha = (np.clip((1.0 - off) * 8, 0, 1) * 255).astype(np.uint8)
    grain = np.clip(photo + rng.normal(0, 4, photo.shape).round(), 0, 255).astype(np.uint8)
    flat = Image.new("RGBA", (wide, high), (0, 0, 0, 0))
    draw = ImageDraw.Draw(flat)
    for number in range(400):
        left, top = int(rng.integers(0, wide)), int(rng.integers(0, high))
        size = int(rng.integers(50, 500) * side) + 1
        colour = (*(int(v) for v in rng.integers(0, 256, 3)), 255)
        shape = draw.ellipse if number % 2 else draw.rectangle
        shape([left, top, left + size, top + size], fill=colour)
    flat = flat.resize((wide // 2, high // 2), Image.Resampling.LANCZOS).resize((wide, high))
    paths = {}
    for name, picture in (
        ("photo, soft fade", Image.fromarray(np.dstack([photo, alpha]))),
        ("grainy photo", Image.fromarray(np.dstack([grain, alpha]))),
        ("flat graphics", flat),
    ):
        paths[name] = folder / f"{name.split(',')[0].replace(' ', '-')}-{scale:g}.png"
        picture.save(paths[name])
    return paths


def pillow_and_sum(path: Path) -> int:
    """The opponent."""
    with Image.open(path) as picture:
        picture.load()
        return int(np.asarray(picture).sum())


def read_and_hash(path: Path) -> str:
    """The opponent of a cached measurement."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def measuring(path: Path, garment: Garment, mode: PrintMode) -> Callable[[], object]:
    """Measuring one file so."""
    return lambda: measure_shares(path, garment=garment, mode=mode)


def peak_mb(path: Path, mode: str) -> float:
    """Peak memory of a fresh process that measures the file."""
    code = (
        "import sys, pathlib\n"
        "from stock.ink.measure import measure_shares\n"
        "from stock.ink.mode import PrintMode\n"
        f"measure_shares(sys.argv[1], garment='dark', mode=PrintMode({mode}))\n"
        "print(pathlib.Path('/proc/self/status').read_text())\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    ).stdout
    found = re.search(r"VmHWM:\s+(\d+) kB", told)
    assert found is not None
    return int(found[1]) / 1024


def per_pixel_us(folder: Path) -> str:
    """µs per thousand pixels at a hundredth, a tenth and all of the pixels."""
    costs = []
    for scale in (0.01, 0.1, 1.0):
        path = pictures(folder, scale)["grainy photo"]
        work = measuring(path, "dark", PLAIN)
        work()
        best = min(seconds(work) for _ in range(5))
        costs.append(f"{best * 1e9 / (WIDE * HIGH * scale):.1f}")
    return f"µs/kpx at 0.24, 2.4, 24 Mpx: {', '.join(costs)}"


def rows(files: int = 200) -> Iterator[Ratio]:
    """Single files, cached files, a batch."""
    Image.MAX_IMAGE_PIXELS = None
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for title, path in pictures(folder).items():
            yield from single_rows(title, path, folder / "cache")
        yield batch_row(folder, files)


def single_rows(title: str, path: Path, cache: Path) -> Iterator[Ratio]:
    """One picture on light and dark, choked, and from the cache."""
    opponent = "Pillow decode + one numpy sum"

    def theirs() -> object:
        return pillow_and_sum(path)

    scaling = per_pixel_us(path.parent) if title.startswith("grainy") else ""
    for garment in ("light", "dark"):
        ours = measuring(path, garment, PLAIN)
        note = f"peak {peak_mb(path, ''):.0f} MB" if garment == "dark" else ""
        yield compare(
            f"measure 24 Mpx {title}, {garment}", opponent, ours, theirs, 1.0, scaling=scaling,
            note=note,
        )  # fmt: skip
        scaling = ""
    yield compare(
        f"measure 24 Mpx {title}, dark, choke 3 px", opponent,
        measuring(path, "dark", CHOKED), theirs, 1.5,
        note=f"peak {peak_mb(path, 'choke_px=3.0'):.0f} MB",
    )  # fmt: skip
    measure_shares(path, garment="dark", mode=PLAIN, cache_dir=cache)
    yield compare(
        f"measure {title}, cached",
        "reading the file's bytes and hashing",
        lambda: measure_shares(path, garment="dark", mode=PLAIN, cache_dir=cache),
        lambda: read_and_hash(path),
        1.2,
        repeats=15,
    )


def batch_row(folder: Path, files: int) -> Ratio:
    """A batch on two workers against the same files one by one, halved."""
    some = list(pictures(folder, 0.1).values())
    paths = (some * (files // len(some) + 1))[:files]
    found = compare(
        f"measure {files} files of 2.4 Mpx on 2 workers",
        f"{files} × single / 2",
        lambda: measure_many(paths, garment="dark", mode=PLAIN, workers=2),
        lambda: [measure_shares(path, garment="dark", mode=PLAIN) for path in paths],
        1.15,
        repeats=2,
    )
    return replace(found, theirs=(found.theirs[0] / 2, found.theirs[1] / 2))


if __name__ == "__main__":
    print(table(rows()))
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")

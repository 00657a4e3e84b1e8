"""Seeded damage to artwork of every kind, and one measurement of it in a process of its own.

A library that falls over takes its process with it, so each batch runs in a child; the child says
which seed it is at, so that the parent knows what felled it.
"""

from __future__ import annotations

import io
import math
import random
import resource
import time
from dataclasses import dataclass, field
from functools import cache
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from tests.faults.mutations import mutated_bytes
from tests.units.ink_pictures import patches, psd_bytes

KINDS = ("png", "jpg", "tif", "webp", "psd", "pdf")
MOST_MEMORY = 4 << 30
"""Address space a measurement may ask for, bytes: libraries reserve far more than they touch."""


@cache
def sound_picture(kind: str, form: int) -> bytes:
    """A small sound file: ``form`` picks among plain, with transparency, compressed otherwise."""
    from PIL import Image

    out = io.BytesIO()
    plain, clear = patches(), patches(4)
    if kind == "psd":
        planes = np.moveaxis(clear if form % 2 else plain, -1, 0)
        layers = -1 if form % 2 else 0
        return psd_bytes(planes, 3, packed=form < 2, layer_count=layers)
    if kind == "pdf":
        from fpdf import FPDF

        pdf = FPDF(unit="mm", format=(60, 40))
        pdf.set_compression(form % 2 == 0)
        pdf.add_page()
        pdf.set_fill_color(200, 30, 30)
        pdf.rect(5, 5, 30, 20, style="F")
        if form >= 2:
            pdf.image(Image.fromarray(clear), x=10, y=10, w=20)
        return bytes(pdf.output())
    image = Image.fromarray(clear if form % 2 and kind != "jpg" else plain)
    options: dict[str, object] = {"dpi": (300, 300)} if kind != "webp" else {"lossless": form < 2}
    if kind == "tif":
        options["compression"] = (None, "tiff_lzw", "tiff_deflate", "packbits")[form]
    if kind == "jpg":
        options["progressive"] = form >= 2
    image.save(out, {"jpg": "JPEG", "tif": "TIFF"}.get(kind, kind.upper()), **options)
    return out.getvalue()


def mutated_picture(seed: int) -> tuple[str, bytes]:
    """A kind and a damaged file of it: bits, cuts, doublings, or great numbers in its fields."""
    chance = random.Random(seed)
    kind = KINDS[seed % len(KINDS)]
    content = sound_picture(kind, chance.randrange(4))
    if chance.random() < 0.5:
        return kind, mutated_bytes(content, chance)
    changed = bytearray(content)
    for _ in range(chance.randint(1, 4)):
        # Most of what a file says of itself stands near one of its ends.
        near = min(len(changed) - 4, 120)
        place = chance.randrange(near) if chance.random() < 0.7 else chance.randrange(len(changed))
        number = chance.choice((0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF, 65_000))
        width = chance.choice((1, 2, 4))
        order = chance.choice(("big", "little"))
        changed[place : place + width] = (number & (256**width - 1)).to_bytes(width, order)  # type: ignore[arg-type]
    return kind, bytes(changed)


def measure_or_refuse(path: Path) -> bool:
    """Whether the file was measured (else refused in one harmless sentence)."""
    from stock.errors import Refused
    from stock.ink.measure import estimate, measure_shares
    from stock.ink.mode import PretreatDose, PrintMode, prior_rates

    mode = PrintMode()
    refusal = ""
    try:
        found = estimate(
            measure_shares(path, garment="dark", mode=mode),
            width_cm=20.0,
            height_cm=None,
            rates=prior_rates(mode),
            dose=PretreatDose(),
            garment="dark",
        )
    except Refused as error:
        refusal = str(error)
    if refusal:
        assert refusal.isprintable(), refusal
        return False
    for name, amount in found.ml.items():
        assert math.isfinite(amount), name
        assert 0 <= amount < 10_000, f"{name}: {amount} mL"
    return True


@dataclass
class Batch:
    """What measuring a range of damaged files came to."""

    measured: int = 0
    refused: int = 0
    failures: list[str] = field(default_factory=list)
    slowest: float = 0.0
    slowest_seed: int = -1
    peak_mib: float = 0.0


def batch(seeds: list[int], folder: str, said: Connection) -> None:
    """Measure the files of ``seeds``; say each seed before and what came of it after."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    for seed in seeds:
        kind, content = mutated_picture(seed)
        path = Path(folder) / f"damaged.{kind}"
        path.write_bytes(content)
        said.send(("at", seed, 0.0, 0.0))
        began = time.perf_counter()
        try:
            word = "measured" if measure_or_refuse(path) else "refused"
        except Exception as error:
            word = f"{type(error).__name__}: {str(error)[:200]}"
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        said.send((word, seed, time.perf_counter() - began, peak))
    said.send(("done", -1, 0.0, 0.0))


def run_batches(seeds: list[int], folder: Path, longest_seconds: float) -> Batch:
    """Measure damaged files in children; a child that dies or hangs is a failure of its seed."""
    from multiprocessing import Pipe

    from tests.faults.stations import START

    found = Batch()
    left = list(seeds)
    while left:
        here, there = Pipe(duplex=False)
        child = START.Process(target=batch, args=(left, str(folder), there), daemon=True)
        child.start()
        there.close()
        at = left[0]
        while True:
            # The first word waits for the child's imports.
            if not here.poll(longest_seconds if at != left[0] else longest_seconds + 20):
                found.failures.append(f"seed {at}: over {longest_seconds} s")
                child.kill()
                break
            try:
                word, seed, took, peak = here.recv()
            except EOFError:
                child.join()
                found.failures.append(f"seed {at}: the process died ({child.exitcode})")
                break
            if word == "done":
                at = left[-1]
                break
            at = seed
            if word == "at":
                continue
            found.peak_mib = max(found.peak_mib, peak)
            if took > found.slowest:
                found.slowest, found.slowest_seed = took, seed
            if word == "measured":
                found.measured += 1
            elif word == "refused":
                found.refused += 1
            else:
                found.failures.append(f"seed {seed}: {word}")
        child.join()
        left = left[left.index(at) + 1 :]
    return found

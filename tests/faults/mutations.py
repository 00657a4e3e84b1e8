"""Seeded mutations of barcodes, CSV texts and workbooks, for the fuzz tests and campaigns.

Everything follows from a seed: a failure is named by it and can be made again.
"""

from __future__ import annotations

import csv
import io
import random
import zipfile
from functools import cache

from stock.exchange.columns import KINDS, template

GTIN = "09521234543213"
SEED_CODES = (
    f"]d201{GTIN}17270630101L2403A",
    f"01{GTIN}10ABC123\x1d17251231",
    f"]C101{GTIN}3103000123",
    f"02{GTIN}3724\x1d10L-7/A",
    "00123456789012345675",
    f"(01){GTIN}(17)270600(10)L-1(21)S1",
    f"https://id.gs1.org/01/{GTIN}/10/ABC/21/12?17=271231",
    "6291041500213",
    "04252614",
    "]E06291041500213",
    "91P:SHELF%201",
    f"01{GTIN}112601011527063030121\x1d8008260101120000",
)
SPICE = (
    "\x1d", "\x00", "\x1b[2J", "\u202e", "\u0660", "\ud800", "]", "(", ")", "(17)", "(01)", "^",
    "%", "%00", "%F0", "/", "?", "17", "10", "01", "3103", "99", "0" * 20, "A" * 60, "\n", " ",
    "🖨", "é", "=", "'", '"', ",", ";", "\t", "|", "-", "1e999", "NaN", "٣", "\ufeff", "#REF!",
    "2026-02-30", "03/04/2026", "1,234", "1.234,5", "9" * 30, "\r", '""', "..", "\\", "\x85",
)  # fmt: skip


def mutated_text(text: str, rng: random.Random, most: int = 4) -> str:
    """``text`` after some deletions, doublings, swaps, flips and strange insertions."""
    for _ in range(rng.randint(1, most)):
        place = rng.randint(0, len(text))
        end = min(len(text), place + rng.randint(1, 8))
        match rng.randint(0, 5):
            case 0:
                text = text[:place] + text[end:]
            case 1:
                text = text[:end] + text[place:]
            case 2:
                text = text[:place] + rng.choice(SPICE) + text[place:]
            case 3:
                text = text[:place] + rng.choice(SPICE) + text[end:]
            case 4:
                text = (
                    text[:place]
                    + chr(rng.choice((rng.randint(0, 127), rng.randint(0, 0x2FFF))))
                    + text[end:]
                )
            case _:
                text = text[place:] + text[:place]
    return text


def mutated_code(seed: int) -> str:
    """A barcode's text; one in ten is not even derived from a sound one."""
    rng = random.Random(seed)
    if rng.random() < 0.1:
        return "".join(rng.choice(SPICE) for _ in range(rng.randint(0, 12)))
    return mutated_text(rng.choice(SEED_CODES), rng)


def sound_rows(kind: str, rng: random.Random) -> list[list[str]]:
    """Header and some copies of the example row of a kind."""
    header, example, *_ = csv.reader(io.StringIO(template(kind)))
    return [header, *([list(example)] * rng.randint(1, 6))]


def mutated_csv(seed: int) -> tuple[str, bytes]:
    """A file kind and the bytes of a damaged CSV of it."""
    rng = random.Random(seed)
    kind = rng.choice(list(KINDS))
    rows = [list(row) for row in sound_rows(kind, rng)]
    for _ in range(rng.randint(0, 4)):
        row = rng.choice(rows)
        if not row:
            continue
        place = rng.randrange(len(row))
        match rng.randint(0, 3):
            case 0:
                row[place] = mutated_text(row[place], rng)
            case 1:
                row[place] = rng.choice(SPICE)
            case 2:
                del row[place]
            case _:
                row.insert(place, rng.choice(SPICE))
    out = io.StringIO()
    csv.writer(
        out, delimiter=rng.choice(",;\t|"), lineterminator=rng.choice(("\n", "\r\n", "\r"))
    ).writerows(rows)
    text = out.getvalue()
    if rng.random() < 0.5:
        text = mutated_text(text, rng)
    encoding = rng.choice(("utf-8", "utf-8", "utf-8-sig", "utf-16", "cp1252"))
    content = text.encode(encoding, errors="replace")
    if rng.random() < 0.3:
        content = mutated_bytes(content, rng)
    return kind, content


def mutated_bytes(content: bytes, rng: random.Random) -> bytes:
    """``content`` with bytes flipped, cut out, doubled or cut off."""
    changed = bytearray(content)
    for _ in range(rng.randint(1, 6)):
        if not changed:
            break
        place = rng.randrange(len(changed))
        match rng.randint(0, 3):
            case 0:
                changed[place] ^= 1 << rng.randint(0, 7)
            case 1:
                del changed[place : place + rng.randint(1, 40)]
            case 2:
                changed[place:place] = changed[place : place + rng.randint(1, 40)]
            case _:
                if rng.random() < 0.3:
                    del changed[place:]
    return bytes(changed)


@cache
def sound_workbook(kind: str) -> bytes:
    """A small workbook of the kind's example row."""
    from openpyxl import Workbook

    workbook = Workbook()
    sheet = workbook.active
    assert sheet is not None
    for row in csv.reader(io.StringIO(template(kind))):
        sheet.append(row)
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def mutated_workbook(seed: int) -> tuple[str, bytes]:
    """A file kind and a damaged workbook of it: its archive, or its parts packed anew."""
    rng = random.Random(seed)
    kind = rng.choice(list(KINDS))
    content = sound_workbook(kind)
    if rng.random() < 0.3:
        return kind, mutated_bytes(content, rng)
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        victims = rng.sample(old.namelist(), rng.randint(1, 3))
        for name in old.namelist():
            part = old.read(name)
            if name in victims:
                if rng.random() < 0.1:
                    continue
                if rng.random() < 0.5:
                    text = part.decode()
                    part = mutated_text(text, rng).encode(errors="replace")
                else:
                    part = mutated_bytes(part, rng)
            new.writestr(name, part)
    return kind, out.getvalue()

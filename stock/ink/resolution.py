"""The resolution a file states, dots per inch; None where it states none.

Only a tag with a unit of length counts: a bare aspect ratio is no resolution, and a reader's
default is not the file's word.
"""

from __future__ import annotations

import io
import math
import struct
from pathlib import Path
from typing import BinaryIO, Final

from stock.ink.artwork import Kind
from stock.units import CM_PER_INCH

_LOWEST_DPI: Final = 1.0
_HIGHEST_DPI: Final = 20_000.0
_X, _Y, _UNIT = 282, 283, 296
"""TIFF 6.0 tags XResolution, YResolution, ResolutionUnit (2 inch, 3 cm); Exif uses the same."""

_MOST_TAGS: Final = 4096

Pair = tuple[float | None, float | None]
NONE: Final[Pair] = (None, None)


def read_resolution(path: Path, kind: Kind, *, exif: bytes | None = None, page: int = 1) -> Pair:
    """(horizontal, vertical) dots per inch by the file's own tag.

    ``exif`` is the picture's Exif block, where its kind carries one.
    """
    found = NONE
    if kind == "PNG":
        found = _png(path)
    elif kind == "JPEG":
        found = _jpeg(path)
    elif kind == "TIFF":
        found = _tiff(path, page)
    if found == NONE and exif and kind in ("JPEG", "WebP"):
        found = _exif(exif)
    return _sane(*found)


def _sane(x: float | None, y: float | None) -> Pair:
    if x is None or y is None:
        return NONE
    if not all(math.isfinite(v) and _LOWEST_DPI <= v <= _HIGHEST_DPI for v in (x, y)):
        return NONE
    return x, y


def _png(path: Path) -> Pair:
    """The pHYs chunk before the first data; unit 1 is the metre (PNG, third edition, 11.3.4.3)."""
    with path.open("rb") as stream:
        stream.seek(8)
        while len(head := stream.read(8)) == 8:
            length, name = struct.unpack(">I4s", head)
            if name == b"pHYs" and length == 9:
                x, y, unit = struct.unpack(">IIB", stream.read(9))
                per_inch = CM_PER_INCH / 100
                return (x * per_inch, y * per_inch) if unit == 1 else NONE
            if name in (b"IDAT", b"IEND"):
                break
            stream.seek(length + 4, 1)
    return NONE


def _jpeg(path: Path) -> Pair:
    """JFIF density with a unit (ITU-T T.871 §10.1: 1 inch, 2 cm), else the Exif tags."""
    with path.open("rb") as stream:
        stream.seek(2)
        while len(head := stream.read(4)) == 4:
            marker, length = struct.unpack(">HH", head)
            if marker == 0xFFDA or marker >> 8 != 0xFF:
                break
            if marker == 0xFFE0:
                body = stream.read(max(0, length - 2))
                if body.startswith(b"JFIF\0") and len(body) >= 12:
                    unit, x, y = struct.unpack(">BHH", body[7:12])
                    if unit in (1, 2):
                        factor = 1.0 if unit == 1 else CM_PER_INCH
                        return x * factor, y * factor
                continue
            stream.seek(max(0, length - 2), 1)
    return NONE


def _exif(block: bytes) -> Pair:
    """Exif is a TIFF file in a block (Exif 2.32, 4.5.2)."""
    body = block.removeprefix(b"Exif\0\0")
    return _tags_at(io.BytesIO(body), 1)


def _tiff(path: Path, page: int) -> Pair:
    with path.open("rb") as stream:
        return _tags_at(stream, page)


def _tags_at(stream: BinaryIO, page: int) -> Pair:
    """The three tags in the ``page``-th directory (TIFF 6.0 part 1; BigTIFF: 8-byte offsets)."""
    try:
        return _walk(stream, page)
    except (struct.error, ZeroDivisionError, OverflowError):
        return NONE


def _walk(stream: BinaryIO, page: int) -> Pair:
    head = stream.read(16)
    order = "<" if head[:2] == b"II" else ">"
    (version,) = struct.unpack(order + "H", head[2:4])
    big = version == 43
    offset_code, count_code, entry_bytes = ("Q", "Q", 20) if big else ("I", "H", 12)
    start = 8 if big else 4
    size = struct.calcsize("=" + offset_code)
    (at,) = struct.unpack(order + offset_code, head[start : start + size])
    count_bytes = struct.calcsize("=" + count_code)
    entries: list[bytes] = []
    for _ in range(page):
        if at == 0:
            return NONE
        stream.seek(at)
        (count,) = struct.unpack(order + count_code, stream.read(count_bytes))
        body = stream.read(min(count, _MOST_TAGS) * entry_bytes)
        entries = [body[i : i + entry_bytes] for i in range(0, len(body), entry_bytes)]
        (at,) = struct.unpack(order + offset_code, stream.read(size))
    found: dict[int, float] = {_UNIT: 2.0}
    for entry in entries:
        tag, kind = struct.unpack(order + "HH", entry[:4])
        if tag not in (_X, _Y, _UNIT):
            continue
        value = entry[12:20] if big else entry[8:12]
        if kind == 3:
            found[tag] = float(struct.unpack(order + "H", value[:2])[0])
        elif kind == 5:
            rational = value
            if not big:
                stream.seek(struct.unpack(order + "I", value)[0])
                rational = stream.read(8)
            above, below = struct.unpack(order + "II", rational)
            found[tag] = above / below
    factor = {2.0: 1.0, 3.0: CM_PER_INCH}.get(found[_UNIT])
    if factor is None or _X not in found or _Y not in found:
        return NONE
    return found[_X] * factor, found[_Y] * factor

"""Pictures for the ink tests: written by general libraries or byte by byte from the format."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
from PIL import Image


def builtin_profile(name: str) -> bytes:
    """``srgb``, ``p3`` or ``cmyk``: the ICC profiles libvips carries."""
    import pyvips

    return bytes(pyvips.Operation.call("profile_load", name))


def save(path: Path, pixels: np.ndarray, mode: str | None = None, **options: object) -> Path:
    """8-bit pixels through Pillow."""
    Image.fromarray(np.ascontiguousarray(pixels, np.uint8), mode).save(path, **options)
    return path


def patches(bands: int = 3, seed: int = 5) -> np.ndarray:
    """A small colourful picture of flat patches, 8-bit."""
    rng = np.random.default_rng(seed)
    return np.kron(
        rng.integers(0, 256, (6, 7, bands), dtype=np.uint8), np.ones((8, 8, 1), np.uint8)
    )


def pack_bits(row: bytes) -> bytes:
    """PackBits of a row as literal runs (TIFF 6.0 section 9), the simplest legal form."""
    parts = [row[i : i + 128] for i in range(0, len(row), 128)]
    return b"".join(bytes([len(part) - 1]) + part for part in parts)


def psd_bytes(
    planes: np.ndarray,
    colour_mode: int,
    *,
    packed: bool = True,
    layer_count: int = 0,
    dpi: float = 300.0,
    icc: bytes = b"",
    version: int = 1,
) -> bytes:
    """A flattened PSD of planes (channels × rows × columns, 8 or 16 bit)."""
    channels, height, width = planes.shape
    depth = planes.dtype.itemsize * 8
    head = struct.pack(">4sH6xHIIHH", b"8BPS", version, channels, height, width, depth, colour_mode)
    fixed = int(dpi * 65536)
    resolution = struct.pack(">IHHIHH", fixed, 1, 1, fixed, 1, 1)
    resources = b""
    for number, body in ((1005, resolution), (1039, icc)):
        if body:
            padded = body + b"\0" * (len(body) % 2)
            resources += struct.pack(">4sHHI", b"8BIM", number, 0, len(body)) + padded
    wide = ">I" if version == 1 else ">Q"
    layers = b""
    if layer_count:
        layers = struct.pack(wide, 2) + struct.pack(">h", layer_count) + b"\0\0"
    rows = planes.astype(planes.dtype.newbyteorder(">"))
    if packed:
        lines = [pack_bits(row.tobytes()) for plane in rows for row in plane]
        code = ">H" if version == 1 else ">I"
        body = struct.pack(">H", 1)
        body += b"".join(struct.pack(code, len(line)) for line in lines) + b"".join(lines)
    else:
        body = struct.pack(">H", 0) + rows.tobytes()
    return (
        head
        + struct.pack(">I", 0)
        + struct.pack(">I", len(resources))
        + resources
        + struct.pack(wide, len(layers))
        + layers
        + body
    )


def jpeg_without_adobe_marker(pixels: np.ndarray, **options: object) -> bytes:
    """A CMYK JPEG whose APP14 segment is taken out, so its samples are not inverted."""
    stream = io.BytesIO()
    Image.fromarray(pixels, "CMYK").save(stream, "JPEG", **options)
    data = stream.getvalue()
    at = data.index(b"\xff\xee")
    (length,) = struct.unpack(">H", data[at + 2 : at + 4])
    return data[:at] + data[at + 2 + length :]

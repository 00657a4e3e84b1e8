"""The flattened composite of a layered PSD or PSB file.

Photoshop file format as published by its maker: header, colour mode data, image resources, layer
and mask data, then the composite, plane by plane, raw or PackBits. Only the composite is read;
a file saved without one is white throughout and cannot be told from a white picture.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Final

from stock.errors import ArtworkUnreadable
from stock.ink.artwork import Artwork, Space, check_size
from stock.ink.vips import libvips

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pyvips

_SPACES: Final[dict[int, tuple[Space, int]]] = {1: ("grey", 1), 3: ("rgb", 3), 4: ("cmyk", 4)}
_MOST_CHANNELS: Final = 56
_RESOLUTION, _ICC = 1005, 1039


def open_psd(path: Path, file_bytes: int) -> Artwork:
    """Read the composite into memory.

    Raises:
        ArtworkUnreadable: Damaged, of a depth or colour mode not printed from, too large.
    """
    try:
        with path.open("rb") as stream:
            return _read(path, stream, file_bytes)
    except (struct.error, OSError, ValueError, IndexError):
        raise ArtworkUnreadable(str(path), "cannot be read, it is damaged or cut short.") from None


def _read(path: Path, stream: BinaryIO, file_bytes: int) -> Artwork:
    pyvips = libvips()

    version, channels, height, width, depth, mode = struct.unpack(">4xH6xHIIHH", stream.read(26))
    if version not in (1, 2):
        raise ArtworkUnreadable(str(path), f"is of an unknown PSD version {version}.")
    if mode not in _SPACES:
        raise ArtworkUnreadable(
            str(path), "is in an unusual colour mode; save it as RGB, grey or CMYK."
        )
    space, colours = _SPACES[mode]
    if depth not in (8, 16):
        raise ArtworkUnreadable(str(path), f"has {depth} bits a channel; expected 8 or 16.")
    if not colours <= channels <= _MOST_CHANNELS:
        raise ValueError("a number of channels no such file has")
    stream.seek(struct.unpack(">I", stream.read(4))[0], 1)
    dpi_x, dpi_y, icc = _resources(stream)
    transparent = _skip_layers(stream, version) and channels > colours
    planes = colours + transparent
    bytes_each = depth // 8
    check_size(path, width, height, planes * bytes_each, file_bytes, held=True)
    full = (1 << depth) - 1
    bands = [
        pyvips.Image.new_from_memory(plane, width, height, 1, "uchar" if depth == 8 else "ushort")
        for plane in _planes(stream, version, planes, height, width, bytes_each, channels)
    ]
    # Colours are stored as light, ink too: 0 is full.
    light, alpha = bands[:colours], bands[colours:]
    if transparent:
        light = [_lift_from_white(band, alpha[0], full) for band in light]
    if space == "cmyk":
        light = [(band * -1 + full).cast(band.format) for band in light]
    image = light[0].bandjoin([*light[1:], *alpha]) if planes > 1 else light[0]
    notes = ["The flattened composite of the layered file was measured."]
    if channels > colours + transparent:
        notes.append(f"Channels left out (selections, spots): {channels - planes}.")
    return Artwork(
        path=path,
        kind="PSD",
        width_px=width,
        height_px=height,
        dpi_x=dpi_x,
        dpi_y=dpi_y,
        space=space,
        has_alpha=transparent,
        full=full,
        icc=icc,
        image=image,
        notes=tuple(notes),
    )


def _resources(stream: BinaryIO) -> tuple[float | None, float | None, bytes | None]:
    """(horizontal dpi, vertical dpi, ICC profile) from the image resources section."""
    (length,) = struct.unpack(">I", stream.read(4))
    end = stream.tell() + length
    dpi_x = dpi_y = None
    icc: bytes | None = None
    while stream.tell() + 12 <= end:
        signature, number, name_length = struct.unpack(">4sHB", stream.read(7))
        if signature != b"8BIM":
            break
        stream.seek(name_length + (name_length + 1) % 2, 1)
        (size,) = struct.unpack(">I", stream.read(4))
        after = stream.tell() + size + size % 2
        if after > end + 1:
            break
        if number == _RESOLUTION and size >= 16:
            # Fixed point 16.16 pixels per inch, whatever unit is shown to the person.
            across, down = struct.unpack(">I4xI4x", stream.read(16))
            dpi_x, dpi_y = across / 65536, down / 65536
        elif number == _ICC:
            icc = stream.read(size)
        stream.seek(after)
    stream.seek(end)
    if not dpi_x or not dpi_y:
        return None, None, icc
    return dpi_x, dpi_y, icc


def _skip_layers(stream: BinaryIO, version: int) -> bool:
    """Pass the layer section; True when its first spare channel is the composite's transparency.

    The format says so by a negative layer count.
    """
    code, size = (">I", 4) if version == 1 else (">Q", 8)
    (length,) = struct.unpack(code, stream.read(size))
    end = stream.tell() + length
    transparent = False
    if length >= size + 2:
        (info,) = struct.unpack(code, stream.read(size))
        if info >= 2:
            (count,) = struct.unpack(">h", stream.read(2))
            transparent = count < 0
    stream.seek(end)
    return transparent


def _planes(
    stream: BinaryIO,
    version: int,
    wanted: int,
    height: int,
    width: int,
    bytes_each: int,
    channels: int,
) -> Iterator[bytes]:
    """The first ``wanted`` of the composite's planes, samples in the machine's own byte order."""
    import numpy as np
    from PIL import Image

    row_bytes = width * bytes_each
    (packing,) = struct.unpack(">H", stream.read(2))
    if packing not in (0, 1):
        raise ValueError("unknown packing")
    lengths = [row_bytes * height] * wanted
    if packing == 1:
        code = np.dtype(">u2" if version == 1 else ">u4")
        table = stream.read(channels * height * code.itemsize)
        rows = np.frombuffer(table, code).astype(np.int64).reshape(channels, height)
        lengths = [int(total) for total in rows.sum(axis=1)[:wanted]]
    for length in lengths:
        plane = stream.read(length)
        if len(plane) != length:
            raise ValueError("cut short")
        if packing == 1:
            unpacked = Image.frombytes("L", (row_bytes, height), plane, "packbits", "L")
            plane = unpacked.tobytes()
        if bytes_each == 2:
            plane = np.frombuffer(plane, ">u2").astype(np.uint16).tobytes()
        yield plane


def _lift_from_white(band: pyvips.Image, alpha: pyvips.Image, full: int) -> pyvips.Image:
    """Undo the white ground a composite is blended on.

    Stored light is s = c·a + 1·(1 − a), so c = (s − (1 − a)) / a.
    """
    # Division by zero gives 0 in libvips; such pixels are clear and count for nothing.
    lifted = (band * 1.0 + alpha - full) * full / alpha
    return lifted.rint().cast(band.format)

"""The shop's pictures, drawn by this script: shapes, rings, waves, a sunset, a CMYK badge."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

Picture = Image.Image
SIZE = (900, 1080)


def _canvas() -> Picture:
    return Image.new("RGBA", SIZE, (0, 0, 0, 0))


def _rings() -> Picture:
    picture = _canvas()
    pen = ImageDraw.Draw(picture)
    for n, colour in enumerate(("#e4572e", "#f3a712", "#a8c686", "#669bbc", "#29335c")):
        edge = 60 + 75 * n
        pen.ellipse((edge, edge + 90, SIZE[0] - edge, SIZE[0] - edge + 90), fill=colour)
    return picture


def _hills() -> Picture:
    picture = _canvas()
    pen = ImageDraw.Draw(picture)
    pen.rounded_rectangle((40, 40, SIZE[0] - 40, SIZE[1] - 40), 120, fill="#fde8c9")
    pen.ellipse((300, 160, 600, 460), fill="#f2542d")
    across = np.arange(40, SIZE[0] - 40)
    for n, colour in enumerate(("#7ea172", "#4f7942", "#2b4d2f")):
        top = 560 + 130 * n + 60 * np.sin(across / (90 + 25 * n) + n)
        outline = [*zip(across.tolist(), top.tolist(), strict=True)]
        pen.polygon([*outline, (SIZE[0] - 40, SIZE[1] - 160), (40, SIZE[1] - 160)], fill=colour)
    return picture


def _crest() -> Picture:
    picture = _canvas()
    pen = ImageDraw.Draw(picture)
    pen.polygon(
        [(150, 120), (750, 120), (750, 620), (450, 980), (150, 620)],
        fill="#102542",
        outline="#f87060",
        width=26,
    )
    for n in range(5):
        pen.regular_polygon((450, 300 + 110 * n, 90 - 12 * n), 5, fill="#cdd7d6")
    return picture


def _waves() -> Picture:
    picture = _canvas()
    pen = ImageDraw.Draw(picture)
    across = np.arange(0, SIZE[0], 4)
    for n in range(14):
        down = 110 + 66 * n + 34 * np.sin(across / 70 + n * 0.7)
        points = [*zip(across.tolist(), down.tolist(), strict=True)]
        shade = (20 + 9 * n, 90 + 9 * n, 150 + 6 * n, 255)
        pen.line(points, fill=shade, width=26, joint="curve")
    return picture


def _leaf() -> Picture:
    picture = _canvas()
    pen = ImageDraw.Draw(picture)
    for n in range(9):
        tilt = n * 40
        leaf = Image.new("RGBA", (260, 520), (0, 0, 0, 0))
        ImageDraw.Draw(leaf).ellipse((50, 10, 210, 510), fill=(46 + 14 * n, 125, 70, 230))
        turned = leaf.rotate(tilt, expand=True, resample=Image.Resampling.BILINEAR)
        at = (450 - turned.width // 2, 540 - turned.height // 2)
        picture.alpha_composite(turned, at)
    pen.ellipse((390, 480, 510, 600), fill="#ffd23f")
    return picture


def _plain_white() -> Picture:
    picture = _canvas()
    pen = ImageDraw.Draw(picture)
    for row in range(6):
        pen.rounded_rectangle(
            (120 + 20 * row, 120 + 145 * row, 780 - 20 * row, 215 + 145 * row), 30, fill="#ffffff"
        )
    return picture


def _one_colour() -> Picture:
    picture = _canvas()
    pen = ImageDraw.Draw(picture)
    for row in range(9):
        for column in range(7):
            if (row + column) % 2:
                x, y = 110 + 100 * column, 90 + 105 * row
                pen.regular_polygon((x + 40, y + 40, 44), 6, fill="#111111")
    return picture


def _glow() -> Picture:
    down, across = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    reach = np.hypot(across - 450, down - 520) / 430
    alpha = np.clip(1.15 - reach, 0, 1)
    pixels: NDArray[np.uint8] = np.zeros((SIZE[1], SIZE[0], 4), np.uint8)
    pixels[..., 0] = (255 * np.clip(1.3 - reach, 0, 1)).astype(np.uint8)
    pixels[..., 1] = (170 * np.clip(1.1 - reach, 0, 1)).astype(np.uint8)
    pixels[..., 2] = (200 * np.clip(reach, 0, 1)).astype(np.uint8)
    pixels[..., 3] = (255 * alpha).astype(np.uint8)
    return Image.fromarray(pixels, "RGBA")


def _sunset() -> Picture:
    down, across = np.mgrid[0 : SIZE[1], 0 : SIZE[0]].astype(float)
    share = down / SIZE[1]
    grain = np.random.default_rng(11).normal(0, 9, (SIZE[1], SIZE[0]))
    pixels = np.stack(
        [
            250 - 120 * share + grain,
            150 - 90 * share + 30 * np.sin(across / 140) + grain,
            90 + 110 * share + grain,
        ],
        axis=-1,
    )
    return Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8), "RGB")


def _small_mark() -> Picture:
    picture = Image.new("RGBA", (420, 300), (0, 0, 0, 0))
    pen = ImageDraw.Draw(picture)
    pen.arc((30, 20, 390, 380), 180, 360, fill="#d7263d", width=54)
    pen.rectangle((60, 210, 360, 260), fill="#1b998b")
    return picture


def _big_type() -> Picture:
    picture = _canvas()
    pen = ImageDraw.Draw(picture)
    for n, bar in enumerate((0.9, 0.55, 0.75, 0.4, 0.95, 0.6)):
        top = 110 + 150 * n
        pen.rectangle((90, top, 90 + int(720 * bar), top + 96), fill="#f4d35e")
        pen.rectangle((90, top + 104, 90 + int(720 * bar), top + 120), fill="#0d3b66")
    return picture


def _cmyk_badge() -> Picture:
    picture = Image.new("CMYK", (700, 700), (0, 0, 0, 0))
    pen = ImageDraw.Draw(picture)
    pen.ellipse((30, 30, 670, 670), fill=(200, 120, 0, 20))
    pen.ellipse((130, 130, 570, 570), fill=(0, 40, 220, 0))
    pen.rectangle((250, 250, 450, 450), fill=(0, 0, 0, 230))
    return picture


DRAWN: dict[str, tuple[str, Callable[[], Picture], str]] = {
    "RINGS": ("rings.png", _rings, "Five rings"),
    "HILLS": ("hills.png", _hills, "Hills at noon"),
    "CREST": ("crest.png", _crest, "Rowing crest"),
    "WAVES": ("waves.png", _waves, "Waves, large"),
    "LEAF": ("leaf.png", _leaf, "Leaf wheel"),
    "LADDER": ("ladder.png", _plain_white, "White ladder"),
    "COMB": ("comb.png", _one_colour, "Black comb, one colour"),
    "GLOW": ("glow.png", _glow, "Glow with soft edge"),
    "SUNSET": ("sunset.jpg", _sunset, "Sunset, full picture"),
    "MARK": ("mark.png", _small_mark, "Small chest mark"),
    "BARS": ("bars.png", _big_type, "Yellow bars"),
    "BADGE": ("badge.tif", _cmyk_badge, "Badge from the CMYK file"),
}


def draw_artworks(folder: Path) -> dict[str, tuple[str, str]]:
    """Draw every picture into ``folder``; returns file and title by artwork code."""
    folder.mkdir(parents=True, exist_ok=True)
    written = {}
    for code, (file, draw, title) in DRAWN.items():
        picture = draw()
        if file.endswith(".jpg"):
            picture.save(folder / file, quality=90)
        else:
            picture.save(folder / file, compress_level=3) if file.endswith(
                ".png"
            ) else picture.save(folder / file)
        written[code] = (f"{folder.name}/{file}", title)
    return written

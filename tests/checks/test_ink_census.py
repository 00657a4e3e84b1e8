"""The census of colours against separating every pixel, on real photographs.

Photographs: those scikit-image ships (astronaut, coffee cup, cat, stained tissue, retina, deep
field of galaxies, rocket, motorcycle). The reference separates each pixel by itself; for CMYK it is
the plain mean of each channel. Held: 0.2 % of each channel.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import skimage
from PIL import Image
from scipy import ndimage

from stock.ink.measure import Shares, estimate, measure_shares
from stock.ink.mode import PretreatDose, PrintMode, Rate
from stock.ink.separation import lightness, separate, srgb_to_linear
from stock.ink.white import white_tones

PHOTOGRAPHS = (
    "astronaut.png", "coffee.png", "chelsea.png", "ihc.png", "retina.jpg",
    "hubble_deep_field.jpg", "rocket.jpg", "motorcycle_left.png",
)  # fmt: skip
FOLDER = Path(skimage.__file__).parent / "data"
HELD = 0.002


def pixel_by_pixel(pixels: np.ndarray, mode: PrintMode) -> list[float]:
    """C, M, Y, K, W shares without any census; alpha, if there, is coverage."""
    flat = pixels.reshape(-1, pixels.shape[2]) / 255.0
    cover = flat[:, 3] if flat.shape[1] == 4 else np.ones(len(flat))
    tones = separate(flat[:, :3], mode)
    white = white_tones(lightness(srgb_to_linear(flat[:, :3])), mode)
    return [*(cover @ tones / len(flat)), float(cover @ white) / len(flat)]


def bare(tmp_path: Path, name: str) -> Path:
    """The photograph as plain sRGB PNG: some carry a profile, which the reference does not read."""
    path = tmp_path / f"{name}.png"
    Image.fromarray(np.asarray(Image.open(FOLDER / name).convert("RGB"))).save(path)
    return path


def told(shares: Shares) -> list[float]:
    return [shares.share[channel] for channel in "CMYKW"]


@pytest.mark.parametrize("name", PHOTOGRAPHS)
def test_a_photographs_census_is_its_pixels(tmp_path: Path, name: str) -> None:
    pixels = np.asarray(Image.open(FOLDER / name).convert("RGB"))
    mode = PrintMode()
    found = measure_shares(bare(tmp_path, name), garment="dark", mode=mode)
    assert told(found) == pytest.approx(pixel_by_pixel(pixels, mode), rel=HELD)


@pytest.mark.parametrize(
    "mode",
    [
        PrintMode(gcr=1.0, ink_limit=3.0),
        PrintMode(gcr=0.0, optical_gain=1.0),
        PrintMode(ink_limit=1.6, highlight_strength=0.5, white_under_black=0.2),
    ],
)
def test_other_modes_keep_the_census_true(tmp_path: Path, mode: PrintMode) -> None:
    for name in ("astronaut.png", "coffee.png", "rocket.jpg"):
        pixels = np.asarray(Image.open(FOLDER / name).convert("RGB"))
        found = measure_shares(bare(tmp_path, name), garment="dark", mode=mode)
        expected = pixel_by_pixel(pixels, mode)
        for one, other in zip(told(found), expected, strict=True):
            # Of the channel, or of full tone where a channel is hardly there.
            assert one == pytest.approx(other, rel=HELD, abs=2e-5)


def test_grain_and_soft_alpha_keep_the_census_true(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    pixels = np.asarray(Image.open(FOLDER / "astronaut.png").convert("RGB")).astype(float)
    pixels = np.clip(pixels + rng.normal(0, 4, pixels.shape), 0, 255)
    alpha = ndimage.gaussian_filter(rng.normal(size=pixels.shape[:2]), 25)
    alpha = np.clip(0.5 + alpha * 20, 0, 1) * 255
    rgba = np.dstack([pixels, alpha]).astype(np.uint8)
    Image.fromarray(rgba).save(tmp_path / "a.png")
    mode = PrintMode()
    found = measure_shares(tmp_path / "a.png", garment="dark", mode=mode)
    assert told(found) == pytest.approx(pixel_by_pixel(rgba, mode), rel=HELD)


def test_cmyk_shares_are_the_channels_means(tmp_path: Path) -> None:
    # Pillow's own conversion makes the CMYK picture; the check is the mean of its channels.
    for name in ("astronaut.png", "coffee.png"):
        cmyk = Image.open(FOLDER / name).convert("RGB").convert("CMYK")
        pixels = np.asarray(cmyk)
        grey_out = np.minimum(255 - pixels[..., :3].max(axis=2), 90)
        pixels = np.dstack([pixels[..., :3], grey_out])
        path = tmp_path / "c.tif"
        Image.fromarray(pixels, "CMYK").save(path)
        found = measure_shares(path, garment="light", mode=PrintMode())
        for band, channel in enumerate("CMYK"):
            assert found.share[channel] == pytest.approx(pixels[..., band].mean() / 255, rel=1e-9)


def test_white_under_cmyk_artwork_is_its_pixels_too(tmp_path: Path) -> None:
    pixels = np.asarray(Image.open(FOLDER / "coffee.png").convert("RGB").convert("CMYK"))
    path = tmp_path / "c.tif"
    Image.fromarray(pixels, "CMYK").save(path)
    mode = PrintMode(white_under_black=0.1)
    flat = pixels.reshape(-1, 4) / 255.0
    light = lightness(((1 - flat[:, :3]) * (1 - flat[:, 3:])) ** mode.optical_gain)
    found = measure_shares(path, garment="dark", mode=mode)
    assert found.share["W"] == pytest.approx(float(white_tones(light, mode).mean()), rel=HELD)


@pytest.mark.parametrize("name", ["astronaut.png", "coffee.png", "chelsea.png", "rocket.jpg"])
def test_half_the_pixels_give_the_same_ink(tmp_path: Path, name: str) -> None:
    # As artwork is placed: finer than its own detail. Halving grainy originals pixel by pixel
    # moves black by 1.2 % of itself, since black follows the darkest band of each grain.
    small = Image.open(FOLDER / name).convert("RGB")
    placed = small.resize((small.width * 2, small.height * 2), Image.Resampling.BICUBIC)
    placed.save(tmp_path / "whole.png")
    half = placed.resize(small.size, Image.Resampling.BOX)
    half.save(tmp_path / "half.png")
    mode = PrintMode()
    one = told(measure_shares(tmp_path / "whole.png", garment="dark", mode=mode))
    other = told(measure_shares(tmp_path / "half.png", garment="dark", mode=mode))
    assert other == pytest.approx(one, rel=0.01)
    assert sum(other[:4]) == pytest.approx(sum(one[:4]), rel=0.005)


def test_ink_goes_with_the_square_of_the_width(tmp_path: Path) -> None:
    shares = measure_shares(bare(tmp_path, "coffee.png"), garment="dark", mode=PrintMode())
    rates = {channel: Rate(1.0, 0.0) for channel in "CMYKW"}
    sizes = [
        estimate(shares, width_cm=w, rates=rates, dose=PretreatDose(), garment="dark")
        for w in (10.0, 30.0)
    ]
    for channel in "CMYKW":
        assert sizes[1].ml[channel] == pytest.approx(9 * sizes[0].ml[channel])

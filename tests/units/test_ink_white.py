"""White: method, strength, highlight, layers, knock-out, tone curves."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stock.ink.measure import measure_shares
from stock.ink.mode import PrintMode
from tests.units.ink_pictures import patches, save

FLAT = PrintMode(white_method="flat")
TONE = PrintMode(white_method="tone", white_under_black=0.4)


def white(path: Path, mode: PrintMode) -> float:
    return measure_shares(path, garment="dark", mode=mode).share["W"]


def of_colour(tmp_path: Path, *rgba: int) -> Path:
    return save(tmp_path / "c.png", np.full((10, 10, len(rgba)), rgba))


def test_flat_white_follows_alpha_alone(tmp_path: Path) -> None:
    assert white(of_colour(tmp_path, 10, 20, 200, 255), FLAT) == pytest.approx(1.0)
    assert white(of_colour(tmp_path, 255, 255, 255, 102), FLAT) == pytest.approx(0.4)
    half = replace(FLAT, white_strength=0.5)
    assert white(of_colour(tmp_path, 10, 20, 200, 255), half) == pytest.approx(0.5)


def test_less_white_lies_under_darker_colour(tmp_path: Path) -> None:
    laid = [white(of_colour(tmp_path, v, v, v), TONE) for v in (0, 60, 128, 200, 255)]
    assert laid[0] == pytest.approx(0.4)
    assert laid[-1] == pytest.approx(1.0)
    assert laid == sorted(laid)


def test_the_method_changes_white_by_a_third_to_two_thirds_on_dark_art(tmp_path: Path) -> None:
    # A well-made layer cuts white by 30–70 %: Images (UK), May 2021, p. 31 (trade magazine).
    dark_art = of_colour(tmp_path, 70, 40, 30)
    cut = 1 - white(dark_art, TONE) / white(dark_art, FLAT)
    assert 0.3 <= cut <= 0.7


def test_no_method_lays_no_white_and_takes_no_pretreat(tmp_path: Path) -> None:
    none = replace(FLAT, white_method="none")
    assert white(of_colour(tmp_path, 10, 20, 200), none) == 0


def test_two_layers_lay_twice(tmp_path: Path) -> None:
    path = save(tmp_path / "p.png", patches(4))
    assert white(path, replace(TONE, white_layers=2)) == pytest.approx(2 * white(path, TONE))


def test_highlight_white_comes_only_where_the_artwork_is_nearly_white(tmp_path: Path) -> None:
    shiny = replace(TONE, highlight_strength=0.6)
    mid, bright = of_colour(tmp_path, 128, 128, 128), None
    assert white(mid, shiny) == pytest.approx(white(mid, TONE))
    bright = of_colour(tmp_path, 255, 255, 255)
    assert white(bright, shiny) == pytest.approx(1.6)


def test_a_tone_curve_bends_each_channel(tmp_path: Path) -> None:
    path = of_colour(tmp_path, 0, 255, 255)
    curve = {"C": ((0.0, 0.0), (1.0, 0.7)), "W": ((0.0, 0.0), (1.0, 0.9))}
    found = measure_shares(path, garment="dark", mode=replace(FLAT, tone_curve=curve))
    assert found.share["C"] == pytest.approx(0.7)
    assert found.share["W"] == pytest.approx(0.9)
    cmyk = tmp_path / "k.tif"
    from PIL import Image

    Image.fromarray(np.full((4, 4, 4), (0, 0, 0, 128), np.uint8), "CMYK").save(cmyk)
    bent = PrintMode(tone_curve={"K": ((0.0, 0.0), (0.5, 0.3), (1.0, 1.0))})
    tone = 128 / 255
    expected = 0.3 + (tone - 0.5) / 0.5 * 0.7
    assert measure_shares(cmyk, garment="light", mode=bent).share["K"] == pytest.approx(expected)


def test_the_garments_own_black_is_left_out(tmp_path: Path) -> None:
    pixels = np.zeros((40, 40, 3))
    pixels[:10] = (24, 24, 24)
    pixels[10:20] = (25, 0, 0)
    pixels[20:] = (0, 200, 0)
    path = save(tmp_path / "b.png", pixels)
    out = replace(FLAT, knock_out_black=True, knock_out_tolerance=24)
    found = measure_shares(path, garment="dark", mode=out)
    assert found.share["W"] == pytest.approx(0.75)
    assert found.touched_share == pytest.approx(0.75)
    kept = measure_shares(path, garment="dark", mode=FLAT)
    assert kept.share["W"] == pytest.approx(1.0)
    on_light = measure_shares(path, garment="light", mode=out)
    assert on_light.touched_share == pytest.approx(1.0)


@pytest.mark.parametrize("kind", ["grey", "alpha", "cmyk", "deep"])
def test_black_is_left_out_of_every_kind(tmp_path: Path, kind: str) -> None:
    import tifffile
    from PIL import Image

    top = np.zeros((20, 10), bool)
    top[:10] = True
    out = replace(FLAT, knock_out_black=True)
    path = tmp_path / "k.tif"
    if kind == "grey":
        path = save(tmp_path / "k.png", np.where(top, 5, 180))
    elif kind == "alpha":
        rgba = np.full((20, 10, 4), (200, 10, 10, 128))
        rgba[top, :3] = 3
        path = save(tmp_path / "k.png", rgba)
    elif kind == "cmyk":
        cmyk = np.where(top[..., None], (0, 0, 0, 250), (90, 0, 0, 0)).astype(np.uint8)
        Image.fromarray(cmyk, "CMYK").save(path)
    else:
        rgb = np.where(top[..., None], (900, 900, 900), (50_000, 0, 0)).astype(np.uint16)
        tifffile.imwrite(path, rgb, photometric="rgb")
    expected = 0.5 * (128 / 255 if kind == "alpha" else 1.0)
    assert white(path, out) == pytest.approx(expected)


def test_an_opaque_rectangle_on_a_dark_garment_is_pointed_out(tmp_path: Path) -> None:
    path = of_colour(tmp_path, 255, 255, 255)
    found = measure_shares(path, garment="dark", mode=FLAT)
    assert any("no transparency" in note for note in found.notes)


def test_choking_leaves_colours_alone(tmp_path: Path) -> None:
    path = save(tmp_path / "p.png", patches(4))
    plain = measure_shares(path, garment="dark", mode=TONE)
    choked = measure_shares(path, garment="dark", mode=replace(TONE, choke_px=2.0))
    assert {**choked.share} == pytest.approx({**plain.share})
    assert choked.white_loss[0] == 0
    assert list(choked.white_loss) == sorted(choked.white_loss)
    assert choked.white_loss[-1] <= plain.share["W"] * 1.01

"""Shares and estimates on pictures whose answer is plain."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import stock.ink
from stock.errors import ArtworkUnreadable, Refused
from stock.ink.measure import Shares, estimate, measure_shares
from stock.ink.mode import CHANNELS, PretreatDose, PrintMode, Rate, prior_rates

MODE = PrintMode()
RATES = prior_rates(MODE)
DOSE = PretreatDose(mg_per_cm2=14.0, mg_per_cm2_sd=1.0, margin_cm=1.0)


def picture(path: Path, pixels: np.ndarray, **options: object) -> Path:
    Image.fromarray(pixels.astype(np.uint8)).save(path, **options)
    return path


def plain(tmp_path: Path, rgba: tuple[int, ...], size: tuple[int, int] = (40, 50)) -> Path:
    pixels = np.zeros((*size[::-1], len(rgba)))
    pixels[:] = rgba
    return picture(tmp_path / "plain.png", pixels)


def test_white_takes_no_ink_on_a_light_garment(tmp_path: Path) -> None:
    shares = measure_shares(plain(tmp_path, (255, 255, 255, 255)), garment="light", mode=MODE)
    assert shares.share == dict.fromkeys(CHANNELS, 0.0)
    assert shares.touched_share == 0


def test_colour_hidden_under_full_transparency_takes_nothing(tmp_path: Path) -> None:
    path = plain(tmp_path, (200, 30, 10, 0))
    for garment in ("light", "dark"):
        shares = measure_shares(path, garment=garment, mode=MODE)
        assert shares.share == dict.fromkeys(CHANNELS, 0.0)
        assert shares.touched_share == 0


def test_half_covering_red_takes_half_of_magenta_and_yellow(tmp_path: Path) -> None:
    full = measure_shares(plain(tmp_path, (255, 0, 0, 255)), garment="dark", mode=MODE)
    half = measure_shares(plain(tmp_path, (255, 0, 0, 51)), garment="dark", mode=MODE)
    assert full.share["M"] == pytest.approx(1.0)
    assert full.share["C"] == 0
    for channel in CHANNELS:
        assert half.share[channel] == pytest.approx(full.share[channel] * 51 / 255)
    assert half.touched_share == pytest.approx(0.2)


def test_only_a_dark_garment_takes_white_and_pretreat(tmp_path: Path) -> None:
    path = plain(tmp_path, (255, 0, 0, 255))
    light = measure_shares(path, garment="light", mode=MODE)
    dark = measure_shares(path, garment="dark", mode=MODE)
    on_light = estimate(light, width_cm=20, rates=RATES, dose=DOSE, garment="light")
    on_dark = estimate(dark, width_cm=20, rates=RATES, dose=DOSE, garment="dark")
    assert on_light.ml["W"] == 0
    assert on_light.pretreat_g == 0
    assert on_dark.ml["W"] > 0
    assert on_dark.pretreat_g == pytest.approx(22 * 27 * 14 / 1000)
    assert on_dark.pretreat_g_sd == pytest.approx(22 * 27 * 1 / 1000)


def test_millilitres_are_area_times_laydown_plus_the_print_overhead(tmp_path: Path) -> None:
    shares = measure_shares(plain(tmp_path, (0, 255, 255), (50, 50)), garment="light", mode=MODE)
    rate = Rate(per_cm2_ul=2.0, per_cm2_ul_sd=0.3, per_print_ml=0.1, per_print_ml_sd=0.04)
    found = estimate(shares, width_cm=10, rates={"C": rate}, dose=DOSE, garment="light", pieces=5)
    assert found.covered_cm2["C"] == pytest.approx(100)
    assert found.ml["C"] == pytest.approx(5 * (100 * 2.0 / 1000 + 0.1))
    assert found.ml_sd["C"] == pytest.approx(5 * np.hypot(100 * 0.3 / 1000, 0.04))
    assert found.ml["M"] == 0


def test_a_missing_rate_is_named(tmp_path: Path) -> None:
    shares = measure_shares(plain(tmp_path, (0, 255, 255)), garment="light", mode=MODE)
    with pytest.raises(Refused, match="channel C"):
        estimate(shares, width_cm=10, rates={}, dose=DOSE, garment="light")


def test_size_is_never_guessed(tmp_path: Path) -> None:
    shares = measure_shares(plain(tmp_path, (0, 0, 0)), garment="light", mode=MODE)
    with pytest.raises(Refused, match="give a width or a height"):
        estimate(shares, rates=RATES, dose=DOSE, garment="light")


def test_size_from_the_resolution_tag_is_said(tmp_path: Path) -> None:
    path = picture(tmp_path / "a.png", np.zeros((200, 100, 3)), dpi=(254, 254))
    shares = measure_shares(path, garment="light", mode=MODE)
    found = estimate(shares, rates=RATES, dose=DOSE, garment="light")
    assert found.width_cm == pytest.approx(1.0, rel=1e-4)
    assert found.height_cm == pytest.approx(2.0, rel=1e-4)
    assert any("resolution of 254" in note for note in found.notes)


@pytest.mark.parametrize("width", [float("nan"), float("inf"), 0.0, -3.0, 1e6])
def test_a_width_nobody_prints_is_refused(tmp_path: Path, width: float) -> None:
    shares = measure_shares(plain(tmp_path, (0, 0, 0)), garment="light", mode=MODE)
    with pytest.raises(Refused, match="printed width"):
        estimate(shares, width_cm=width, rates=RATES, dose=DOSE, garment="light")


def test_shares_survive_the_books_json(tmp_path: Path) -> None:
    import json

    shares = measure_shares(plain(tmp_path, (9, 99, 199, 77)), garment="dark", mode=MODE)
    assert Shares.from_dict(json.loads(json.dumps(shares.to_dict()))) == shares


def test_the_json_has_the_contracts_keys(tmp_path: Path) -> None:
    shares = measure_shares(plain(tmp_path, (9, 99, 199, 77)), garment="dark", mode=MODE)
    told = estimate(shares, width_cm=10, rates=RATES, dose=DOSE, garment="dark").to_json()
    assert list(told) == [
        "file", "sha256", "width_cm", "height_cm", "area_cm2", "covered_cm2", "touched_cm2",
        "ml", "ml_sd", "pretreat_g", "pretreat_g_sd", "calibrated", "notes",
    ]  # fmt: skip
    assert list(told["covered_cm2"]) == list(CHANNELS)


def test_kept_shares_are_found_by_content_and_mode(tmp_path: Path) -> None:
    path, cache = plain(tmp_path, (0, 255, 255)), tmp_path / "cache"
    first = measure_shares(path, garment="light", mode=MODE, cache_dir=cache)
    assert len(list(cache.iterdir())) == 1
    again = measure_shares(path, garment="light", mode=PrintMode(passes={"C": 3}), cache_dir=cache)
    assert again == first
    assert len(list(cache.iterdir())) == 1
    measure_shares(path, garment="light", mode=PrintMode(gcr=0.1), cache_dir=cache)
    assert len(list(cache.iterdir())) == 2
    for kept in cache.iterdir():
        kept.write_text("not what was kept")
    assert measure_shares(path, garment="light", mode=MODE, cache_dir=cache) == first


def test_a_directory_is_refused_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(ArtworkUnreadable, match="is a directory"):
        measure_shares(tmp_path, garment="light", mode=MODE)


def test_shares_of_a_light_garment_are_not_taken_for_a_dark_one(tmp_path: Path) -> None:
    shares = measure_shares(plain(tmp_path, (0, 0, 0)), garment="light", mode=MODE)
    with pytest.raises(Refused, match="measure it for a dark one"):
        estimate(shares, width_cm=10, rates=RATES, dose=DOSE, garment="dark")


def test_measuring_loads_nothing_heavy_until_it_is_asked_to() -> None:
    heavy = ("numpy", "scipy", "pyvips", "PIL", "pypdfium2", "sqlalchemy", "textual", "typer")
    modules = [
        f"stock.ink.{path.stem}"
        for path in Path(stock.ink.__file__).parent.glob("*.py")
        if path.stem != "__init__"
    ]
    code = (
        f"import importlib, sys\nfor name in {modules!r}: importlib.import_module(name)\n"
        f"print([name for name in {heavy!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

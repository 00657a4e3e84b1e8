"""Millilitres and grams of ordinary prints against what the trade says they take.

Sources: "about 1 mL" of CMYK for a light print (GRAPHICS PRO, "Overcome the Top 5 Challenges of
DTG Printing", no date, no print size named); 5–15 mL of white and 1–4 mL of colour for a full dark
front (from memory, none published found); pretreat 28–34 g on 16 × 20 inches (a supplier's guide,
no date; Printwear, September 2015, p. 97).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import skimage
from PIL import Image

from stock.ink.measure import Estimate, estimate, measure_shares
from stock.ink.mode import Garment, PretreatDose, PrintMode, prior_rates

INCH = 2.54


@pytest.fixture
def design(tmp_path: Path) -> Path:
    """A portrait in an oval on a clear ground, filling 60 % of its rectangle."""
    source = Path(skimage.__file__).parent / "data" / "astronaut.png"
    rgb = np.asarray(Image.open(source).convert("RGB"))
    y, x = np.mgrid[-1 : 1 : rgb.shape[0] * 1j, -1 : 1 : rgb.shape[1] * 1j]
    alpha = ((x**2 + y**2) * 0.785 < 0.6).astype(np.uint8) * 255
    path = tmp_path / "design.png"
    Image.fromarray(np.dstack([rgb, alpha])).save(path)
    return path


def printed(path: Path, garment: Garment, width_inch: float, height_inch: float) -> Estimate:
    mode = PrintMode()
    return estimate(
        measure_shares(path, garment=garment, mode=mode),
        width_cm=width_inch * INCH,
        height_cm=height_inch * INCH,
        rates=prior_rates(mode),
        dose=PretreatDose(margin_cm=0.0),
        garment=garment,
    )


def test_a_light_print_takes_about_a_millilitre(design: Path) -> None:
    found = printed(design, "light", 12, 12)
    assert 0.6 <= sum(found.ml[c] for c in "CMYK") <= 1.6


def test_a_full_dark_front_takes_5_to_15_ml_of_white_and_1_to_4_of_colour(tmp_path: Path) -> None:
    source = Path(skimage.__file__).parent / "data" / "astronaut.png"
    found = printed(source, "dark", 14, 16)
    assert 5 <= found.ml["W"] <= 15
    assert 1 <= sum(found.ml[c] for c in "CMYK") <= 4


def test_pretreat_for_a_dark_front_is_the_published_dose(design: Path) -> None:
    assert 28 <= printed(design, "dark", 16, 20).pretreat_g <= 34


def test_not_yet_calibrated_estimates_admit_a_third_of_spread(design: Path) -> None:
    found = printed(design, "dark", 14, 16)
    assert not found.calibrated
    assert 0.25 <= found.ml_sd["W"] / found.ml["W"] <= 0.5

"""Areas, dots and choke against closed forms, through the path a file takes.

Sources: plane geometry; the dot grid (1200/2.54)² = 223,200.4464 per cm² is arithmetic. Check
values marked "constructed" were computed by exact fractions beside floating point.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage

from stock.ink.choke import OBLIQUE
from stock.ink.measure import Estimate, estimate, measure_shares
from stock.ink.mode import CHANNELS, PretreatDose, PrintMode, Rate, prior_rates

FLAT = PrintMode(white_method="flat")
UNIT = dict.fromkeys(CHANNELS, Rate(per_cm2_ul=1.0, per_cm2_ul_sd=0.0))


def measured(path: Path, mode: PrintMode, garment: str = "dark", **size: float) -> Estimate:
    shares = measure_shares(path, garment=garment, mode=mode)
    return estimate(shares, rates=UNIT, dose=PretreatDose(), garment=garment, **size)


def save(tmp_path: Path, pixels: np.ndarray, **options: object) -> Path:
    path = tmp_path / "art.png"
    Image.fromarray(pixels.astype(np.uint8)).save(path, **options)
    return path


def opaque_where(covered: np.ndarray) -> np.ndarray:
    """White artwork with this coverage (0–1) as its alpha."""
    pixels = np.full((*covered.shape, 4), 255)
    pixels[..., 3] = np.rint(covered * 255)
    return pixels


def test_a_square_of_half_black_covers_half_its_area(tmp_path: Path) -> None:
    # A 10 × 10 cm square at 50 % K is 50 cm² of full tone; 128/256 is as near as 8 bits come.
    path = tmp_path / "half.tif"
    pixels = np.zeros((50, 50, 4), np.uint8)
    pixels[:, :25, 3], pixels[:, 25:, 3] = 127, 128
    Image.fromarray(pixels, "CMYK").save(path)
    found = measured(path, FLAT, "light", width_cm=10.0)
    assert found.covered_cm2["K"] == pytest.approx(50.0, rel=1e-9)
    assert found.covered_cm2["C"] == 0


@pytest.mark.parametrize("radius_px", [60.0, 200.3])
def test_a_disc_covers_pi_r_squared(tmp_path: Path, radius_px: float) -> None:
    side = int(2 * radius_px + 9)
    fine = 8
    at = (np.arange(side * fine) + 0.5) / fine - side / 2
    inside = (at[:, None] ** 2 + at[None, :] ** 2) <= radius_px**2
    covered = inside.reshape(side, fine, side, fine).mean(axis=(1, 3))
    found = measured(save(tmp_path, opaque_where(covered)), FLAT, width_cm=side / 100)
    expected = np.pi * (radius_px / 100) ** 2
    assert found.covered_cm2["W"] == pytest.approx(expected, rel=5e-4)
    assert found.touched_cm2 == pytest.approx(expected, rel=5e-4)


@pytest.mark.parametrize("choke", [1, 2, 3, 5, 9])
def test_choking_a_rectangle_takes_its_rim(tmp_path: Path, choke: int) -> None:
    # 2d(w + h) − 4d² for a w × h rectangle choked by d.
    wide, high = 130, 70
    covered = np.zeros((100, 160))
    covered[10 : 10 + high, 20 : 20 + wide] = 1
    mode = PrintMode(white_method="flat", choke_px=choke, dpi=254.0)
    # 254 dpi on cloth is 100 dots a centimetre: a pixel is a dot.
    found = measured(save(tmp_path, opaque_where(covered)), mode, width_cm=1.6)
    left = wide * high - (2 * choke * (wide + high) - 4 * choke**2)
    assert found.covered_cm2["W"] == pytest.approx(left / 100**2, rel=1e-9)


@pytest.mark.parametrize("choke", [1.5, 2.0, 4.0, 8.0])
def test_choking_a_disc_leaves_a_smaller_disc(tmp_path: Path, choke: float) -> None:
    radius, side, fine = 150.0, 320, 4
    at = (np.arange(side * fine) + 0.5) / fine - side / 2
    inside = (at[:, None] ** 2 + at[None, :] ** 2) <= radius**2
    covered = inside.reshape(side, fine, side, fine).mean(axis=(1, 3))
    mode = PrintMode(white_method="flat", choke_px=choke, dpi=254.0)
    found = measured(save(tmp_path, opaque_where(covered)), mode, width_cm=side / 100)
    lost = np.pi * (radius**2 - (radius - choke) ** 2) / 100**2
    whole = np.pi * radius**2 / 100**2
    assert whole - found.covered_cm2["W"] == pytest.approx(lost, rel=0.04)


def test_choke_distances_are_those_of_a_general_distance_transform(tmp_path: Path) -> None:
    # scipy.ndimage.distance_transform_edt is the independent reference.
    rng = np.random.default_rng(7)
    covered = ndimage.gaussian_filter(rng.normal(size=(211, 307)), 4) > 0.02
    for choke in (1, 2, 4, 7):
        mode = PrintMode(white_method="flat", choke_px=choke, dpi=254.0)
        found = measured(save(tmp_path, opaque_where(covered)), mode, width_cm=3.07)
        near = ndimage.distance_transform_edt(np.pad(covered, 1))[1:-1, 1:-1]
        # Slanting distances count 0.15 more, see stock.ink.choke.OBLIQUE.
        near = near + np.where(near % 1 > 0, OBLIQUE, 0)
        left = (covered * np.clip(near - choke, 0, 1)).sum()
        assert found.covered_cm2["W"] == pytest.approx(left / 100**2, rel=1e-9)


def test_choke_follows_the_printed_size(tmp_path: Path) -> None:
    # A choke is a length on cloth: printed twice as wide it is half as many pixels of artwork.
    covered = np.zeros((300, 300))
    covered[50:250, 50:250] = 1
    path = save(tmp_path, opaque_where(covered))
    mode = PrintMode(white_method="flat", choke_px=4, dpi=254.0)
    for width_cm, choke_px in ((3.0, 4.0), (6.0, 2.0)):
        found = measured(path, mode, width_cm=width_cm)
        pixel = width_cm / 300
        assert found.covered_cm2["W"] == pytest.approx((200 - 2 * choke_px) ** 2 * pixel**2)


def test_a_fade_loses_its_slope_times_the_choke(tmp_path: Path) -> None:
    # Coarea formula: eroding a ramp of slope s over a width L by d moves it by d, losing d·L·1
    # over its whole height, whatever the slope.
    ramp = np.clip((np.arange(400) - 50) / 200, 0, 1)
    covered = np.tile(ramp, (300, 1))
    covered[:, 350:] = 0
    mode = PrintMode(white_method="flat", choke_px=4, dpi=254.0)
    path = save(tmp_path, opaque_where(covered))
    whole = measured(path, FLAT, width_cm=4.0).covered_cm2["W"]
    left = measured(path, mode, width_cm=4.0).covered_cm2["W"]
    ends = 2 * 4 * covered[0].sum()
    sides = 2 * 4 * 300
    assert (whole - left) * 100**2 == pytest.approx(ends + sides, rel=0.03)


@pytest.mark.parametrize(
    ("dpi", "inked", "area_cm2"),
    [
        (300, 1_234_567, 88.4992495244),  # constructed; exact fractions
        (254, 1_000_000, 100.0),  # constructed; 254 dpi is 100 pixels a centimetre
    ],
)
def test_inked_pixels_have_their_area(
    tmp_path: Path, dpi: int, inked: int, area_cm2: float
) -> None:
    covered = np.zeros(1500 * 1000)
    covered[:inked] = 1
    path = save(tmp_path, opaque_where(covered.reshape(1000, 1500)), dpi=(dpi, dpi))
    found = measured(path, FLAT)
    # A PNG keeps whole pixels per metre, which is coarser than the figure.
    assert found.covered_cm2["W"] == pytest.approx(area_cm2, rel=2e-4)
    again = measured(path, FLAT, width_cm=1500 / dpi * 2.54)
    assert again.covered_cm2["W"] == pytest.approx(area_cm2, rel=1e-9)


@pytest.mark.parametrize(
    ("dpi", "width_cm", "height_cm", "coverage", "drop_pl", "covered_cm2", "ink_ml"),
    [
        # (1200/2.54)² dots/cm²; constructed, exact fractions
        (1200, 30, 40, 0.35, 7, 420.0, 0.656209312419),
        # constructed: a 4 × 4 inch solid is 1440² × 16 dots
        (1440, 10.16, 10.16, 1.0, 4, 103.2256, 0.1327104),
        # one drop of 5 pL on every dot of 12 × 12 inch; calculated
        (1200, 30.48, 30.48, 1.0, 5, 929.0304, 1.0368),
    ],
)
def test_coverage_becomes_drops_becomes_millilitres(
    tmp_path: Path,
    dpi: float,
    width_cm: float,
    height_cm: float,
    coverage: float,
    drop_pl: float,
    covered_cm2: float,
    ink_ml: float,
) -> None:
    mode = PrintMode(dpi=dpi, drop_pl=dict.fromkeys(CHANNELS, drop_pl), passes={})
    pixels = np.zeros((40, 30, 4), np.uint8)
    pixels.reshape(-1, 4)[: round(1200 * coverage), 3] = 255
    path = tmp_path / "k.tif"
    Image.fromarray(pixels, "CMYK").save(path)
    shares = measure_shares(path, garment="light", mode=mode)
    rates = {"K": Rate(per_cm2_ul=prior_rates(mode)["K"].per_cm2_ul, per_cm2_ul_sd=0.0)}
    found = estimate(
        shares,
        width_cm=width_cm,
        height_cm=height_cm,
        rates=rates,
        dose=PretreatDose(),
        garment="light",
    )
    assert found.covered_cm2["K"] == pytest.approx(covered_cm2, rel=1e-9)
    assert found.ml["K"] == pytest.approx(ink_ml, rel=1e-9)


def test_dots_per_square_centimetre_at_1200_dpi() -> None:
    one_picolitre = PrintMode(drop_pl={"K": 1.0}, passes={})
    assert one_picolitre.laydown("K") * 1e6 == pytest.approx(223_200.4464, abs=5e-5)


@pytest.mark.parametrize(("drop_pl", "ul_per_cm2"), [(5.0, 1.116), (12.0, 2.678)])
def test_a_drop_on_every_dot(drop_pl: float, ul_per_cm2: float) -> None:
    mode = PrintMode(drop_pl={"W": drop_pl}, passes={})
    assert mode.laydown("W") == pytest.approx(ul_per_cm2, abs=5e-4)

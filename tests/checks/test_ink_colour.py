"""sRGB, CIE and ICC figures through the code that separates artwork.

Sources: IEC 61966-2-1 (transfer function, matrix); CIE 15:2004 (L*); Lindbloom's tables of the
sRGB primaries (from memory, recomputed by two implementations); ΔE00 pairs of Sharma, Wu & Dalal
2005, Table 1; littlecms as Pillow's ImageCms runs it.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms
from skimage.color import deltaE_ciede2000, rgb2lab

from stock.ink.measure import measure_shares
from stock.ink.mode import PrintMode
from stock.ink.profiles import to_cmyk, to_srgb
from stock.ink.separation import lightness, reflected_by, separate, srgb_to_linear
from tests.units.ink_pictures import builtin_profile, patches, save

MODE = PrintMode()


@pytest.mark.parametrize(
    ("code", "linear"),
    [
        (128, 0.215860500114),  # IEC 61966-2-1; .2159 widely printed
        (188, 0.502886458033),  # .5029, from memory, recomputed
        (10, 0.00303526983549),  # linear segment, 10/255/12.92
        (11, 0.0033465357639),  # first code on the power segment
        (64, 0.051269458374),
    ],
)
def test_grey_artwork_takes_the_ink_its_linear_light_leaves(
    tmp_path: Path, code: int, linear: float
) -> None:
    # Murray–Davies (n = 1), no grey replacement: cyan tone is 1 − R of the pixel.
    mode = PrintMode(gcr=0.0, optical_gain=1.0, ink_limit=4.0)
    path = save(tmp_path / "g.png", np.full((8, 8, 3), code))
    found = measure_shares(path, garment="light", mode=mode)
    for channel in "CMY":
        assert 1 - found.share[channel] == pytest.approx(linear, rel=1e-6)


@pytest.mark.parametrize(
    ("rgb", "l_star"),
    [
        ((255, 0, 0), 53.2371155954),  # D65; Lindbloom, from memory, recomputed
        ((0, 0, 255), 32.300872904),
        ((255, 255, 255), 100.0),
        ((0, 0, 0), 0.0),
    ],
)
def test_white_under_a_colour_follows_its_cie_lightness(
    tmp_path: Path, rgb: tuple[int, int, int], l_star: float
) -> None:
    mode = PrintMode(white_method="tone", white_under_black=0.0, white_strength=1.0)
    path = save(tmp_path / "c.png", np.full((8, 8, 3), rgb))
    found = measure_shares(path, garment="dark", mode=mode)
    assert 100 * found.share["W"] == pytest.approx(l_star, abs=0.05)


def test_lightness_is_a_general_librarys() -> None:
    rgb = np.random.default_rng(1).random((500, 3))
    ours = lightness(srgb_to_linear(rgb)) * 100
    assert ours == pytest.approx(rgb2lab(rgb[None])[0, :, 0], abs=0.01)


@pytest.mark.parametrize(
    ("one", "other", "delta"),
    [
        ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
        ((50, 3.1571, -77.2803), (50, 0, -82.7485), 2.8615),
        ((50, 2.8361, -74.02), (50, 0, -82.7485), 3.4412),
        ((50, 0, 0), (50, -1, 2), 2.3669),
        ((50, 2.49, -0.001), (50, -2.49, 0.001), 7.1792),
        ((50, 2.5, 0), (50, 0, -2.5), 4.3065),
        ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ],
)
def test_the_colour_difference_used_below_is_the_published_one(
    one: tuple[float, ...], other: tuple[float, ...], delta: float
) -> None:
    found = deltaE_ciede2000(np.array(one, float), np.array(other, float))
    assert found == pytest.approx(delta, abs=6e-5)


def test_separated_colours_reflect_what_was_asked_until_the_limit() -> None:
    # Separation run backwards (ideal inks) gives the colour back where no ink limit bites.
    rgb = np.random.default_rng(2).random((3000, 3))
    mode = PrintMode(ink_limit=4.0)
    back = reflected_by(separate(rgb, mode), mode)
    assert back == pytest.approx(srgb_to_linear(rgb), abs=1e-9)
    encoded = np.where(back <= 0.0031308, back * 12.92, 1.055 * back ** (1 / 2.4) - 0.055)
    apart = deltaE_ciede2000(rgb2lab(rgb[None]), rgb2lab(np.clip(encoded, 0, 1)[None]))
    assert apart.max() < 1e-3


@pytest.mark.parametrize("gcr", [0.0, 0.4, 0.8])
@pytest.mark.parametrize("gain", [1.0, 2.0])
@pytest.mark.parametrize("limit", [2.4, 3.0])
def test_making_any_band_darker_never_lowers_total_ink(
    gcr: float, gain: float, limit: float
) -> None:
    mode = PrintMode(gcr=gcr, optical_gain=gain, ink_limit=limit)
    steps = np.linspace(0, 1, 18)
    grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), -1)
    total = separate(grid.reshape(-1, 3), mode).sum(axis=1).reshape(18, 18, 18)
    for axis in range(3):
        assert np.diff(total, axis=axis).max() <= 1e-12


@pytest.mark.parametrize("gcr", [0.0, 0.5, 0.8, 1.0])
def test_shading_a_colour_never_lowers_total_ink_at_any_replacement(gcr: float) -> None:
    mode = PrintMode(gcr=gcr)
    colours = np.random.default_rng(3).random((400, 3))
    totals = [separate(colours * shade, mode).sum(axis=1) for shade in np.linspace(1, 0, 60)]
    assert np.diff(totals, axis=0).min() >= -1e-9


def test_greys_separate_into_equal_colours_and_black() -> None:
    grey = np.repeat(np.linspace(0, 1, 256)[:, None], 3, axis=1)
    tones = separate(grey, MODE)
    assert np.ptp(tones[:, :3], axis=1).max() < 1e-12
    assert np.diff(tones[:, 3]).max() <= 1e-12
    assert tones[-1].tolist() == [0, 0, 0, 0]


@pytest.mark.parametrize("limit", [1.0, 2.0, 2.4, 3.2])
def test_no_colour_exceeds_the_ink_limit(limit: float) -> None:
    rgb = np.random.default_rng(4).random((5000, 3)) ** 3
    tones = separate(rgb, PrintMode(ink_limit=limit))
    assert tones.sum(axis=1).max() <= limit + 1e-12
    assert tones.min() >= 0
    assert tones.max() <= 1


def reference_cmyk(rgb: np.ndarray, profile: Path) -> np.ndarray:
    transform = ImageCms.buildTransform(ImageCms.createProfile("sRGB"), str(profile), "RGB", "CMYK")
    return np.asarray(ImageCms.applyTransform(Image.fromarray(rgb[None]), transform))[0]


@pytest.fixture
def press(tmp_path: Path) -> Path:
    path = tmp_path / "press.icc"
    path.write_bytes(builtin_profile("cmyk"))
    return path


def test_the_shops_own_profile_gives_what_littlecms_gives(press: Path) -> None:
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
    any_colours = np.random.default_rng(5).integers(0, 256, (2000, 3), dtype=np.uint8)
    for rgb in (ramp, any_colours):
        ours = to_cmyk(rgb / 255, press) * 255
        # Pillow works in 8 bits, we in 16: half a code of rounding.
        assert np.abs(ours - reference_cmyk(rgb, press)).max() < 0.6


def test_a_picture_through_the_shops_own_profile(tmp_path: Path, press: Path) -> None:
    pixels = patches()
    path = save(tmp_path / "p.png", pixels)
    found = measure_shares(path, garment="light", mode=PrintMode(cmyk_profile=str(press)))
    expected = reference_cmyk(pixels.reshape(-1, 3), press).mean(axis=0) / 255
    assert [found.share[c] for c in "CMYK"] == pytest.approx(expected.tolist(), abs=0.002)


def to_xyz(primaries: list[tuple[float, float]]) -> np.ndarray:
    """RGB to XYZ from the chromaticities of the primaries, white D65 (x .3127, y .3290)."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    white = np.array([0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290])
    return columns * np.linalg.solve(columns, white)


def test_an_embedded_wide_profile_is_turned_into_srgb() -> None:
    # P3 primaries: SMPTE EG 432-1; sRGB primaries: ITU-R BT.709; both with sRGB's curve.
    wide = to_xyz([(0.680, 0.320), (0.265, 0.690), (0.150, 0.060)])
    srgb = to_xyz([(0.640, 0.330), (0.300, 0.600), (0.150, 0.060)])
    colours = np.random.default_rng(6).uniform(0.3, 0.7, (500, 3))
    linear = srgb_to_linear(colours) @ np.linalg.solve(srgb, wide).T
    inside = (linear > 0.03).all(axis=1) & (linear < 1).all(axis=1)
    assert inside.sum() > 400
    expected = np.where(
        linear <= 0.0031308, linear * 12.92, 1.055 * np.abs(linear) ** (1 / 2.4) - 0.055
    )
    ours = to_srgb(colours, "rgb", builtin_profile("p3"))
    assert ours is not None
    assert np.abs(ours - expected)[inside].max() * 255 < 0.5
    # At the rim of sRGB the tables of the transform are coarser, in light still within 0.3 %.
    assert np.abs(srgb_to_linear(ours) - np.clip(linear, 0, 1)).max() < 0.003

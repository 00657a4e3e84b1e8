"""Every kind of file: the same picture gives the same shares however it is written."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from fpdf import FPDF
from PIL import Image

from stock.errors import ArtworkUnreadable
from stock.ink.measure import Shares, estimate, measure_shares
from stock.ink.mode import CHANNELS, PretreatDose, PrintMode, prior_rates
from tests.units.ink_pictures import (
    builtin_profile,
    jpeg_without_adobe_marker,
    patches,
    psd_bytes,
    save,
)

MODE = PrintMode()


def shares_of(path: Path, garment: str = "dark", **options: object) -> Shares:
    return measure_shares(path, garment=garment, mode=options.pop("mode", MODE), **options)


def same(one: Shares, other: Shares, tolerance: float = 1e-9) -> None:
    for channel in CHANNELS:
        assert one.share[channel] == pytest.approx(other.share[channel], abs=tolerance), channel
    assert one.touched_share == pytest.approx(other.touched_share, abs=tolerance)


def size_cm(shares: Shares) -> tuple[float, float]:
    found = estimate(shares, rates=prior_rates(MODE), dose=PretreatDose(), garment="dark")
    return found.width_cm, found.height_cm


@pytest.fixture
def plain(tmp_path: Path) -> Shares:
    """The patches as an 8-bit RGB PNG."""
    return shares_of(save(tmp_path / "plain.png", patches()))


@pytest.fixture
def clear(tmp_path: Path) -> Shares:
    """The patches with alpha as an 8-bit RGBA PNG."""
    return shares_of(save(tmp_path / "clear.png", patches(4)))


def test_lossless_kinds_agree(tmp_path: Path, plain: Shares, clear: Shares) -> None:
    same(shares_of(save(tmp_path / "a.tif", patches())), plain)
    same(shares_of(save(tmp_path / "b.tiff", patches(4), compression="tiff_lzw")), clear)
    same(shares_of(save(tmp_path / "c.webp", patches(4), lossless=True, exact=True)), clear)
    same(shares_of(save(tmp_path / "d.png", patches(4), interlace=True)), clear)


def test_sixteen_bits_agree_with_eight(tmp_path: Path, plain: Shares, clear: Shares) -> None:
    deep = patches().astype(np.uint16) * 257
    tifffile.imwrite(tmp_path / "rgb.tif", deep, photometric="rgb")
    same(shares_of(tmp_path / "rgb.tif"), plain, 1e-6)
    deep = patches(4).astype(np.uint16) * 257
    tifffile.imwrite(tmp_path / "rgba.tif", deep, photometric="rgb", extrasamples=["unassalpha"])
    same(shares_of(tmp_path / "rgba.tif"), clear, 1e-6)
    import pyvips

    image = pyvips.Image.new_from_array(deep, interpretation="rgb16")
    image.write_to_file(str(tmp_path / "rgba.png"))
    same(shares_of(tmp_path / "rgba.png"), clear, 1e-6)


def test_alpha_multiplied_into_a_tiffs_colours_is_taken_out(tmp_path: Path, clear: Shares) -> None:
    rgba = patches(4)
    alpha = rgba[..., 3:].astype(float) / 255
    tied = np.dstack([np.rint(rgba[..., :3] * alpha).astype(np.uint8), rgba[..., 3]])
    tifffile.imwrite(tmp_path / "tied.tif", tied, photometric="rgb", extrasamples=["assocalpha"])
    same(shares_of(tmp_path / "tied.tif"), clear, 0.003)


@pytest.mark.parametrize("kind", [np.float32, np.int32])
def test_samples_nobody_prints_from_are_refused(tmp_path: Path, kind: type) -> None:
    path = tmp_path / "f.tif"
    tifffile.imwrite(path, patches().astype(kind), photometric="rgb")
    with pytest.raises(ArtworkUnreadable, match="expected 8 or 16 bits"):
        shares_of(path)


def test_a_tiff_packed_in_a_rare_way_is_named_so(tmp_path: Path) -> None:
    path = tmp_path / "z.tif"
    tifffile.imwrite(path, patches(), photometric="rgb")
    with tifffile.TiffFile(path, mode="r+") as file:
        file.pages.first.tags["Compression"].overwrite(50_000)  # Zstandard, as libtiff numbers it
    # A libvips built with Zstandard finds the samples damaged instead.
    with pytest.raises(ArtworkUnreadable, match=r"compressed in a way .* save it with LZW|damaged"):
        shares_of(path)


def test_a_tiff_in_lab_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "lab.tif"
    tifffile.imwrite(path, patches(), photometric="cielab")
    with pytest.raises(ArtworkUnreadable, match=r"of a rare form|colour space lab"):
        shares_of(path)


def test_planar_tiff_agrees(tmp_path: Path, plain: Shares) -> None:
    tifffile.imwrite(
        tmp_path / "p.tif", np.moveaxis(patches(), -1, 0), photometric="rgb",
        planarconfig="separate",
    )  # fmt: skip
    same(shares_of(tmp_path / "p.tif"), plain)


def test_a_palette_and_its_transparent_entry(tmp_path: Path) -> None:
    index = np.kron(np.arange(6, dtype=np.uint8).reshape(2, 3), np.ones((9, 9), np.uint8))
    table = patches(3, seed=8).reshape(-1, 3)[::8][:6]
    image = Image.fromarray(index, "P")
    image.putpalette(table.tobytes())
    image.save(tmp_path / "p.png", transparency=2)
    rgba = np.dstack([table[index], np.where(index == 2, 0, 255)])
    same(shares_of(tmp_path / "p.png"), shares_of(save(tmp_path / "q.png", rgba)))


def test_a_colour_named_transparent_in_an_rgb_png(tmp_path: Path) -> None:
    pixels = patches()
    clear = tuple(int(v) for v in pixels[0, 0])
    Image.fromarray(pixels).save(tmp_path / "t.png", transparency=clear)
    alpha = np.where((pixels == clear).all(axis=2), 0, 255)
    same(
        shares_of(tmp_path / "t.png"),
        shares_of(save(tmp_path / "u.png", np.dstack([pixels, alpha]))),
    )


def test_grey_is_the_same_as_equal_red_green_and_blue(tmp_path: Path) -> None:
    grey = patches(1)[..., 0]
    alike = np.dstack([grey] * 3)
    # Grey is counted level by level, colours in bins: hence a tolerance.
    one, other = (
        shares_of(save(tmp_path / "g.png", grey)),
        shares_of(save(tmp_path / "h.png", alike)),
    )
    same(one, other, 2e-4)
    with_alpha = np.dstack([grey, patches(1, seed=9)[..., 0]])
    full = np.dstack([alike, with_alpha[..., 1]])
    same(
        shares_of(save(tmp_path / "i.png", with_alpha, "LA")),
        shares_of(save(tmp_path / "j.png", full)),
        2e-4,
    )
    one_bit = Image.fromarray((grey > 127).astype(np.uint8) * 255).convert("1")
    one_bit.save(tmp_path / "k.png")
    black = shares_of(tmp_path / "k.png", "light").touched_share
    assert black == pytest.approx((grey <= 127).mean())


def test_sixteen_bit_grey(tmp_path: Path) -> None:
    grey = patches(1)[..., 0]
    Image.fromarray(grey.astype(np.uint16) * 257).save(tmp_path / "g16.png")
    same(shares_of(tmp_path / "g16.png"), shares_of(save(tmp_path / "g8.png", grey)), 2e-6)


def test_jpeg_is_near_its_source(tmp_path: Path, plain: Shares) -> None:
    path = save(tmp_path / "a.jpg", patches(), quality=98, subsampling=0)
    same(shares_of(path), plain, 0.01)


def test_inks_of_cmyk_files_are_taken_as_they_are(tmp_path: Path) -> None:
    pixels = patches(4)
    path = tmp_path / "c.tif"
    Image.fromarray(pixels, "CMYK").save(path)
    found = shares_of(path, "light")
    for band, channel in enumerate("CMYK"):
        assert found.share[channel] == pytest.approx(pixels[..., band].mean() / 255), channel
    assert any("taken as they are" in note for note in found.notes)


def test_cmyk_jpegs_inverted_or_not(tmp_path: Path) -> None:
    pixels = patches(4)
    inverted = save(tmp_path / "inverted.jpg", pixels, "CMYK", quality=98)
    bare = tmp_path / "bare.jpg"
    # Pillow stores CMYK inverted, as the Adobe marker announces; without the marker the stored
    # samples are ink.
    bare.write_bytes(jpeg_without_adobe_marker(255 - pixels, quality=98))
    for path in (inverted, bare):
        found = shares_of(path, "light")
        for band, channel in enumerate("CMYK"):
            assert found.share[channel] == pytest.approx(
                pixels[..., band].mean() / 255, abs=0.01
            ), (path.name, channel)


def test_cmyk_of_sixteen_bits_and_with_alpha(tmp_path: Path) -> None:
    pixels = patches(4)
    path = tmp_path / "deep.tif"
    tifffile.imwrite(path, pixels.astype(np.uint16) * 257, photometric="separated")
    found = shares_of(path, "light")
    assert found.share["K"] == pytest.approx(pixels[..., 3].mean() / 255)
    alpha = patches(1, seed=3)
    path = tmp_path / "clear.tif"
    tifffile.imwrite(
        path, np.dstack([pixels, alpha]), photometric="separated", extrasamples=["unassalpha"]
    )
    found = shares_of(path, "light")
    expected = (pixels[..., 3] / 255 * alpha[..., 0] / 255).mean()
    assert found.share["K"] == pytest.approx(expected)


def test_the_first_page_of_a_tiff_is_measured_and_said(tmp_path: Path, plain: Shares) -> None:
    path = tmp_path / "pages.tif"
    first, second = Image.fromarray(patches()), Image.fromarray(patches(3, seed=77))
    first.save(path, save_all=True, append_images=[second])
    found = shares_of(path)
    same(found, plain)
    assert "Page 1 of 2 was measured." in found.notes
    same(shares_of(path, page=2), shares_of(save(tmp_path / "s.png", patches(3, seed=77))))
    with pytest.raises(ArtworkUnreadable, match="has 2 pages"):
        shares_of(path, page=3)


@pytest.mark.parametrize("packed", [True, False])
@pytest.mark.parametrize("depth", [8, 16])
@pytest.mark.parametrize("version", [1, 2])
def test_the_composite_of_a_psd(
    tmp_path: Path, plain: Shares, packed: bool, depth: int, version: int
) -> None:
    planes = np.moveaxis(patches(), -1, 0)
    if depth == 16:
        planes = planes.astype(np.uint16) * 257
    path = tmp_path / ("a.psd" if version == 1 else "a.psb")
    path.write_bytes(psd_bytes(planes, 3, packed=packed, version=version, dpi=254))
    found = shares_of(path)
    same(found, plain, 1e-6)
    assert size_cm(found) == pytest.approx((0.56, 0.48))


def test_psd_reading_agrees_with_a_general_reader(tmp_path: Path) -> None:
    # Pillow reads PSD composites by itself; it is the independent reader.
    for colour_mode, bands in ((3, 3), (4, 4), (1, 1)):
        path = tmp_path / f"{bands}.psd"
        path.write_bytes(psd_bytes(np.moveaxis(patches(bands), -1, 0), colour_mode))
        with Image.open(path) as picture:
            picture.load()
            again = tmp_path / f"{bands}.tif"
            picture.save(again)
        same(shares_of(path), shares_of(again))


def test_transparency_of_a_psd_is_lifted_off_its_white_ground(tmp_path: Path) -> None:
    rgba = patches(4)
    alpha = rgba[..., 3:] / 255
    blended = np.rint(rgba[..., :3] * alpha + 255 * (1 - alpha)).astype(np.uint8)
    planes = np.moveaxis(np.dstack([blended, rgba[..., 3]]), -1, 0)
    path = tmp_path / "t.psd"
    path.write_bytes(psd_bytes(planes, 3, layer_count=-1))
    same(shares_of(path), shares_of(save(tmp_path / "t.png", rgba)), 0.004)


def test_a_saved_selection_of_a_psd_is_no_transparency(tmp_path: Path, plain: Shares) -> None:
    planes = np.concatenate([np.moveaxis(patches(), -1, 0), patches(1, seed=2)[None, ..., 0]])
    path = tmp_path / "s.psd"
    path.write_bytes(psd_bytes(planes, 3, layer_count=1))
    found = shares_of(path)
    same(found, plain)
    assert any("left out" in note for note in found.notes)


def a_pdf(path: Path, pages: int = 1) -> Path:
    pdf = FPDF(unit="mm", format=(100, 60))
    pdf.set_margin(0)
    for page in range(pages):
        pdf.add_page()
        pdf.set_fill_color(255, 0, 0)
        pdf.rect(10, 10, 40 - 10 * page, 20, style="F")
        with pdf.local_context(fill_opacity=0.5):
            pdf.rect(60, 10, 20, 20, style="F")
    pdf.output(str(path))
    return path


def test_a_pdf_page_is_drawn_with_its_transparency(tmp_path: Path) -> None:
    found = shares_of(a_pdf(tmp_path / "a.pdf"), mode=PrintMode(white_method="flat"))
    # 40 × 20 mm of full red and 20 × 20 mm of half red on 100 × 60 mm.
    assert found.share["M"] == pytest.approx((800 + 0.5 * 400) / 6000, abs=5e-4)
    assert found.share["Y"] == pytest.approx(found.share["M"])
    assert found.share["W"] == pytest.approx(found.share["M"], abs=1e-9)
    assert found.share["C"] == pytest.approx(0, abs=1e-6)
    assert size_cm(found) == pytest.approx((10.0, 6.0), abs=0.01)
    assert any(note.startswith("The page was drawn at 300 dpi as RGB") for note in found.notes)


def test_a_pdf_page_is_chosen(tmp_path: Path) -> None:
    path = a_pdf(tmp_path / "a.pdf", pages=2)
    found = shares_of(path, page=2, mode=PrintMode(white_method="flat"))
    assert found.share["M"] == pytest.approx((600 + 0.5 * 400) / 6000, abs=5e-4)
    assert "Page 2 of 2 was measured." in found.notes
    with pytest.raises(ArtworkUnreadable, match="has 2 pages"):
        shares_of(path, page=3)
    with pytest.raises(ArtworkUnreadable, match="count from 1"):
        shares_of(path, page=0)


def test_a_locked_pdf_is_named_so(tmp_path: Path) -> None:
    pdf = FPDF()
    pdf.set_encryption(owner_password="a", user_password="b")
    pdf.add_page()
    pdf.output(str(tmp_path / "l.pdf"))
    with pytest.raises(ArtworkUnreadable, match="password"):
        shares_of(tmp_path / "l.pdf")


def test_a_wide_gamut_file_does_not_read_as_srgb(tmp_path: Path) -> None:
    # The same numbers in a wider space are a stronger colour: more ink, less of the opposite.
    pixels = np.full((20, 20, 3), (200, 120, 90))
    as_srgb = shares_of(save(tmp_path / "s.png", pixels), "light")
    as_p3 = shares_of(save(tmp_path / "p.png", pixels, icc_profile=builtin_profile("p3")), "light")
    assert as_p3.share["Y"] > as_srgb.share["Y"] + 0.005
    assert as_p3.share["C"] < as_srgb.share["C"] - 0.005
    assert any("sRGB was assumed" in note for note in as_srgb.notes)
    assert not any("assumed" in note for note in as_p3.notes)


def test_an_embedded_srgb_profile_changes_nothing(tmp_path: Path, plain: Shares) -> None:
    path = save(tmp_path / "s.png", patches(), icc_profile=builtin_profile("srgb"))
    same(shares_of(path), plain)


def test_a_broken_profile_is_said_and_left_aside(tmp_path: Path, plain: Shares) -> None:
    profile = bytearray(builtin_profile("p3"))
    profile[140:400] = b"\xff" * 260
    for icc in (bytes(profile), builtin_profile("cmyk"), b"nothing like a profile" * 9):
        found = shares_of(save(tmp_path / "b.tif", patches(), icc_profile=icc))
        same(found, plain)
        assert any("cannot be used" in note for note in found.notes)


@pytest.mark.parametrize("kind", ["jpg", "tif", "webp", "png"])
def test_a_turned_picture_swaps_its_sides(tmp_path: Path, kind: str) -> None:
    image = Image.fromarray(patches())
    exif = Image.Exif()
    exif[0x0112] = 6
    image.save(tmp_path / f"t.{kind}", exif=exif)
    found = shares_of(tmp_path / f"t.{kind}")
    assert (found.width_px, found.height_px) == (48, 56)


@pytest.mark.parametrize("kind", ["jpg", "tif", "png"])
def test_the_resolution_tag_is_read(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"r.{kind}"
    Image.fromarray(patches()).save(path, dpi=(254, 254))
    assert size_cm(shares_of(path)) == pytest.approx((0.56, 0.48), rel=1e-3)


def test_a_tag_in_centimetres_and_unlike_both_ways(tmp_path: Path) -> None:
    path = tmp_path / "r.tif"
    tifffile.imwrite(
        path, patches(), photometric="rgb", resolution=(100, 50), resolutionunit="CENTIMETER"
    )
    assert size_cm(shares_of(path)) == pytest.approx((0.56, 0.96))


def test_a_tag_without_a_unit_is_no_resolution(tmp_path: Path) -> None:
    path = tmp_path / "r.tif"
    tifffile.imwrite(
        path, patches(), photometric="rgb", resolution=(300, 300), resolutionunit="NONE"
    )
    assert shares_of(path).dpi is None
    bare = tmp_path / "bare.jpg"
    Image.fromarray(patches()).save(bare)
    assert shares_of(bare).dpi is None


def test_resolution_by_exif_alone(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[282], exif[283], exif[296] = 254.0, 254.0, 2
    for kind in ("webp", "jpg"):
        path = tmp_path / f"e.{kind}"
        Image.fromarray(patches()).save(path, exif=exif)
        assert shares_of(path).dpi == pytest.approx(254), kind

"""``stock measure``: one file or many, good and bad, through the door."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
import skimage
from PIL import Image

PHOTOGRAPHS = Path(skimage.__file__).parent / "data"


def test_a_bad_file_among_many_is_named_and_the_others_are_measured(run, tmp_path):
    for name in ("astronaut.png", "rocket.jpg"):
        shutil.copy(PHOTOGRAPHS / name, tmp_path)
    (tmp_path / "empty.png").write_bytes(b"")
    files = [str(tmp_path / name) for name in ("astronaut.png", "empty.png", "rocket.jpg")]
    ran = run("measure", *files, "--width-cm", "25")
    assert ran.code == 1
    assert [name in ran.out for name in ("astronaut.png", "empty.png", "rocket.jpg")] == [1, 0, 1]
    assert ran.err.count("stock: ") == 1
    assert "empty.png: the file is empty." in ran.err
    told = run("measure", *files, "--width-cm", "25", "--json")
    assert told.code == 1
    assert '"error": ' in told.out


def test_one_bad_file_is_one_sentence_and_no_document(run, tmp_path):
    (tmp_path / "empty.png").write_bytes(b"")
    ran = run("measure", str(tmp_path / "empty.png"), "--width-cm", "25", "--json")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.count("\n") == 1


def test_a_size_for_all_that_nobody_prints_is_said_once(run, tmp_path):
    files = [str(tmp_path / name) for name in ("a.png", "b.png")]
    for file in files:
        Image.new("RGB", (20, 20), (200, 30, 30)).save(file)
    ran = run("measure", *files, "--width-cm", "501")
    assert ran.code == 1
    assert ran.err.count("501") == 1


@pytest.mark.parametrize("photograph", ["astronaut.png", "chelsea.png"])
def test_a_photograph_takes_the_same_ink_from_every_kind_of_file(run, tmp_path, photograph):
    rgb = np.asarray(Image.open(PHOTOGRAPHS / photograph).convert("RGB"))
    picture = Image.fromarray(rgb)
    kinds = {
        "a.png": {}, "a.tif": {"compression": "tiff_lzw"}, "a.webp": {"lossless": True},
        "a.pdf": {"resolution": 300.0}, "a.jpg": {"quality": 98, "subsampling": 0},
    }  # fmt: skip
    for name, options in kinds.items():
        picture.save(tmp_path / name, **options)
    files = [str(tmp_path / name) for name in kinds]
    documents = run("measure", *files, "--width-cm", "25", "--garment", "dark", "--json").json()
    base = documents[0]["covered_cm2"]
    for document in documents:
        assert document["covered_cm2"] == pytest.approx(base, rel=0.01), document["file"]
        assert document["pretreat_g_sd"] > 0


MODES = (
    "code,white_method,white_under_black,white_layers,choke_px,knock_out_black,curve_K,curve_W\n"
    "flat,flat,100 %,1,0,no,,\n"
    "two,flat,100 %,2,0,no,,\n"
    "choked,flat,100 %,1,12,no,,\n"
    "knocked,flat,100 %,1,0,yes,,\n"
    "bent,flat,100 %,1,0,no,25=15 50%=40% 100=90,50=30 100=80\n"
)


def test_print_modes_come_from_a_file_and_change_what_is_laid(shop, tmp_path):
    # 10 × 10 cm: the left half black at half tone, the right half at full tone, all of it CMYK.
    inks = np.zeros((100, 100, 4), np.uint8)
    inks[:, :50, 3], inks[:, 50:, 3] = 128, 255
    Image.fromarray(inks, "CMYK").save(tmp_path / "black.tif", dpi=(25.4, 25.4))
    (tmp_path / "modes.csv").write_text(MODES)
    ran = shop("import", "modes", str(tmp_path / "modes.csv"))
    assert ran.code == 0, ran.err

    def covered(mode):
        words = ("--garment", "dark", "--mode", mode, "--json")
        return shop("measure", str(tmp_path / "black.tif"), *words).json()["covered_cm2"]

    plain = covered("flat")
    assert plain["K"] == pytest.approx(50 * 128 / 255 + 50)
    assert plain["W"] == pytest.approx(100)
    assert covered("two")["W"] == pytest.approx(200)
    # 12 dots of 1200 dpi are 0.0254 cm; a rim of 2d(w + h) − 4d² is gone.
    assert covered("choked")["W"] == pytest.approx(100 - 40 * 0.0254 + 4 * 0.0254**2, rel=1e-3)
    assert covered("knocked")["K"] == pytest.approx(50 * 128 / 255)
    bent = covered("bent")
    assert bent["K"] == pytest.approx(50 * (0.4 + 0.5 * (128 / 255 - 0.5) / 0.5) + 50 * 0.9)
    assert bent["W"] == pytest.approx(80)


@pytest.mark.parametrize("curve", ["50", "50=x", "50=120 100=100", "60=10 50=20", "100=NaN", "="])
def test_a_curve_that_is_none_is_named_at_its_line(shop, tmp_path, curve):
    (tmp_path / "modes.csv").write_text(f"code,curve_W\nbent,{curve}\n")
    ran = shop("import", "modes", str(tmp_path / "modes.csv"))
    assert ran.code == 1
    assert "line 2, curve_W" in ran.err
    assert "50=40 100=96" in ran.err

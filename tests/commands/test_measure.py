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

"""``stock label``: what it prints, another program's decoder reads and ``stock`` takes back."""

from __future__ import annotations

import json
from pathlib import Path

import pypdfium2
import pytest
import zxingcpp
from PIL import Image


def typed(image: Image.Image) -> list[str]:
    """What a hand scanner types for each symbol in a picture (decoder: zxing-cpp)."""
    return [
        found.symbology_identifier + found.bytes.decode() for found in zxingcpp.read_barcodes(image)
    ]


def pages(path: Path) -> list[Image.Image]:
    document = pypdfium2.PdfDocument(path)
    try:
        return [page.render(scale=300 / 72).to_pil() for page in document]
    finally:
        document.close()


@pytest.mark.parametrize("symbol", ["datamatrix", "gs1-128"])
def test_a_lots_label_scanned_on_arrival_books_that_lot(stocked, tmp_path, symbol):
    out = tmp_path / "labels.pdf"
    words = ("label", "lot", "INK-W", "--lot", "W-1", "--symbol", symbol, "--out", str(out))
    assert stocked(*words, "--on", "2026-03-02").code == 0
    [code] = typed(pages(out)[0])
    booked = stocked("receive", "--scan", code, "--on", "2026-03-03", "--json").json()
    [lot] = booked["lots"]
    assert (lot["item"], lot["lot"], lot["expires"]) == ("INK-W", "W-1", "2027-01-31")


def test_a_lot_whose_pack_has_no_gtin_comes_back_by_its_item_code(stocked, tmp_path):
    out = tmp_path / "tee.png"
    words = ("label", "lot", "TEE-BLK-L", "--lot", "L-1", "--sheet", "roll-100x50")
    assert stocked(*words, "--out", str(out), "--on", "2026-03-02").code == 0
    [code] = typed(Image.open(out))
    booked = stocked("receive", "--scan", code, "--packs", "12", "--on", "2026-03-03", "--json")
    assert [(lot["item"], lot["lot"], lot["packs"]) for lot in booked.json()["lots"]] == [
        ("TEE-BLK-L", "L-1", 12)
    ]


def test_every_shelf_and_slot_gets_a_label_that_reads_as_itself(stocked, tmp_path):
    out = tmp_path / "places.pdf"
    told = stocked("label", "place", "--out", str(out), "--on", "2026-03-02", "--json").json()
    read = set()
    for page in pages(out):
        for code in typed(page):
            read.add(json.loads(stocked("scan", code, "--json").out)["own"])
    assert read == {f"place {label['title']}" for label in told["labels"]}
    assert {"place SHELF", "place QUARANTINE", "place P1-W"} <= read


def test_loaded_containers_get_labels_and_count_repeats_them(stocked, tmp_path):
    out = tmp_path / "containers.pdf"
    words = ("label", "container", "--count", "2", "--out", str(out), "--on", "2026-03-02")
    told = stocked(*words, "--json").json()
    assert len(told["labels"]) == 10
    assert len(typed(pages(out)[0])) == 10


def test_skipped_labels_leave_their_places_empty(stocked, tmp_path):
    out = tmp_path / "late.pdf"
    words = ("label", "place", "SHELF", "--skip", "23", "--out", str(out), "--on", "2026-03-02")
    assert stocked(*words, "--sheet", "a4-70x37").code == 0
    [page] = pages(out)
    [found] = zxingcpp.read_barcodes(page)
    assert found.position.top_left.x > page.width * 2 / 3
    assert found.position.top_left.y > page.height * 6 / 8


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("label", "wolf"), 2, "lot, container, place, item"),
        (("label", "place", "PRINTED"), 1, "no shelf or slot"),
        (("label", "lot", "INK-W", "--lot", "W-9"), 1, "There is no lot of INK-W 'W-9'"),
        (("label", "container", "C-404"), 1, "There is no container 'C-404'"),
        (("label", "place", "--out", "x.png"), 2, "A PNG holds one label"),
        (("label", "place", "--out", "x.doc"), 2, ".pdf or .png"),
        (("label", "place", "--sheet", "napkin"), 2, "expected one of a4-70x37"),
        (("label", "place", "--count", "0"), 1, "expected 1 to 5,000"),
    ],
)
def test_what_cannot_be_labelled_is_said_in_one_sentence(
    stocked, tmp_path, monkeypatch, words, code, said
):
    monkeypatch.chdir(tmp_path)
    ran = stocked(*words, "--on", "2026-03-02")
    assert ran.code == code
    assert said in ran.err
    assert not list(tmp_path.glob("x.*"))

"""Labels read back by an independent decoder and our scanner's path.

One library writes the symbols (pystrich), another reads them (zxing-cpp).
"""

import io
from datetime import UTC, date, datetime

import pypdfium2
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from stock.exchange.barcodes import ScannedCode, parse_code
from stock.exchange.label_sheets import SHEETS, LabelSheet, label_png, labels_pdf
from stock.exchange.labels import Label, lot_label, own_label, scanner_text
from stock.exchange.own_codes import OwnCode, read_own, write_own
from stock.exchange.symbols import SymbolKind

ON = date(2026, 11, 25)
MADE = datetime(2026, 11, 25, tzinfo=UTC)
GTIN = "09521234543213"
LOT = lot_label(on=ON, name="White ink 1.8 L", lot="L2403A", gtin=GTIN, expires=date(2027, 6, 30))
GS1_CHARACTERS = "!\"%&'()*+,-./0123456789:;<=>?ABCXYZ_abcxyz"


def scan(image: Image.Image) -> list[ScannedCode]:
    """What a scanner would type for each symbol in the picture, parsed."""
    return [
        parse_code(found.symbology_identifier + found.bytes.decode(), on=ON)
        for found in zxingcpp.read_barcodes(image)
    ]


def picture(label: Label, kind: SymbolKind, size: tuple[float, float] = (100, 50)) -> Image.Image:
    return Image.open(io.BytesIO(label_png(label, *size, symbol=kind)))


@pytest.mark.parametrize("kind", ["datamatrix", "gs1-128"])
def test_a_lots_label_reads_as_gtin_expiry_and_lot(kind: SymbolKind):
    [code] = scan(picture(LOT, kind))
    assert (code.gtin, code.lot, code.expires) == (GTIN, "L2403A", date(2027, 6, 30))
    assert not code.suspect


def test_a_lot_without_a_gtin_is_labelled_by_item_code():
    label = lot_label(on=ON, name="Tee", lot="B-7", sku="TEE BLK L", expires=None)
    [code] = scan(picture(label, "datamatrix", (70, 37)))
    assert (code.gtin, code.lot, code.own) == (None, "B-7", OwnCode("item", "TEE BLK L"))


@pytest.mark.parametrize("kind", ["place", "container", "item"])
def test_shelves_containers_and_items_read_as_our_own(kind):
    [code] = scan(picture(own_label(kind, "Größe 1/A", on=ON), "datamatrix", (62, 29)))
    assert code.own == OwnCode(kind, "Größe 1/A")
    assert code.warnings == ()


@given(st.text(GS1_CHARACTERS, min_size=1, max_size=20), st.sampled_from(["datamatrix", "gs1-128"]))
@settings(max_examples=40, deadline=None)
def test_every_lot_that_gs1_data_can_hold_reads_back(lot: str, kind: SymbolKind):
    label = lot_label(on=ON, name="x", lot=lot, gtin=GTIN, expires=date(2027, 6, 30))
    [code] = scan(picture(label, kind, (160, 60)))
    assert code.lot == lot
    assert code.expires == date(2027, 6, 30)


@pytest.mark.parametrize("lot", ["", "LOT 12", "Ä-1", "X" * 21, "A\x1d17270630", "A\x1b"])
def test_a_lot_that_no_label_can_hold_is_refused(lot: str):
    with pytest.raises(ValueError, match="no label can hold"):
        lot_label(on=ON, name="x", lot=lot, gtin=GTIN)


def test_a_wrong_gtin_gets_no_label():
    with pytest.raises(ValueError, match="should be 3, not 4"):
        lot_label(on=ON, name="x", lot="L", gtin="09521234543214")
    with pytest.raises(ValueError, match="GTIN or an item code"):
        lot_label(on=ON, name="x", lot="L")


@pytest.mark.parametrize("name", SHEETS)
def test_every_label_of_a_sheet_can_be_scanned(name: str):
    sheet = SHEETS[name]
    labels = [
        lot_label(on=ON, name="White ink", lot=f"L-{n}", gtin=GTIN, expires=date(2027, 6, 30))
        for n in range(sheet.per_page + 1)
    ]
    document = pypdfium2.PdfDocument(labels_pdf(labels, sheet, made=MADE))
    assert len(document) == 2
    width, height = document[0].get_size()
    assert (width, height) == pytest.approx([side / 25.4 * 72 for side in sheet.page_mm], abs=0.01)
    found = [code.lot for page in document for code in scan(page.render(scale=300 / 72).to_pil())]
    document.close()
    assert sorted(map(str, found)) == sorted(f"L-{n}" for n in range(sheet.per_page + 1))


def test_used_up_labels_of_the_first_page_are_left_out():
    sheet = SHEETS["a4-70x37"]
    document = pypdfium2.PdfDocument(labels_pdf([LOT] * 2, sheet, made=MADE, skip=23))
    places = [zxingcpp.read_barcodes(page.render(scale=3).to_pil()) for page in document]
    document.close()
    assert [len(found) for found in places] == [1, 1]
    with pytest.raises(ValueError, match="24 labels"):
        labels_pdf([LOT], sheet, made=MADE, skip=24)


def test_a_code_too_wide_for_its_label_is_refused_with_both_sizes():
    with pytest.raises(ValueError, match=r"needs \d+ mm, the label leaves 36 mm"):
        label_png(LOT, 40, 30, symbol="gs1-128")
    long = lot_label(on=ON, name="x", lot="A" * 20, sku="B" * 60)
    with pytest.raises(ValueError, match="48 characters"):
        label_png(long, 200, 60, symbol="gs1-128")


def test_a_png_has_its_real_size():
    image = picture(LOT, "datamatrix", (62, 29))
    assert image.size == (round(62 / 25.4 * 300), round(29 / 25.4 * 300))
    assert image.info["dpi"] == pytest.approx((300, 300), abs=0.1)


def test_a_label_takes_any_name_and_any_number_of_lines():
    label = lot_label(on=ON, name="日本 \x1b " * 20, lot="L", gtin=GTIN, lines=["line " * 40] * 9)
    [code] = scan(picture(label, "datamatrix", (70, 37)))
    assert code.lot == "L"
    assert labels_pdf([label], SHEETS["roll-62x29"], made=MADE).startswith(b"%PDF")


def test_a_sheet_that_does_not_fit_its_page_is_refused():
    with pytest.raises(ValueError, match=r"take 280\.0"):
        LabelSheet((210, 297), (70, 37), 4, 8, 0, 0)
    with pytest.raises(ValueError, match="positive"):
        LabelSheet((210, 297), (0, 37), 3, 8, 0, 0)


@given(st.sampled_from(["place", "container", "item"]), st.text(min_size=1, max_size=12))
def test_our_own_codes_read_back(kind, code: str):
    own = OwnCode(kind, code.encode(errors="ignore").decode() or "x")
    try:
        value = write_own(own)
    except ValueError:
        return
    assert read_own(value) == own
    assert parse_code(scanner_text((("91", value),)), on=ON).own == own


@pytest.mark.parametrize("value", ["X:1", "P:", "P", "shelf", "p:1", "P:%FF"])
def test_other_uses_of_the_internal_field_are_not_taken_for_ours(value: str):
    assert read_own(value) is None

"""What the scanner's path accepts, refuses and asks about."""

import string
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stock.errors import BarcodeUnreadable
from stock.exchange.barcodes import join_scans, parse_code

ON = date(2026, 11, 25)
GTIN = "09521234543213"


@pytest.mark.parametrize("prefix", ["", "]C1", "]d2", "]Q3", "]e0", "]J1", "\x1d", "]C1\x1d"])
@pytest.mark.parametrize("suffix", ["", "\r\n", "\x1d"])
def test_a_symbology_prefix_and_closing_keys_change_nothing(prefix: str, suffix: str):
    code = parse_code(f"{prefix}01{GTIN}1727063010L-1{suffix}", on=ON)
    assert (code.gtin, code.expires, code.lot) == (GTIN, date(2027, 6, 30), "L-1")
    assert code.warnings == ()


@pytest.mark.parametrize("stand_in", ["<GS>", "{GS}", "<FNC1>", "␝", "^"])
def test_what_scanners_type_for_a_separator_separates(stand_in: str):
    code = parse_code(f"01{GTIN}10L-1{stand_in}17270630", on=ON)
    assert (code.lot, code.expires, code.suspect) == ("L-1", date(2027, 6, 30), False)


def test_a_shop_may_name_its_scanners_own_separator():
    code = parse_code(f"01{GTIN}10L-1|17270630", on=ON, separator="|")
    assert (code.lot, code.expires) == ("L-1", date(2027, 6, 30))


def test_the_printed_form_keeps_brackets_that_belong_to_a_lot():
    code = parse_code(f"(01){GTIN} (10)AB(C)1 (17)270630", on=ON)
    assert (code.lot, code.expires) == ("AB(C)1", date(2027, 6, 30))


@pytest.mark.parametrize(
    ("text", "gtin"),
    [
        ("96385074", "00000096385074"),
        ("614141000036", "00614141000036"),
        ("6 291041 500213", "06291041500213"),
        ("]E06291041500213", "06291041500213"),
        ("]E3629104150021312", "06291041500213"),
        ("]I109521234543213", GTIN),
    ],
)
def test_a_plain_gtin_comes_out_with_fourteen_digits(text: str, gtin: str):
    assert parse_code(text, on=ON).gtin == gtin


def test_a_zero_suppressed_upc_is_widened_with_a_word_about_it():
    code = parse_code("04252614", on=ON)
    assert code.gtin == "00042100005264"
    assert "UPC-E" in code.warnings[0]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "empty"),
        ("   \r\n", "empty"),
        ("6291041500214", "should be 3, not 4"),
        ("0" * 13, "names nothing"),
        ("12345", "8, 12, 13 or 14 digits"),
        ("hello", "neither a GTIN"),
        (f"01{GTIN}17270230", "not a day of the calendar"),
        (f"01{GTIN}17271301", "YYMMDD"),
        (f"01{GTIN}17260000", "not a day of the calendar|YYMMDD"),
        (f"01{GTIN[:-1]}4", "should be 3, not 4"),
        (f"01{GTIN}10", r"\(10\)"),
        (f"01{GTIN}30", r"\(30\)"),
        (f"01{GTIN}10L\x1d10M", "two values for lot: L and M"),
        (f"01{GTIN}10\u202eABC", r"U\+202E"),
        (f"01{GTIN}10A\x1bBC", r"U\+001B"),
        (f"01{GTIN}10ABC\u0660", r"U\+0660"),
        ("0109521234543\u0662\u0661\u0663", r"U\+0662"),
        ("https://example.com/shop/tee", "Digital Link"),
        ("https://[", "Digital Link"),
        ("https://id.gs1.org/01/09521234543213/17/%D9%A3", "Digital Link|GS1 data"),
        ("https://id.gs1.org/01/09521234543214", "should be 3, not 4"),
        ("(99999)12", "application identifier"),
        (f"(01){GTIN}(17)27063", "YYMMDD"),
        ("]d2", "neither|empty"),
        ("0" * 3000, "more than any symbol"),
    ],
)
def test_what_cannot_be_understood_is_refused_in_one_sentence(text: str, why: str):
    with pytest.raises(BarcodeUnreadable, match=why) as caught:
        parse_code(text, on=ON)
    assert "\n" not in str(caught.value)
    assert "\x1b" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "lot", "expires"),
    [
        # Lot, then a date whose separator was lost.
        (f"01{GTIN}10ABC17270630", "ABC", date(2027, 6, 30)),
        # … with more behind it.
        (f"01{GTIN}10ABC1727063021S9", "ABC", date(2027, 6, 30)),
        # … and day 00.
        (f"01{GTIN}10ABC17270600", "ABC", date(2027, 6, 30)),
        # Best before instead.
        (f"01{GTIN}10ABC15270630", "ABC", date(2027, 6, 30)),
    ],
)
def test_a_lot_that_may_have_swallowed_the_next_field_is_suspected(
    text: str, lot: str, expires: date
):
    code = parse_code(text, on=ON)
    assert code.suspect
    assert any(note.startswith("suspect") for note in code.warnings)
    assert code.other_reading is not None
    assert code.other_reading.lot == lot
    assert code.other_reading.use_by == expires


def test_a_lot_beyond_its_largest_length_reads_as_split_and_is_asked_about():
    code = parse_code(f"01{GTIN}10ABCDEFGHIJKLMNOP17270630", on=ON)
    assert code.suspect
    assert (code.lot, code.expires) == ("ABCDEFGHIJKLMNOP", date(2027, 6, 30))


def test_a_lot_beyond_its_largest_length_without_a_reading_is_refused():
    with pytest.raises(BarcodeUnreadable, match="separator is missing"):
        parse_code(f"01{GTIN}10ABCDEFGHIJKLMNOPQRSTUVWXYZ", on=ON)


def test_a_gtin_swallowed_by_a_serial_number_is_suspected():
    code = parse_code(f"21S101{GTIN}", on=ON)
    assert code.suspect
    assert code.other_reading is not None
    assert (code.other_reading.serial, code.other_reading.gtin) == ("S1", GTIN)


def test_a_count_in_the_thousands_that_reads_as_count_and_lot_is_suspected():
    code = parse_code(f"02{GTIN}37501012", on=ON)
    assert code.suspect
    assert code.other_reading is not None
    assert (code.other_reading.count, code.other_reading.lot) == (50, "12")


@pytest.mark.parametrize(
    "lot", ["ABC", "2024-17", "17", "LOT17990101", "A1799", "171231", "AB17271331X", "10200"]
)
def test_an_ordinary_lot_is_not_suspected(lot: str):
    code = parse_code(f"01{GTIN}10{lot}", on=ON)
    assert (code.lot, code.suspect) == (lot, False)


def test_an_expiry_before_production_is_suspected():
    code = parse_code(f"01{GTIN}1126110117251101", on=ON)
    assert code.suspect
    assert code.produced == date(2026, 11, 1)


def test_the_content_of_a_box_gives_its_gtin_and_count():
    code = parse_code(f"0012345678901234567502{GTIN}3724", on=ON)
    assert (code.gtin, code.count) == (GTIN, 24)


def test_best_before_stands_in_for_a_missing_expiry_with_a_word_about_it():
    said = parse_code(f"01{GTIN}15270630", on=ON).to_json()
    assert said["expires"] == "2027-06-30"
    assert "best before" in str(said["warnings"])


def test_the_json_of_a_scan_has_the_keys_of_the_contract():
    said = parse_code(f"01{GTIN}1126010110L-1\x1d17270630\x1d21S1\x1d3012", on=ON).to_json()
    assert said["gtin"] == GTIN
    assert said["lot"] == "L-1"
    assert said["expires"] == "2027-06-30"
    assert said["produced"] == "2026-01-01"
    assert said["serial"] == "S1"
    assert said["count"] == 12
    assert said["warnings"] == []


def test_two_symbols_of_one_label_are_put_together():
    first = parse_code(f"01{GTIN}", on=ON)
    second = parse_code("1727063010L-1", on=ON)
    [joined] = join_scans([first, second], on=ON)
    assert (joined.gtin, joined.lot, joined.expires) == (GTIN, "L-1", date(2027, 6, 30))
    assert joined.warnings == ()


def test_two_labels_stay_two():
    codes = [parse_code(f"01{GTIN}10L-{n}", on=ON) for n in (1, 2)]
    assert join_scans(codes, on=ON) == tuple(codes)


LOTS = st.text(string.ascii_uppercase + "-/._", min_size=1, max_size=20)
DATES = st.dates(date(2020, 1, 1), date(2040, 12, 31))


@given(LOTS, DATES, DATES, st.integers(1, 999))
def test_what_is_written_by_the_standard_reads_back(lot: str, made: date, gone: date, count: int):
    if gone < made:
        made, gone = gone, made
    text = f"01{GTIN}11{made:%y%m%d}17{gone:%y%m%d}10{lot}\x1d30{count}"
    code = parse_code(text, on=ON)
    assert (code.lot, code.produced, code.expires, code.count) == (lot, made, gone, count)
    assert not code.suspect


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str):
    try:
        parse_code(text, on=ON)
    except BarcodeUnreadable:
        return


def test_every_lost_separator_before_a_date_is_asked_about_or_refused():
    for lot in ("A", "L-1", "2026110", "WHITE-88", "ABCDEFGHIJKLMNOPQRST"):
        for ai in ("11", "13", "15", "16", "17"):
            for day in ("260900", "260930"):
                text = f"01{GTIN}10{lot}{ai}{day}"
                try:
                    assert parse_code(text, on=ON).suspect, text
                except BarcodeUnreadable:
                    continue

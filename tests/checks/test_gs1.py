"""GS1 check digits, dates and element strings against published values, by the scanner's path.

"GS1 General Specifications" is the standard of that name (genspecs); the syntax dictionary is the
open repository gs1/gs1-syntax-dictionary, whose linters' unit tests state the values.
"""

from datetime import date

import pytest

from stock.errors import BarcodeUnreadable
from stock.exchange.barcodes import normal_gtin, parse_code
from stock.exchange.gs1_fields import check_digit

ON = date(2026, 6, 15)


@pytest.mark.parametrize(
    ("body", "digit"),
    [
        # GS1 example-prefix GTIN-14 09521234543213, gs1-syntax-engine README.
        ("0952123454321", 3),
        # gs1-syntax-dictionary, src/lint_csum.c unit tests: these four and the SSCC below pass.
        ("1234567890123", 1),
        ("123456789012", 8),
        ("41600033610", 8),
        ("0234567", 3),
        # GS1 General Specifications 7.9.1, worked example (from memory, recomputed two ways).
        ("629104150021", 3),
    ],
)
def test_a_gtin_reads_with_its_published_check_digit_and_with_no_other(body: str, digit: int):
    assert check_digit(body) == digit
    assert parse_code(f"{body}{digit}", on=ON).gtin == f"{body}{digit}".zfill(14)
    for wrong in set(range(10)) - {digit}:
        with pytest.raises(ValueError, match=f"should be {digit}"):
            normal_gtin(f"{body}{wrong}")


def test_an_sscc_reads_with_its_published_check_digit_and_with_no_other():
    # gs1-syntax-dictionary, src/lint_csum.c unit tests: SSCC 123456789012345675 passes.
    code = parse_code("(00)123456789012345675", on=ON)
    assert code.elements == (("00", "123456789012345675"),)
    for wrong in "012346789":
        with pytest.raises(BarcodeUnreadable, match="check digit"):
            parse_code(f"(00)12345678901234567{wrong}", on=ON)


@pytest.mark.parametrize(
    ("yymmdd", "year", "expected"),
    [
        # GS1 General Specifications, AI (17) YYMMDD; constructed.
        ("140704", 2014, date(2014, 7, 4)),
        # GS1 General Specifications 3.4.7: day 00 is the last day of the month, leap years
        # included; 130200 and 160200 as quoted in a library's documentation of AI (17).
        ("130200", 2014, date(2013, 2, 28)),
        ("160200", 2014, date(2016, 2, 29)),
        # The same rule, constructed.
        ("270400", 2026, date(2027, 4, 30)),
        # GS1 General Specifications 7.12, century: difference to the current year 51 to 99 is the
        # previous century, −99 to −50 the next; here 73, 50, 51 and −49 (steps from memory).
        ("991231", 2026, date(1999, 12, 31)),
        ("760101", 2026, date(2076, 1, 1)),
        ("770101", 2026, date(1977, 1, 1)),
        ("150615", 2064, date(2015, 6, 15)),
        # The window's other end: −50 is the next century.
        ("150615", 2065, date(2115, 6, 15)),
    ],
)
def test_an_expiry_date_falls_in_the_century_and_on_the_day_of_the_standard(
    yymmdd: str, year: int, expected: date
):
    code = parse_code(f"(01)09521234543213(17){yymmdd}", on=date(year, 6, 15))
    assert code.expires == expected


@pytest.mark.parametrize(
    ("scan", "year", "elements", "expires"),
    [
        # GS1 General Specifications, element strings with the example prefix 952; constructed.
        (
            "]d201095212345432131714070410ABC123",
            2014,
            {"01": "09521234543213", "17": "140704", "10": "ABC123"},
            date(2014, 7, 4),
        ),
        # A public barcode library's test payload with FNC1 as the group separator.
        (
            "010952123454321310ABC123\x1d17251231",
            2025,
            {"01": "09521234543213", "10": "ABC123", "17": "251231"},
            date(2025, 12, 31),
        ),
        # GS1 DataMatrix Guideline, example (from memory, recomputed).
        (
            "]d201034531200000111719112510ABCD1234",
            2018,
            {"01": "03453120000011", "17": "191125", "10": "ABCD1234"},
            date(2019, 11, 25),
        ),
        # Documentation of a public barcode generator: (01)09521234543213(3103)000123.
        (
            "]C101095212345432133103000123",
            2026,
            {"01": "09521234543213", "3103": "000123"},
            None,
        ),
        # Constructed: FNC1 after both fields of free length, day 00.
        (
            "]d2010952123454321310LOT-7/A\x1d3750\x1d17270600",
            2026,
            {"01": "09521234543213", "10": "LOT-7/A", "37": "50", "17": "270600"},
            date(2027, 6, 30),
        ),
    ],
)
def test_an_element_string_reads_as_its_published_fields(
    scan: str, year: int, elements: dict[str, str], expires: date | None
):
    code = parse_code(scan, on=date(year, 6, 15))
    assert dict(code.elements) == elements
    assert code.gtin == elements["01"]
    assert code.expires == expires
    assert not code.suspect


def test_ai_310n_counts_its_last_digit_in_decimals_of_a_kilogram():
    # GS1 General Specifications, AI (310n): the fourth digit is the number of decimals.
    code = parse_code("]C101095212345432133103000123", on=ON)
    assert code.net_weight_kg is not None
    assert float(code.net_weight_kg) == 0.123


@pytest.mark.parametrize(
    "link",
    [
        # GS1 Digital Link standard, URI syntax: GTIN and its qualifiers (22, 10, 21) in the path,
        # other fields as query; values constructed with the example prefix 952.
        "https://id.gs1.org/01/09521234543213/10/ABC123/21/12345?17=271231",
        "https://example.com/some/path/01/09521234543213/10/ABC123/21/12345?17=271231&utm=x",
    ],
)
def test_a_digital_link_says_the_same_as_its_element_string(link: str):
    by_link = parse_code(link, on=ON)
    by_scan = parse_code("]d2010952123454321310ABC123\x1d2112345\x1d17271231", on=ON)
    assert dict(by_link.elements) == dict(by_scan.elements)
    assert by_link.expires == by_scan.expires == date(2027, 12, 31)

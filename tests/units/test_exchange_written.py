"""Numbers, money, amounts, lengths and dates as people write them."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stock.exchange.written import (
    NotRead,
    TwoReadings,
    Writing,
    read_amount,
    read_decimal,
    read_length_cm,
    read_money,
    read_share,
    read_whole,
    read_yes_no,
)
from stock.exchange.written_dates import order_evidence, read_date

ON = date(2026, 11, 25)
COMMA = Writing(decimal_comma=True)
POINT = Writing(decimal_comma=False)


@pytest.mark.parametrize(
    ("text", "writing", "number"),
    [
        ("12", Writing(), "12"),
        ("-3", Writing(), "-3"),
        ("0,5", Writing(), "0.5"),
        (".5", Writing(), "0.5"),
        ("0.125", Writing(), "0.125"),
        ("12,75", Writing(), "12.75"),
        ("1.234,5", Writing(), "1234.5"),
        ("1,234.5", Writing(), "1234.5"),
        ("1,234,567", Writing(), "1234567"),
        ("1.234.567", Writing(), "1234567"),
        ("1'234.5", Writing(), "1234.5"),
        ("1\u202f234,5", Writing(), "1234.5"),
        ("1,234", POINT, "1234"),
        ("1,234", COMMA, "1.234"),
        ("1.234", COMMA, "1234"),
        ("1.234", POINT, "1.234"),
        ("1.234", Writing(dot_is_decimal=True), "1.234"),
        ("0,125", Writing(), "0.125"),
        ("0.125", POINT, "0.125"),
    ],
)
def test_a_number_reads_as_its_writer_meant_it(text: str, writing: Writing, number: str):
    assert read_decimal(text, writing) == Decimal(number)


@pytest.mark.parametrize("text", ["1,234", "1.234", "-12,500"])
def test_a_number_with_two_readings_is_refused_with_both(text: str):
    with pytest.raises(TwoReadings, match=r"it is -?\d+ or -?\d+\.\d+"):
        read_decimal(text)


@pytest.mark.parametrize(
    ("text", "writing"),
    [
        ("", Writing()),
        ("abc", Writing()),
        ("1.2.3", Writing()),
        ("0.125", COMMA),
        ("1 234'567", Writing()),
        ("12.05.2026", Writing()),
        ("1,5", POINT),
        ("1.5", COMMA),
        ("1,,5", Writing()),
        ("1,23,456", Writing()),
        ("NaN", Writing()),
        ("inf", Writing()),
        ("1e5", Writing()),
        ("١٢", Writing()),
        ("0x10", Writing()),
        ("12 13", Writing()),
        ("1_000", Writing()),
        ("9" * 400, Writing()),
    ],
)
def test_what_is_not_a_number_in_the_files_writing_is_refused(text: str, writing: Writing):
    with pytest.raises(NotRead):
        read_decimal(text, writing)


@given(st.decimals(-(10**9), 10**9, places=2), st.booleans())
def test_a_number_written_with_groups_reads_back(number: Decimal, comma: bool):
    text = f"{number:,.2f}"
    if comma:
        text = text.translate(str.maketrans(",.", ".,"))
    assert read_decimal(text) == number
    assert read_decimal(text, Writing(decimal_comma=comma)) == number


@pytest.mark.parametrize(
    ("text", "unit", "held"),
    [
        ("250", "mL", 250_000),
        ("1.8 L", "mL", 1_800_000),
        ("1,8L", "mL", 1_800_000),
        ("32 fl oz", "mL", 946_353),
        ("2 dozen", "each", 24_000),
        ("1 lb", "g", 453_592),
        ("0.0005", "mL", 0),
    ],
)
def test_an_amount_reads_in_its_items_unit(text: str, unit: str, held: int):
    assert read_amount(text).in_unit(unit) == held


def test_a_mass_is_refused_where_a_volume_is_kept():
    with pytest.raises(ValueError, match="an amount in mL, not in g"):
        read_amount("250 g").in_unit("mL")


@pytest.mark.parametrize("text", ["250 furlongs", "L", "", "12 13", "1e9 L", "9" * 18])
def test_what_is_not_an_amount_is_refused(text: str):
    with pytest.raises(NotRead):
        read_amount(text)


def test_money_is_whole_cents_and_a_currency_must_be_the_files_own():
    assert read_money("1.234,50") == 123450
    assert read_money("4.5") == 450
    assert read_money("€ 4,50", Writing(currency="EUR")) == 450
    assert read_money("4.50 EUR", Writing(currency="EUR")) == 450
    assert read_money("0.345", parts_of_cents=True) == 34.5
    for text, why in (("$4.50", "column map"), ("4.5051", "two decimals"), ("four", "money")):
        with pytest.raises(NotRead, match=why):
            read_money(text)
    with pytest.raises(NotRead, match="EUR"):
        read_money("$4.50", Writing(currency="EUR"))


def test_a_share_is_written_as_a_fraction_or_in_per_cent():
    assert read_share("95 %") == read_share("0.95") == read_share("95%") == 0.95
    for text in ("95", "1.01", "-0.1", "101 %", "most"):
        with pytest.raises(NotRead):
            read_share(text)


def test_a_length_knows_cm_mm_and_inches():
    assert read_length_cm("30") == read_length_cm("300 mm") == read_length_cm("30,0 cm") == 30
    assert read_length_cm('12"') == read_length_cm("12 in") == 30.48
    with pytest.raises(NotRead):
        read_length_cm("12 ells")


def test_whole_numbers_and_answers_are_read_strictly():
    assert read_whole("12.0") == 12
    assert (read_yes_no("Yes"), read_yes_no("n")) == (True, False)
    for text in ("12.5", "a dozen"):
        with pytest.raises(NotRead):
            read_whole(text)
    with pytest.raises(NotRead):
        read_yes_no("perhaps")


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-04",
        "2026-3-4",
        "2026/03/04",
        "20260304",
        "04.03.2026",
        "4.3.2026",
        "4 Mar 2026",
        "4-Mar-2026",
        "Mar 4, 2026",
        "2026-03-04T23:59:59",
        "2026-03-04 07:30",
        "04.03.2026 07:30:00",
    ],
)
def test_a_date_with_one_reading_needs_no_help(text: str):
    assert read_date(text, on=ON) == date(2026, 3, 4)


def test_a_date_with_two_readings_is_refused_with_both_shown():
    with pytest.raises(TwoReadings) as caught:
        read_date("03/04/2026", on=ON)
    assert "2026-04-03" in str(caught.value)
    assert "2026-03-04" in str(caught.value)


def test_a_stated_order_settles_a_date():
    assert read_date("03/04/2026", order="dmy", on=ON) == date(2026, 4, 3)
    assert read_date("03/04/2026", order="mdy", on=ON) == date(2026, 3, 4)
    assert read_date("03.04.26", order="dmy", on=ON) == date(2026, 4, 3)
    assert read_date("26/03/04", order="ymd", on=ON) == date(2026, 3, 4)
    assert read_date("03/04/99", order="dmy", on=ON) == date(1999, 4, 3)


def test_equal_day_and_month_have_one_reading():
    assert read_date("04/04/2026", on=ON) == date(2026, 4, 4)


@pytest.mark.parametrize(
    "text",
    [
        "2026-02-30",
        "2026-13-01",
        "31/02/2026",
        "13/13/2026",
        "0000-01-01",
        "1905-01-01",
        "9999-12-31",
        "2026-03",
        "2026-W10-3",
        "03/04/26",
        "yesterday",
        "4 Foo 2026",
        "46085",
        "2026-03-04T23:59:59Z",
        "2026-03-04T10:00+02:00",
        "2026-03/04",
        "２０２６-03-04",
    ],
)
def test_what_is_no_day_is_refused(text: str):
    with pytest.raises(NotRead):
        read_date(text, on=ON)


def test_an_order_the_day_contradicts_is_refused():
    with pytest.raises(NotRead, match="calendar"):
        read_date("03/25/2026", order="dmy", on=ON)


@given(st.dates(date(1970, 1, 1), date(2199, 12, 31)))
def test_every_day_reads_back_from_every_unmistakable_form(day: date):
    for text in (
        day.isoformat(),
        f"{day:%Y%m%d}",
        f"{day:%d.%m.%Y}",
        f"{day:%d} {day:%b} {day.year}",
    ):
        assert read_date(text, on=ON) == day
    proof = order_evidence(f"{day:%d/%m/%Y}")
    assert proof == ("dmy" if day.day > 12 else "")

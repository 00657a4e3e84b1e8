"""Amounts and numbers as people type them: read, or refused in a sentence."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stock.units import parse_amount, parse_decimal, parse_length_cm


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("12", "12"),
        ("-0.5", "-0.5"),
        ("+.5", "0.5"),
        (",5", "0.5"),
        ("1.234", "1.234"),
        ("0,125", "0.125"),
        ("12,5", "12.5"),
        ("1,234,567.8", "1234567.8"),
        ("1.234.567,8", "1234567.8"),
        ("1.234.567", "1234567"),
        ("1'234.5", "1234.5"),
        ("12 345,6", "12345.6"),
        ("1\u202f234\u202f567", "1234567"),
    ],
)
def test_a_typed_number_reads_as_it_was_meant(text: str, number: str) -> None:
    assert parse_decimal(text) == Decimal(number)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "abc",
        "1.2.3",
        "1,2,3",
        "12.05.2026",
        "1,23,456",
        "1.234,567.8",
        "1,,5",
        "1..5",
        "12 13",
        "1 234'567",
        "1'2'3",
        "--1",
        "1e5",
        "NaN",
        "inf",
        "١٢",
        "1_000",
        "9" * 400,
    ],
)
def test_what_is_no_number_is_refused_rather_than_squeezed_into_one(text: str) -> None:
    with pytest.raises(ValueError, match="is not a number"):
        parse_decimal(text)


def test_a_number_with_two_readings_is_refused_with_both() -> None:
    with pytest.raises(ValueError, match=r"reads as 1234 or as 1\.234"):
        parse_decimal("1,234")
    assert parse_decimal("1,234", decimal_comma=False) == 1234
    assert parse_decimal("1,234", decimal_comma=True) == Decimal("1.234")
    assert parse_decimal("1.234", decimal_comma=True) == 1234


@pytest.mark.parametrize("text", ["1.2.3 L", "12 13 mL", "1,2,3"])
def test_an_amount_of_no_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a"):
        parse_amount(text, "mL")


def test_a_length_of_no_number_is_refused() -> None:
    with pytest.raises(ValueError, match="is not a number"):
        parse_length_cm("3.0.5 cm")


@given(st.decimals(-(10**9), 10**9, places=2), st.sampled_from([",.", ".,", " .", "',"]))
def test_a_grouped_number_reads_back(number: Decimal, signs: str) -> None:
    text = f"{number:,.2f}".translate(str.maketrans(",.", signs))
    assert parse_decimal(text) == number

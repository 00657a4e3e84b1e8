"""Text from outside cannot steer a terminal, start a formula or pass for another code."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stock.exchange.safe_text import (
    formula_safe,
    safe_text,
    tidy,
    trouble_in_code,
    trouble_in_text,
)


@given(st.text())
def test_safe_text_never_holds_a_character_that_steers(text: str):
    shown = safe_text(text)
    assert all(c.isprintable() or c in "\u200c\u200d" for c in shown)
    assert safe_text(shown) == shown


@given(st.text(), st.integers(1, 20))
def test_safe_text_keeps_to_its_length(text: str, longest: int):
    assert len(safe_text(text, longest=longest)) <= longest


def test_ordinary_names_stay_as_they_are():
    for name in ("Größe L", "T-shirt “classic”", "日本", "👩‍🎨"):
        assert safe_text(name) == name


@pytest.mark.parametrize(
    "text", ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", " =1", "＝1", "-cmd|' /C calc'!A0"]
)
def test_what_a_spreadsheet_would_run_is_made_text(text: str):
    assert formula_safe(text) == "'" + text


@pytest.mark.parametrize("text", ["-12.5", "+3", "12", "L-1", "a=b", "", "-5 %"[:2] + "%"])
def test_what_a_spreadsheet_reads_as_it_is_stays(text: str):
    assert formula_safe(text) == text


@pytest.mark.parametrize("text", ["a\x1b[2J", "a\u202eb", "a\x00b", "a\u200bb", "\ud800", "a\x85b"])
def test_steering_and_invisible_characters_are_named(text: str):
    assert "U+" in trouble_in_text(text)
    assert "U+" in trouble_in_code(text)


def test_codes_that_pass_for_others_are_refused():
    assert "two alphabets" in trouble_in_code("А-100 INK")  # Cyrillic A
    assert "look like 'ABC'" in trouble_in_code("ＡＢＣ")
    assert trouble_in_code("Größe-L") == ""
    assert trouble_in_code("ЧЕРНАЯ-1") == ""


def test_tidy_composes_accents_and_takes_spaces_out():
    assert tidy("  a\u00a0 b ") == "a b"
    assert tidy("u\u0308") == "ü"
    assert tidy("a  b") == "a b"

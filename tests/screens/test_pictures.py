"""The guide's pictures are compared by what is seen, and last digits may differ by machine."""

from __future__ import annotations

import re

import pytest

from tests.screens.test_looks import PICTURES, ROOT

REORDER = (ROOT / "stock" / "guide" / "reorder.svg").read_text("utf-8")


def test_a_picture_is_the_same_as_itself():
    assert PICTURES.made_with(REORDER)
    assert len(PICTURES.words(REORDER)) > 200
    assert PICTURES.differences(REORDER, REORDER) == []


def test_another_word_is_seen():
    assert PICTURES.differences(REORDER, REORDER.replace("suppliers", "sellers"))
    assert PICTURES.missing(REORDER, ["order by", "runs out", "Accept"]) == []
    assert PICTURES.missing(REORDER, ["order before"]) == ["'order before' is not in it"]


def test_last_digits_and_charts_may_differ_but_not_every_number():
    assert "11,688" in REORDER
    assert PICTURES.differences(REORDER, REORDER.replace("11,688", "11,689")) == []
    another = re.sub(r"(?<=\d)\d\b(?=[^<>]*</text>)", "77", REORDER)
    assert PICTURES.differences(REORDER, another)


def test_another_colour_is_seen_but_no_rounding_of_one():
    assert "#e6e3da" in REORDER
    assert PICTURES.differences(REORDER, REORDER.replace("#e6e3da", "#e5e3da")) == []
    assert PICTURES.differences(REORDER, REORDER.replace("#e6e3da", "#ff0000"))


@pytest.mark.parametrize(
    ("one", "other", "near"),
    [
        ("1,204", "1,203", True),
        ("3.14", "3.15", True),
        ("12", "15", False),
        ("0", "1", True),
        ("2026-03-09", "2026-03-16", True),
        ("2026-03-09", "2026-04-09", False),
    ],
)
def test_numbers_and_dates_are_near_in_their_last_digit(one, other, near):
    assert PICTURES.near(one, other) is near

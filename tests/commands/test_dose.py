"""``stock dose``: a blank weighed before and after pretreat, and what follows from it.

Masses and rectangles give the doses a trade magazine published in October 2020 (p. 71): 40, 25 and
12 g on 14 × 14 in, that is 31.6, 19.8 and 9.5 mg/cm².
"""

from __future__ import annotations

import pytest

SPRAYED = ("--width-cm", "14in", "--height-cm", "14in")


def weigh(run, blank, gain, *words):
    return run("dose", blank, "--dry", "150", "--wet", str(150 + gain), *SPRAYED, *words)


def dose_of(run, blank, *words):
    return next(row for row in run("dose", *words, "--json").json() if blank in row["blanks"])


def pretreat_of_a_quote(run, folder):
    words = ("--width-cm", "30", "--garment", "dark", "--blank", "TEE-BLK-L", "--on", "2026-03-10")
    return run("cost", str(folder / "bear.png"), *words, "--json").json()["per_piece"]["pretreat"]


def test_weighings_pull_the_dose_of_a_style_and_colour_to_what_it_takes(stocked):
    before = dose_of(stocked, "TEE-BLK-L")
    assert (before["mg_per_cm2"], before["calibrated"]) == (14.5, False)
    for day, gain in enumerate((25.0, 25.6, 24.6), start=3):
        ran = weigh(stocked, "TEE-BLK-L", gain, "--on", f"2026-03-0{day}")
        assert ran.code == 0, ran.err
    assert "19.5 mg/cm²" in ran.err
    assert "safety data sheet" in ran.err
    after = dose_of(stocked, "TEE-BLK-L")
    assert after["mg_per_cm2"] == pytest.approx(19.8, rel=0.05)
    assert after["mg_per_cm2_sd"] < before["mg_per_cm2_sd"] / 2
    assert (after["weighings"], after["calibrated"]) == (3, True)
    assert dose_of(stocked, "TEE-WHT-L")["weighings"] == 0


def test_needs_and_prices_follow_the_dose_and_the_past_keeps_its_own(stocked, tmp_path):
    before = pretreat_of_a_quote(stocked, tmp_path)
    for _ in range(3):
        weigh(stocked, "TEE-BLK-L", 40.0, "--on", "2026-03-04")
    after = pretreat_of_a_quote(stocked, tmp_path)
    now = dose_of(stocked, "TEE-BLK-L")
    assert after["amount"] / before["amount"] == pytest.approx(now["mg_per_cm2"] / 14.5, rel=1e-4)
    assert after["amount_sd"] < before["amount_sd"]
    assert dose_of(stocked, "TEE-BLK-L", "--on", "2026-03-03")["mg_per_cm2"] == 14.5


def test_every_size_of_a_style_and_colour_learns_from_one_weighing(stocked, tmp_path):
    (tmp_path / "more.csv").write_text(
        "sku,kind,style,colour,size,shade\nTEE-BLK-S,blank,TEE,BLK,S,dark\n"
    )
    assert stocked("import", "items", str(tmp_path / "more.csv")).code == 0
    weigh(stocked, "TEE-BLK-L", 25.0)
    assert set(dose_of(stocked, "TEE-BLK-S")["blanks"]) == {"TEE-BLK-L", "TEE-BLK-S"}
    assert dose_of(stocked, "TEE-BLK-S")["weighings"] == 1


def test_an_undone_weighing_says_nothing(stocked):
    entry = weigh(stocked, "TEE-BLK-L", 40.0, "--json").json()["entry"]
    assert stocked("undo", str(entry)).code == 0
    assert dose_of(stocked, "TEE-BLK-L")["mg_per_cm2"] == 14.5


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("TEE-BLK-L", "--dry", "150", "--wet", "149", *SPRAYED), 1, "it must gain"),
        (("TEE-BLK-L", "--dry", "150", "--wet", "900", *SPRAYED), 1, "more than any blank takes"),
        (("INK-W", "--dry", "150", "--wet", "170", *SPRAYED), 1, "INK-W is ink"),
        (("TEE-BLK-L", "--dry", "150"), 2, "also needs --wet"),
        (("--dry", "150"), 2, "needs the BLANK"),
        (("TEE-BLK-L", "--dry", "1.2.3", "--wet", "170", *SPRAYED), 2, "is not a number"),
        (("NOTHING", "--dry", "150", "--wet", "170", *SPRAYED), 1, "NOTHING"),
    ],
)
def test_a_weighing_that_cannot_be_is_one_sentence(stocked, words, code, told):
    ran = stocked("dose", *words)
    assert (ran.code, ran.out) == (code, "")
    assert told in ran.err
    assert ran.err.count("\n") == 1

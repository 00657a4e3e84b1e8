"""Amounts, lengths, numbers and dates are taken as people write them, where one reading is left.

Factors: NIST SP 811 (2008), Appendix B.8: US fluid ounce 29.573 53 mL, US gallon 3.785 412 L,
avoirdupois ounce 28.349 52 g, pound 453.592 4 g; the inch is 2.54 cm exactly.
"""

from __future__ import annotations

import pytest

ON = ("--on", "2026-03-02")


def amount_received(run, sku: str, amount: str) -> float:
    ran = run("receive", "--item", sku, "--amount", amount, "--lot", "X", *ON, "--json")
    assert ran.code == 0, ran.err
    return ran.json()["lots"][0]["amount"]


@pytest.mark.parametrize(
    ("sku", "amount", "held"),
    [
        ("INK-C", "32 fl oz", 946.353),
        ("INK-C", "32 fl. oz.", 946.353),
        ("INK-C", "0.25 gal", 946.353),
        ("INK-C", "2 pints", 946.353),
        ("INK-C", "0,5 l", 500),
        ("INK-C", "1.234,5 mL", 1234.5),
        ("INK-C", "1,234.5 mL", 1234.5),
        ("INK-C", "1 234,5", 1234.5),
        ("INK-C", "1'234.5 ml", 1234.5),
        ("INK-C", "250000 µL", 250),
        ("PT", "1,5 kg", 1500),
        ("PT", "2 lb", 907.185),
        ("PT", "2 lbs", 907.185),
        ("PT", "4 oz", 113.398),
        ("TEE-BLK-L", "2 dozen", 24),
    ],
)
def test_an_amount_is_read_in_its_own_unit(stocked, sku, amount, held):
    assert amount_received(stocked, sku, amount) == held


@pytest.mark.parametrize(
    ("sku", "amount", "said"),
    [
        ("INK-C", "1,234", "reads as 1234 or as 1.234"),
        ("INK-C", "500 g", "is in g, the item is kept in mL"),
        ("PT", "1 gal", "is in mL, the item is kept in g"),
        ("INK-C", "3 hogsheads", "is not a unit this program knows"),
        ("INK-C", "some", "is not an amount"),
        ("INK-C", "-5 mL", "expected more than nothing"),
    ],
)
def test_an_amount_with_two_readings_or_the_wrong_kind_is_refused(stocked, sku, amount, said):
    ran = stocked("receive", "--item", sku, "--amount", amount, "--lot", "X", *ON)
    assert ran.code == 1
    assert said in ran.err


@pytest.mark.parametrize(
    "width", ["30.48", "30,48", "30.48 cm", "12 in", "12in", '12"', "12 inches", "304,8 mm"]
)
@pytest.mark.parametrize("option", ["--width-cm", "--height-cm"])
def test_a_length_is_read_in_its_own_unit(stocked, tmp_path, width, option):
    told = stocked("measure", str(tmp_path / "bear.png"), option, width, "--json").json()
    assert (told["width_cm"], told["height_cm"]) == (30.48, 30.48)


@pytest.mark.parametrize(
    "expires", ["2027-05-01", "01.05.2027", "1.5.2027", "1 May 2027", "May 1, 2027", "20270501"]
)
def test_a_date_is_read_as_it_is_written(stocked, expires):
    ran = stocked(
        *("receive", "--item", "INK-K", "--packs", "1", "--lot", "D"), "--expires", expires, *ON
    )
    assert ran.code == 0, ran.err
    [lot] = [row for row in stocked("onhand", "--json").json() if row["lot"] == "D"]
    assert lot["sealed_expiry"] == "2027-05-01"


@pytest.mark.parametrize("until", ["31.03.2026", "3/31/2026", "31/03/2026", "2026/03/31"])
def test_days_of_a_report_are_read_as_they_are_written(stocked, until):
    told = stocked("usage", "--from", "01.03.2026", "--to", until, "--json").json()
    assert (told["from"], told["to"]) == ("2026-03-01", "2026-03-31")


@pytest.mark.parametrize(
    "words",
    [
        ("receive", "--item", "INK-K", "--packs", "1", "--expires", "03/04/2027"),
        ("usage", "--from", "03/04/2026"),
        ("onhand", "--on", "03/04/2026"),
    ],
)
def test_a_date_with_two_readings_is_refused_and_both_are_shown(stocked, words):
    ran = stocked(*words)
    assert ran.code == 2
    assert "day first" in ran.err
    assert "month first" in ran.err


@pytest.mark.parametrize("grams", ["660", "660,0", "0.66 kg", "0,66kg", "23.281 oz"])
def test_a_mass_on_the_scale_is_read_in_its_own_unit(stocked, grams):
    ran = stocked("weigh", "P1-W", "--net", "--grams", grams, "--on", "2026-03-03")
    assert ran.code == 0, ran.err
    [held] = [row for row in stocked("onhand", "--json").json() if row["place"] == "P1-W"]
    assert held["amount"] == pytest.approx(600, abs=0.02)


@pytest.mark.parametrize("number", ["12.5", "12,5"])
def test_a_number_is_read_with_point_or_comma(stocked, number):
    told = stocked("cost", "A1", "--prints-per-day", number, *ON, "--json").json()
    share = told["lines"][0]["per_piece"]["upkeep_cost"]
    assert share is not None


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("weigh", "P1-W", "--grams", "1,234"), "--grams: '1,234' reads as"),
        (("weigh", "P1-W", "--grams", "2 L"), "--grams: '2 L' is in mL"),
        (("cost", "A1", "--prints-per-day", "many"), "--prints-per-day: 'many' is not a number"),
        (("measure", "bear.png", "--width-cm", "1 ft"), "--width-cm: '1 ft' is not a length"),
    ],
)
def test_what_is_no_number_names_its_option(stocked, words, said):
    ran = stocked(*words)
    assert ran.code == 2
    assert said in ran.err

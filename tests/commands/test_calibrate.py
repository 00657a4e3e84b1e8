"""``stock calibrate``: the rate a machine really has, found from the scale, by commands."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from PIL import Image

FIRST = date(2026, 3, 2)
TRUE_UL_PER_CM2 = 7.0
"""Half as much again as the prior (12 pL × 2 drops at 1200 dpi: 5.357 µL/cm², calculated)."""
PIECES_A_DAY = 5
WEEKS = 4


@pytest.fixture
def weighed(shop, tmp_path):
    """A press whose white is weighed every week; the scale tells the truth, the prior does not."""
    white = np.full((100, 100, 4), (255, 255, 255, 255), np.uint8)
    Image.fromarray(white, "RGBA").save(tmp_path / "white.png")
    (tmp_path / "artworks.csv").write_text("artwork,file\nWHITE,white.png\n")
    (tmp_path / "orders.csv").write_text(
        "order,line,placed_on,due_on,blank,quantity,artwork,width_cm,printer\n"
        f"A1,1,2026-03-02,2026-06-12,TEE-BLK-L,{PIECES_A_DAY * 7 * WEEKS},WHITE,10,P1\n"
    )
    for kind in ("artworks", "orders"):
        ran = shop("import", kind, str(tmp_path / f"{kind}.csv"), "--on", str(FIRST))
        assert ran.code == 0, ran.err
    shop("receive", "--item", "INK-W", "--packs", "1", "--lot", "W1", "--on", str(FIRST))
    shop("receive", "--item", "TEE-BLK-L", "--packs", "200", "--on", str(FIRST))
    shop("receive", "--item", "PT", "--packs", "1", "--lot", "P1", "--on", str(FIRST))
    assert shop("load", "P1-W", "--item", "INK-W", "--on", str(FIRST)).code == 0
    measured = shop(
        *("measure", str(tmp_path / "white.png"), "--width-cm", "10"),
        *("--garment", "dark", "--json"),
    ).json()
    area = measured["covered_cm2"]["W"]
    level_ml = 700.0
    for day in range(1, 7 * WEEKS + 1):
        on = str(FIRST + timedelta(days=day))
        good = str(PIECES_A_DAY)
        ran = shop("print", "--order", "A1", "--line", "1", "--good", good, "--on", on)
        assert ran.code == 0, ran.err
        level_ml -= PIECES_A_DAY * area * TRUE_UL_PER_CM2 / 1000
        if day % 7 == 0:
            grams = str(round(120 + 1.15 * level_ml, 1))
            ran = shop("weigh", "P1-W", "--grams", grams, "--on", on)
            assert ran.code == 0, ran.err
    return shop


def white(rows):
    return next(row for row in rows if row["channel"] == "W")


def test_the_scale_finds_the_true_rate(weighed):
    found = white(weighed("calibrate", "--printer", "P1", "--json").json())
    assert found["intervals"] == WEEKS
    per_print_cm2 = 100.0
    laid = found["per_cm2_ul"] + 1000 * found["per_print_ml"] / per_print_cm2
    assert laid == pytest.approx(TRUE_UL_PER_CM2, rel=0.03)
    assert found["prior_share"]["per_cm2_ul"] < 0.5
    assert found["set_aside"] == []


def test_kept_rates_hold_from_their_day_and_the_past_keeps_its_own(weighed, tmp_path):
    before = weighed("onhand", "--on", "2026-03-10", "--json").json()
    assert weighed("calibrate", "--keep", "--on", "2026-04-01").code == 0
    assert weighed("onhand", "--on", "2026-03-10", "--json").json() == before
    measure = ("measure", str(tmp_path / "white.png"), "--width-cm", "10", "--garment", "dark")
    now = weighed(*measure, "--printer", "P1", "--json").json()
    assert now["calibrated"] is True
    assert now["ml"]["W"] == pytest.approx(0.7, rel=0.03)


def test_without_measurements_the_prior_rules_and_says_so(shop):
    found = white(shop("calibrate", "--json").json())
    assert found["intervals"] == 0
    assert found["calibrated"] is False
    assert found["prior_share"]["per_cm2_ul"] == 1.0


def test_the_next_look_is_named(weighed):
    looks = weighed("calibrate", "--next", "--on", "2026-04-01", "--json").json()
    assert looks[0]["slot"] == "P1-W"
    assert looks[0]["level_sd_after_ml"] <= looks[0]["level_sd_ml"]


def test_faults_are_sentences(shop, tmp_path):
    assert "P9" in shop("calibrate", "--printer", "P9").err
    ran = shop("calibrate", "--plot", str(tmp_path / "x.svg"))
    assert ran.code == 1
    assert "nothing to draw" in ran.err
    assert shop("calibrate", "--plot", "x.txt").code == 2


@pytest.fixture
def white_work(shop, tmp_path):
    """A press with white just loaded, work for it, and the full-tone area of a piece in cm²."""
    white = np.full((100, 100, 4), (255, 255, 255, 255), np.uint8)
    Image.fromarray(white, "RGBA").save(tmp_path / "white.png")
    (tmp_path / "artworks.csv").write_text("artwork,file\nWHITE,white.png\n")
    (tmp_path / "orders.csv").write_text(
        "order,line,placed_on,due_on,blank,quantity,artwork,width_cm,printer\n"
        "A1,1,2026-03-02,2026-06-12,TEE-BLK-L,200,WHITE,30,P1\n"
    )
    for kind in ("artworks", "orders"):
        shop("import", kind, str(tmp_path / f"{kind}.csv"), "--on", str(FIRST))
    for item, packs in (("INK-W", "1"), ("TEE-BLK-L", "200"), ("PT", "1")):
        shop("receive", "--item", item, "--packs", packs, "--lot", f"{item}-1", "--on", str(FIRST))
    measure = ("measure", str(tmp_path / "white.png"), "--width-cm", "30", "--garment", "dark")
    assert shop("load", "P1-W", "--item", "INK-W", "--on", str(FIRST)).code == 0
    return shop, shop(*measure, "--json").json()["covered_cm2"]["W"]


def printed(shop, past, pieces):
    on = ("--on", str(FIRST + timedelta(days=past)))
    ran = shop("print", "--order", "A1", "--line", "1", "--good", str(pieces), *on)
    assert ran.code == 0, ran.err
    return ran


def test_an_overrun_is_printed_noted_and_explained_by_the_next_fit(white_work):
    # The prior asks 5.357 µL/cm² (12 pL × 2 drops at 1200 dpi); this machine lays two thirds.
    shop, area = white_work
    true_ml = area * 5.357 / 1000 * 2 / 3
    level, noted = 700.0, []
    for past, pieces in enumerate([15] * 6 + [20] * 5, start=1):
        ran = printed(shop, past, pieces)
        noted.append("P1-W" in ran.err and "INK-W" in ran.err)
        level -= pieces * true_ml
        if past <= 6:
            grams = str(round(120 + 1.15 * level, 1))
            on = str(FIRST + timedelta(days=past))
            assert shop("weigh", "P1-W", "--grams", grams, "--on", on).code == 0
    assert noted == [False] * 10 + [True]
    assert level > 0, "the machine itself never ran dry"
    told = [line for line in shop("calibrate").out.splitlines() if line.startswith("overrun")]
    assert told, shop("calibrate").out
    assert all("which explains it" in line for line in told)


def test_the_week_names_the_look_that_could_change_the_list(white_work):
    shop, _ = white_work
    for past in range(1, 7):
        printed(shop, past, 15)
    on = ("--on", str(FIRST + timedelta(days=7)))
    looks = shop("calibrate", "--next", *on, "--json").json()
    assert looks[0]["slot"] == "P1-W"
    assert looks[0]["chance"] > 0.05
    assert shop("week", *on, "--json").json()["weigh_next"] == looks[0]["say"]
    assert looks[0]["say"] in " ".join(shop("week", *on).out.split())

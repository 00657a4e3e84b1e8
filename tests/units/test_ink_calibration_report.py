"""A calibration told as text, JSON and picture."""

from __future__ import annotations

import json
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from stock.errors import Refused
from stock.ink.calibrate import calibrate, fit_channel
from stock.ink.calibration_plot import plot_png, plot_svg
from stock.ink.calibration_report import json_rows, report_text
from tests.units.test_ink_calibrate import PRIOR, week


def fits() -> list:
    priors = {("P1", channel): {"standard": PRIOR} for channel in "CMYKW"}
    wrong = week(9)
    weeks = [*(week(i, noise=0.02 * (-1) ** i) for i in range(9)),
             replace(wrong, used_ml=wrong.used_ml * 9)]  # fmt: skip
    return calibrate(weeks, priors)


def test_json_rows_have_the_promised_keys() -> None:
    rows = json.loads(json.dumps(json_rows(fits())))
    assert len(rows) == 5
    promised = {
        "printer", "channel", "mode", "per_cm2_ul", "per_print_ml", "per_day_ml", "se",
        "intervals", "set_aside",
    }  # fmt: skip
    black = next(row for row in rows if row["channel"] == "K")
    assert promised <= set(black)
    assert black["intervals"] == 9
    assert len(black["set_aside"]) == 1
    assert set(black["se"]) >= {"per_cm2_ul", "per_print_ml", "per_day_ml"}
    assert 0 < black["prior_share"]["per_cm2_ul"] < 1
    cyan = next(row for row in rows if row["channel"] == "C")
    assert cyan["prior_share"]["per_cm2_ul"] == 1
    assert not cyan["calibrated"]


def test_the_report_says_what_is_not_yet_calibrated() -> None:
    text = report_text(fits())
    assert text.count("not yet calibrated") == 4
    assert "P1 K: 9 intervals" in text
    assert "set aside: P1 K" in text
    assert "% prior" in text
    assert text.count("●") == 9


def test_of_many_intervals_the_report_shows_the_farthest_off() -> None:
    priors = {("P1", "K"): {"standard": PRIOR}}
    many = [week(i, noise=0.02 * (-1) ** i) for i in range(39)] + [week(39, noise=0.07)]
    (fit,) = calibrate(many, priors)
    text = report_text([fit])
    assert text.count("●") == 12
    assert "of 40 intervals lie within" in text
    worst = max(fit.residuals, key=lambda one: abs(one.in_sd))
    assert str(worst.interval.end) in text
    assert len(json_rows([fit])[0]["residuals"]) == 40


def test_the_picture_shows_every_interval_and_names_it() -> None:
    svg = plot_svg(fits())
    root = ElementTree.fromstring(svg)
    space = "{http://www.w3.org/2000/svg}"
    assert len(root.findall(f".//{space}circle")) == 9
    titles = [node.text for node in root.iter(f"{space}title")]
    assert len(titles) == 10
    assert any("standard deviations" in title for title in titles)


def test_names_cannot_break_the_picture() -> None:
    odd = [week(i, printer='<P&"1">') for i in range(3)]
    ElementTree.fromstring(plot_svg([fit_channel(odd, {"standard": PRIOR})]))


def test_the_picture_comes_as_png_too() -> None:
    import pyvips

    image = pyvips.Image.new_from_buffer(plot_png(fits()), "")
    assert image.width > 300
    assert image.avg() < 255


def test_nothing_to_plot_is_said() -> None:
    with pytest.raises(Refused, match="nothing to plot"):
        plot_svg([fit_channel([], {"standard": PRIOR})])

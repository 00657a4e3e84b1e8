"""A table of series forecast without a book: what is understood, refused, and how."""

import json
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest

from stock.demand.engines import forecast_on
from stock.demand.forecast import learn
from stock.demand.history_file import forecast_file, read_series
from stock.errors import InputFaults, Refused, WrongUsage


@pytest.fixture
def table(tmp_path):
    def write(text, encoding="utf-8"):
        path = tmp_path / "use.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return write


def weekly(series, start="2025-01-06"):
    rows = ["unique_id,ds,y"]
    for name, values in series.items():
        days = pd.date_range(start, periods=len(values), freq="7D")
        rows += [f"{name},{day:%Y-%m-%d},{value}" for day, value in zip(days, values, strict=True)]
    return "\n".join(rows) + "\n"


def use(count, weeks=40, mean=4.0, seed=0):
    draws = np.random.default_rng(seed)
    return {f"s{place:03d}": draws.poisson(mean, weeks).tolist() for place in range(count)}


def test_each_series_comes_back_with_class_model_weeks_and_total(table):
    found = forecast_file(table(weekly(use(3))), 4, (0.5, 0.9))
    assert [row["item"] for row in found] == ["s000", "s001", "s002"]
    one = found[0]
    assert set(one) == {"item", "class", "model", "weekly", "total"}
    assert len(one["weekly"]) == 4
    assert one["total"]["mean"] == pytest.approx(sum(one["weekly"]))
    assert list(one["total"]["quantiles"]) == ["0.5", "0.9"]
    assert one["total"]["quantiles"]["0.5"] <= one["total"]["quantiles"]["0.9"]
    json.dumps(found)


def test_rows_in_any_order_give_the_same_forecast(table):
    head, *rows = weekly(use(4)).splitlines()
    there = forecast_file(table("\n".join([head, *rows])), 3)
    back = forecast_file(table("\n".join([head, *reversed(rows)])), 3)
    assert there == back


def test_a_data_frame_is_read_as_the_file_is(table):
    path = table(weekly(use(4)))
    frame = pd.read_csv(path, parse_dates=["ds"])
    assert forecast_file(frame, 3) == forecast_file(path, 3)


def test_days_are_summed_into_iso_weeks_and_part_weeks_left_out(table):
    days = pd.date_range("2025-01-01", "2025-02-12")  # Wednesday to Wednesday
    text = "unique_id,ds,y\n" + "\n".join(f"a,{day:%Y-%m-%d},1" for day in days)
    read = read_series(table(text))
    assert read.history.mondays[0] == np.datetime64("2025-01-06")
    assert read.history.mondays[-1] == np.datetime64("2025-02-03")
    assert (read.history.values == 7).all()
    assert len(read.notes) == 2


def test_weekly_dates_on_a_sunday_keep_every_week(table):
    read = read_series(table(weekly({"a": [1, 2, 3, 4]}, start="2025-01-05")))
    assert read.history.values.tolist() == [[1, 2, 3, 4]]
    assert read.notes == ()


def test_hours_are_summed_too(table):
    text = "unique_id,ds,y\na,2025-01-06T08:00,1\na,2025-01-06T17:30:00+02:00,2\na,2025-01-14,4\n"
    assert read_series(table(text)).history.values.tolist() == [[3, 4]]


def test_a_missing_week_is_a_week_without_use_once_the_series_began(table):
    text = "unique_id,ds,y\na,2025-01-06,5\na,2025-01-27,5\nb,2025-01-20,1\nb,2025-01-27,1\n"
    values = read_series(table(text)).history.values
    assert values[0].tolist() == [5, 0, 0, 5]
    assert np.isnan(values[1, :2]).all()


@pytest.mark.parametrize("separator", [";", "\t"])
def test_semicolons_and_tabs_and_a_byte_order_mark_are_understood(table, separator):
    text = weekly(use(2)).replace(",", separator)
    assert len(forecast_file(table(text, "utf-8-sig"), 2)) == 2


def test_other_columns_are_left_alone(table):
    text = "colour,unique_id,ds,y,note\nred,a,2025-01-06,1,x\nred,a,2025-01-13,2,y\n"
    assert read_series(table(text)).history.values.tolist() == [[1, 2]]


@pytest.mark.parametrize(
    ("line", "column", "expected"),
    [
        ("a,2025-01-20,-3", "y", "0 or more"),
        ("a,2025-01-20,", "y", "an amount"),
        ("a,2025-01-20,nan", "y", "an amount"),
        ("a,2025-01-20,inf", "y", "at most"),
        ("a,2025-01-20,1e300", "y", "at most"),
        ("a,20.1.2025,3", "ds", "2026-03-31"),
        ("a,2025-02-30,3", "ds", "2026-03-31"),
        ("a,,3", "ds", "2026-03-31"),
        ("a,1925-01-20,3", "ds", "within 20 years"),
        (",2025-01-20,3", "unique_id", "name"),
        ("a,2025-01-13,3", "ds", "one row for each"),
        ('a,2025-01-20,"1,5"', "y", "an amount"),
        ("a,2025-01-20,1,5", "beyond the last column", "not written 1,5"),
    ],
)
def test_a_fault_is_told_with_its_line(table, line, column, expected):
    text = f"unique_id,ds,y\na,2025-01-06,1\na,2025-01-13,2\n{line}\n"
    with pytest.raises(InputFaults) as raised:
        forecast_file(table(text), 2)
    assert {(fault.line, fault.column) for fault in raised.value.faults} == {(4, column)}
    assert expected in str(raised.value)


def test_all_faults_are_told_together_and_blank_lines_keep_the_count(table):
    text = "unique_id,ds,y\na,2025-01-06,1\n\na,x,2\na,2025-01-13,-1\n"
    with pytest.raises(InputFaults) as raised:
        forecast_file(table(text), 2)
    assert [fault.line for fault in raised.value.faults] == [4, 5]


@pytest.mark.parametrize(
    "days",
    [
        ["2025-01-01", "2025-02-01", "2025-03-01"],
        ["2025-01-31", "2025-02-28", "2025-03-31"],
        ["2020-01-01", "2021-01-01", "2022-01-01"],
    ],
)
def test_a_monthly_or_yearly_table_is_refused_in_a_sentence(table, days):
    text = "unique_id,ds,y\n" + "\n".join(f"a,{day},5" for day in days)
    with pytest.raises(Refused, match="a month or more apart"):
        forecast_file(table(text), 2)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("unique_id,ds,y\n", "no rows"),
        ("unique_id,ds,y\n\n\n", "no rows"),
        ("a,b\n1,2\n", "'unique_id'"),
        ("unique_id,ds,y,y\na,2025-01-06,1,9\n", "one such column"),
        ("unique_id,ds,y\na,2025-01-06,1,9,9\n", "line 2"),
        ('unique_id,ds,y\n"a,2025-01-06,1\n', "could not be read as CSV"),
    ],
)
def test_what_is_no_table_of_series_is_refused(table, text, says):
    with pytest.raises(Refused, match=says):
        forecast_file(table(text), 2)


def test_bytes_that_are_no_text_are_refused(tmp_path):
    path = tmp_path / "x.csv"
    path.write_bytes(b"\xff\xfe\x00\x01unique")
    with pytest.raises(Refused, match="could not be read"):
        forecast_file(path, 2)
    with pytest.raises(Refused, match="no such file"):
        forecast_file(tmp_path / "none.csv", 2)
    with pytest.raises(Refused, match="could not be read"):
        forecast_file(tmp_path, 2)


@pytest.mark.parametrize(("weeks", "levels"), [(0, (0.9,)), (53, (0.9,)), (4, (1.0,)), (4, (0,))])
def test_weeks_and_levels_out_of_range_are_wrong_usage(table, weeks, levels):
    with pytest.raises(WrongUsage):
        forecast_file(table(weekly(use(1))), weeks, levels)


def test_degenerate_series_each_get_a_sane_answer(table):
    text = weekly(
        {
            "constant": [6] * 30,
            "huge": [1e9] * 30,
            "spike": [0] * 12 + [50] + [0] * 17,
            "tiny": [1e-9] * 30,
            "zero": [0] * 30,
        }
    )
    text += "point,2025-07-28,3\n"
    found = {row["item"]: row for row in forecast_file(table(text), 3, (0.5, 0.95))}
    assert found["constant"]["total"]["mean"] == pytest.approx(18, abs=0.5)
    assert found["huge"]["total"]["mean"] == pytest.approx(3e9, rel=0.01)
    assert found["huge"]["total"]["quantiles"]["0.95"] == pytest.approx(3e9, rel=0.1)
    assert 0 < found["spike"]["total"]["mean"] < 25
    assert found["tiny"]["total"]["mean"] == pytest.approx(3e-9, rel=0.05)
    assert found["zero"]["class"] == "none"
    assert found["zero"]["model"] == "no use in 30 weeks"
    assert "1 week" in found["point"]["model"]
    assert found["point"]["total"]["quantiles"]["0.95"] > found["point"]["total"]["mean"] > 0


def test_handing_the_series_to_an_engine_changes_nothing(table):
    read = read_series(table(weekly(use(7, mean=0.6))))
    learnt = learn(read.history, 4)
    here = forecast_file(table(weekly(use(7, mean=0.6))), 4, (0.5, 0.9))
    assert forecast_on("native", read.history, 4, [0.5, 0.9], learnt) == here


def test_an_engine_nobody_knows_is_wrong_usage(table):
    with pytest.raises(WrongUsage, match="dask, ray, spark"):
        forecast_file(table(weekly(use(1))), 2, engine="abacus")


def test_an_engine_that_is_not_installed_is_told_with_its_extra(table):
    with pytest.raises(Refused, match=r"stock\[spark\]"):
        forecast_file(table(weekly(use(1))), 2, engine="spark")


def test_reading_the_module_pulls_in_no_heavy_library():
    code = (
        "import sys, stock.demand.history_file, stock.demand.paths; "
        "print([m for m in ('pandas', 'statsforecast', 'scipy', 'fugue') if m in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"

"""``stock settings``: effective values with their origin; faults with line and allowed values."""

from __future__ import annotations

from pathlib import Path

import pytest

from stock.errors import InputFaults
from stock.shop.settings import SETTINGS, load_settings, settings_template


@pytest.fixture
def written(tmp_path: Path):
    """Write a settings file and read it."""

    def write(text: str):
        path = tmp_path / "settings.toml"
        path.write_text(text, encoding="utf-8")
        return load_settings(path)

    return write


def value_of(document: dict, name: str) -> tuple[object, str]:
    one = next(one for one in document["settings"] if one["name"] == name)
    return one["value"], one["from"]


def test_each_value_says_where_it_came_from(run, tmp_path, monkeypatch):
    (tmp_path / "settings.toml").write_text('currency = "chf"\n[service]\nink = 0.98\n')
    monkeypatch.setenv("STOCK_SERVICE_BLANK", "0.9")
    found = run("settings", "--json").json()
    path = tmp_path / "settings.toml"
    assert value_of(found, "currency") == ("CHF", f"{path}:1")
    assert value_of(found, "service.ink") == (0.98, f"{path}:3")
    assert value_of(found, "service.blank") == (0.9, "STOCK_SERVICE_BLANK")
    assert value_of(found, "service.pretreat") == (0.95, "default")


def test_a_file_full_of_faults_lists_them_all_with_lines(written):
    with pytest.raises(InputFaults) as raised:
        written(
            'units = "imperial"\n'
            "[week]\n"
            'day = "someday"\n'
            "review_days = 0\n"
            "[service]\n"
            "ink = 97\n"
            "[calendar]\n"
            'closed = ["2026-12-24..2026-12-20"]\n'
            "[serviec]\n"
            "ink = 0.9\n"
        )
    faults = {fault.column: fault for fault in raised.value.faults}
    assert {name: fault.line for name, fault in faults.items()} == {
        "units": 1,
        "week.day": 3,
        "week.review_days": 4,
        "service.ink": 6,
        "calendar.closed": 8,
        "serviec.ink": 10,
    }
    assert faults["units"].expected == "one of metric, us"
    assert faults["service.ink"].expected == "a number between 0 and 1"
    assert faults["week.review_days"].expected == "a whole number from 1 to 28"
    assert "service.ink" in faults["serviec.ink"].expected


def test_a_broken_file_is_one_sentence_and_exit_code_1(run, tmp_path):
    (tmp_path / "settings.toml").write_text("who = \n")
    ran = run("settings")
    assert ran.code == 1
    assert "line 1" in ran.err
    assert "not TOML" in ran.err
    assert "Traceback" not in ran.err


def test_a_wrong_environment_variable_is_named(run, monkeypatch):
    monkeypatch.setenv("STOCK_PLAN_PATHS", "many")
    ran = run("settings")
    assert ran.code == 1
    assert "STOCK_PLAN_PATHS: found 'many', expected a whole number from 100 to 20000" in ran.err


def test_the_template_is_a_file_without_faults_and_without_effect(written):
    known = written(settings_template())
    assert {one.origin for one in known.effective.values()} == {"default"}
    uncommented = settings_template().replace("\n# ", "\n")
    again = written(uncommented.replace("# Settings of the shop", "# #"))
    assert {name: one.value for name, one in again.effective.items()} == {
        setting.name: setting.default for setting in SETTINGS
    }


def test_closed_days_may_be_single_days_or_spans(written):
    known = written('[calendar]\nclosed = [2026-12-24, "2026-12-29..2026-12-31"]\n')
    assert [day.isoformat() for day in known["calendar.closed"]] == [
        *("2026-12-24", "2026-12-29", "2026-12-30", "2026-12-31"),
    ]


def test_a_path_in_the_file_is_read_from_the_files_folder(written, tmp_path):
    assert written('book = "books/shop.sqlite"\n').book == str(tmp_path / "books/shop.sqlite")
    assert written('book = "postgresql://db/shop"\n').book == "postgresql://db/shop"


def test_the_settings_reach_the_plan(tmp_path, monkeypatch):
    from datetime import date

    from stock.shop.planning import plan_settings, targets

    path = tmp_path / "settings.toml"
    path.write_text(
        'currency = "USD"\n[week]\nreview_days = 14\n[calendar]\nweekdays = ["mon", "thu"]\n'
        'country = "DE"\n[plan]\npaths = 500\n[season]\ndec = 2.0\n[waste_risk]\nink = 0.02\n'
    )
    monkeypatch.setenv("STOCK_SETTINGS", str(path))
    found = plan_settings(day=date(2026, 3, 2))
    assert (found.currency, found.review_days, found.paths) == ("USD", 14, 500)
    assert found.weekdays == {0, 3}
    # 3 October, German unity day: a national holiday by the unification treaty, article 2 (2).
    assert date(2026, 10, 3) in found.closed
    assert dict(found.peak_factor)[12] == 2.0
    assert dict(found.peak_factor)[6] == 1.0
    assert targets(load_settings()).waste_risk["ink"] == 0.02


def test_a_country_without_known_holidays_is_a_fault_of_its_line(tmp_path, monkeypatch):
    from datetime import date

    from stock.shop.planning import plan_settings

    path = tmp_path / "settings.toml"
    path.write_text('[calendar]\ncountry = "ZZ"\n')
    monkeypatch.setenv("STOCK_SETTINGS", str(path))
    with pytest.raises(InputFaults, match=r"line 2, calendar\.country"):
        plan_settings(day=date(2026, 3, 2))


def test_settings_files_that_are_no_text_or_too_large_are_refused(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_bytes(b"\xff\xfe\x00who")
    with pytest.raises(InputFaults, match="not UTF-8"):
        load_settings(path)
    path.write_bytes(b"#" * 1_000_001)
    with pytest.raises(InputFaults, match="more than 1 MB"):
        load_settings(path)
    folder = tmp_path / "folder"
    folder.mkdir()
    with pytest.raises(InputFaults, match="cannot be read"):
        load_settings(folder)


def test_what_the_scanner_types_for_fnc1_is_a_setting(run, tmp_path):
    # A lot that has no fixed length before another field: the separator must be seen.
    code = "010952123454321310W7731~17270501"
    (tmp_path / "settings.toml").write_text('[scanner]\nseparator = "~"\n')
    found = run("scan", code, "--on", "2026-03-02", "--json").json()
    assert (found["lot"], found["expires"]) == ("W7731", "2027-05-01")


def test_a_shop_on_us_units_sees_ounces_and_json_stays_in_base_units(run, tmp_path):
    (tmp_path / "settings.toml").write_text('units = "us"\n')
    (tmp_path / "items.csv").write_text("sku,kind,channel\nINK-K,ink,K\n")
    assert run("import", "items", str(tmp_path / "items.csv")).code == 0
    booked = run("receive", "--item", "INK-K", "--amount", "32 fl oz", "--lot", "L")
    assert booked.code == 0, booked.err
    assert "32 fl oz" in run("onhand").out
    # NIST SP 811 (2008) App. B.8: a US fluid ounce is 29.5735 mL
    assert run("onhand", "--json").json()[0]["amount"] == pytest.approx(946.353, abs=0.01)

"""The notebook's frames: the guide's page runs as it stands, and frames agree with the commands."""

from __future__ import annotations

import doctest
import subprocess
import sys
from pathlib import Path

import pytest

import stock
from stock.errors import BookUnusable
from stock.notebook import measure, open_book, plan

PAGE = Path(stock.__file__).parent / "guide" / "notebook.md"


def test_the_guides_page_on_notebooks_runs_and_prints_what_it_says(stocked, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    found = doctest.testfile(str(PAGE), module_relative=False, encoding="utf-8")
    assert found.attempted > 15
    assert found.failed == 0


def test_the_three_names_come_from_the_package_itself(stocked, tmp_path):
    script = (
        "import stock.plan.price\n"  # the subpackage of the same name is there already
        "from stock import measure, open_book, plan\n"
        f"book = open_book({str(tmp_path / 'book.sqlite')!r})\n"
        "print(len(plan(book, on='2026-03-02').need) > 0, len(book.on_hand()))\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert ran.stdout.split() == ["True", "8"], ran.stderr


def test_importing_the_package_loads_nothing_heavy():
    script = "import sys, stock\nprint({n.split('.')[0] for n in sys.modules})"
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    for heavy in ("pandas", "numpy", "sqlalchemy", "typer", "textual"):
        assert f"'{heavy}'" not in ran.stdout


def test_frames_hold_the_same_numbers_as_the_commands(stocked, tmp_path):
    with open_book(tmp_path / "book.sqlite") as book:
        here = book.on_hand()
        week = plan(book, "2026-03-02")
        expiring = book.expiring("2026-03-02", within_days=365)
    assert here["amount"].tolist() == [row["amount"] for row in stocked("onhand", "--json").json()]
    told = stocked("reorder", "--on", "2026-03-02", "--json").json()
    assert week.lines["packs"].tolist() == [line["packs"] for line in told["lines"]]
    lots = stocked("expiring", "--within", "365d", "--on", "2026-03-02", "--json").json()
    assert expiring["lot"].tolist() == [lot["lot"] for lot in lots]


def test_an_empty_answer_is_an_empty_frame_with_its_columns(run, tmp_path):
    assert run("start").code == 0
    with open_book(tmp_path / "book.sqlite") as book:
        assert len(book.on_hand()) == 0
        assert len(book.usage("2026-03-01", "2026-03-31")) == 0
        week = plan(book, "2026-03-02")
        assert "packs" in week.lines
        assert "days" in week.expiring
        with pytest.raises(KeyError):
            week.why("INK-W")


def test_a_book_that_is_not_there_is_said(tmp_path):
    with pytest.raises(BookUnusable, match="There is no book"):
        open_book(tmp_path / "nowhere.sqlite")


def test_measuring_without_a_book_is_by_prior_rates(stocked, tmp_path):
    frame = measure(tmp_path / "bear.png", width_cm=30, garment="dark")
    assert not frame["calibrated"].any()
    assert frame.set_index("part").loc["pretreat", "amount"] > 0

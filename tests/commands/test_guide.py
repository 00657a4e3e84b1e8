"""The guide: its examples run, its links lead somewhere, the commands in it exist."""

from __future__ import annotations

import doctest
import re
import shlex
from pathlib import Path

import pytest

from stock.shop.manual import pages
from tests.commands.test_help import BY_WORDS, GUIDE, ROOT

PAGES = sorted(GUIDE.glob("*.md"))
READ = [*PAGES, ROOT / "README.md", ROOT / "DEVELOPERS.md"]
HAND_WRITTEN = [path for path in READ if path.name not in ("commands.md", "licences.md")]


def called(text: str) -> list[str]:
    """Command lines in fenced blocks, and commands named in running text."""
    lines = []
    for block in re.findall(r"^```\w*\n(.*?)^```", text, re.M | re.S):
        for line in block.splitlines():
            match = re.search(r"(?:^|/|\\)(stock(?:\.exe)? .*)", line.split(" > ")[0].strip())
            if match and not line.strip().startswith(("Description", "pip", "createdb")):
                line = re.sub(r"^stock\.exe", "stock", match[1])
                # A whole command within quotes ends with the quote that began before it.
                lines.append(line[:-1] if line.count('"') % 2 else line)
    return lines


def named(text: str) -> list[str]:
    return re.findall(r"`(stock [^`]+)`", text)


def command_of(line: str) -> str | None:
    words = [word for word in shlex.split(line) if not word.startswith("-")]
    for length in (3, 2):
        if " ".join(words[:length]) in BY_WORDS:
            return " ".join(words[:length])
    return None


@pytest.mark.parametrize("path", HAND_WRITTEN, ids=lambda path: path.name)
def test_every_command_on_a_page_exists_with_its_options(path):
    for line in called(path.read_text(encoding="utf-8")):
        line = re.sub(r"^stock --book \S+", "stock", line)
        if line.startswith("stock --"):
            continue
        words = command_of(line)
        assert words, f"{path.name}: {line}"
        options = {word for word in line.split() if word.startswith("--")}
        known = {n for shown, _ in BY_WORDS[words].parameters for n in shown.split()}
        assert options <= known, f"{path.name}: {line}: {options - known}"


@pytest.mark.parametrize("path", HAND_WRITTEN, ids=lambda path: path.name)
def test_every_command_named_in_the_text_exists(path):
    for line in named(path.read_text(encoding="utf-8")):
        bare = re.sub(r"^stock --book \S+", "stock", line)
        if bare.startswith("stock -") or re.match(r"stock (COMMAND|serve|demo)\b", bare):
            continue
        assert command_of(bare), f"{path.name}: {line}"


@pytest.mark.parametrize("path", READ, ids=lambda path: path.name)
def test_every_link_of_a_page_leads_to_a_file(path):
    for target in re.findall(r"\]\(([^)#]+)\)", path.read_text(encoding="utf-8")):
        if not target.startswith(("http:", "https:")):
            assert (path.parent / target).exists(), f"{path.name}: {target}"


def test_the_maths_page_runs_and_prints_what_it_says():
    found = doctest.testfile(str(GUIDE / "maths.md"), module_relative=False, encoding="utf-8")
    assert found.attempted > 10
    assert found.failed == 0


def test_files_named_on_the_pages_of_promises_and_maths_exist():
    for name in ("promises.md", "maths.md"):
        text = (GUIDE / name).read_text(encoding="utf-8")
        for path in re.findall(r"`((?:tests|stock)/[\w./]+)`", text):
            assert (ROOT / path).exists(), f"{name}: {path}"


def test_every_page_has_a_title_and_stands_in_the_list():
    assert {page.topic for page in pages()} == {path.stem for path in PAGES}
    for page in pages():
        assert page.title
        assert len(page.topic) < 12


def test_pages_hold_no_line_a_narrow_terminal_cannot_wrap():
    for path in HAND_WRITTEN:
        for line in path.read_text(encoding="utf-8").splitlines():
            longest = max((len(word) for word in line.split()), default=0)
            assert longest <= 100, f"{path.name}: {line}"


def test_the_units_page_writes_amounts_that_are_read(run, stocked):
    text = (GUIDE / "units.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| (volume|mass|count|length|date) \| (.*) \|$", text, re.M))
    skus = {"volume": "INK-C", "mass": "PT", "count": "TEE-BLK-L"}
    for what, sku in skus.items():
        for number, amount in enumerate(re.findall(r"`([^`]+)`", rows[what])):
            ran = stocked(
                *("receive", "--item", sku, "--amount", amount, "--lot", f"U{number}"),
                *("--expires", "2027-05-01", "--on", "2026-03-02"),
            )
            assert ran.code == 0, (amount, ran.err)
    for length in re.findall(r"`([^`]+)`", rows["length"]):
        assert stocked("measure", str(Path("bear.png")), "--width-cm", length).code != 2
    for day in re.findall(r"`([^`]+)`", rows["date"]):
        assert stocked("usage", "--from", "2026-01-01", "--to", day).code == 0, day

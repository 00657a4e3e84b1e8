"""Every command explains itself: a sentence, an example to paste, a place in the guide."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import tomllib
from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path

import pytest

import stock

ROOT = Path(__file__).parents[2]
GUIDE = ROOT / "stock" / "guide"


def guide_script():
    """The script that writes the guide's pages."""
    loader = SourceFileLoader("guide_script", str(ROOT / ".ci" / "guide"))
    module = module_from_spec(spec_from_loader(loader.name, loader))
    sys.modules[loader.name] = module
    loader.exec_module(module)
    return module


SCRIPT = guide_script()
COMMANDS = [one for _, found in SCRIPT.commands() for one in found]
BY_WORDS = {one.words: one for one in COMMANDS}


@pytest.mark.parametrize("words", BY_WORDS)
def test_a_command_says_in_one_sentence_what_it_does(run, words):
    one = BY_WORDS[words]
    assert one.sentence.endswith(".")
    assert one.sentence[0].isupper()
    ran = run(*words.split()[1:], "--help")
    assert ran.code == 0
    assert one.sentence.split(".")[0][:40] in " ".join(ran.out.split())


@pytest.mark.parametrize("words", BY_WORDS)
def test_a_commands_example_calls_it_with_options_it_has(words):
    one = BY_WORDS[words]
    assert one.examples, f"{words} has no example"
    called = [line for line in one.examples if line.startswith(words)]
    assert called, f"no example of {words} calls it"
    for line in called:
        options = {word.partition("=")[0] for word in shlex.split(line) if word.startswith("--")}
        known = {name for shown, _ in one.parameters for name in shown.replace(",", "").split()} | {
            "--book",
            "--help",
        }
        assert options <= known, f"{line}: {options - known}"


@pytest.mark.parametrize("words", BY_WORDS)
def test_every_option_of_a_command_is_explained(words):
    for name, told in BY_WORDS[words].parameters:
        if name.startswith("-"):
            assert told, f"{words} {name}"


def test_the_guides_page_of_commands_is_what_the_program_says():
    page = (GUIDE / "commands.md").read_text(encoding="utf-8")
    assert page == SCRIPT.commands_page(), "write it anew: .venv/bin/python .ci/guide"


def test_every_dependency_stands_with_its_licence_in_the_guide():
    page = (GUIDE / "licences.md").read_text(encoding="utf-8")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    for text in project["dependencies"]:
        name = SCRIPT.re.split(r"[\[<>=~!; ]", text)[0].lower()
        assert f"| {name} |" in page, "write it anew: .venv/bin/python .ci/guide"
    assert "not stated" not in page


def test_the_version_is_told(run):
    ran = run("--version")
    assert (ran.code, ran.out.strip()) == (0, f"stock {stock.__version__}")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert project["version"] == stock.__version__


def test_a_command_that_is_not_there_is_wrong_usage(run):
    ran = run("brew")
    assert ran.code == 2
    assert "brew" in ran.err


DOOR = "import sys; sys.argv = ['stock']; from stock.commands.app import main; main()"


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
@pytest.mark.parametrize(
    ("typed", "place", "offered"),
    [("stock reo", "1", "reorder"), ("stock reorder --sup", "2", "--supplier")],
)
def test_shells_complete_commands_and_options(shell, typed, place, offered):
    asked = {
        "_STOCK_COMPLETE": f"complete_{shell}",
        "COMP_WORDS": typed,
        "COMP_CWORD": place,
        "_TYPER_COMPLETE_ARGS": typed,
        "_TYPER_COMPLETE_FISH_ACTION": "get-args",
    }
    ran = subprocess.run(
        [sys.executable, "-c", DOOR],
        env={**os.environ, **asked},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert offered in ran.stdout, ran.stderr

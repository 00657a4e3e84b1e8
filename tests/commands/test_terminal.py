"""On a terminal tables are ruled and coloured and long work shows progress; piped all is plain."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest

DOOR = "from stock.commands.app import main; main()"
COLOUR = re.compile(r"\x1b\[(?:\d+;)*3\d")


def on_terminal(words: list[str], **env: str) -> str:
    """What a person sees: both streams of the command on one pseudo terminal."""
    leader, follower = pty.openpty()
    asked = {"TERM": "xterm-256color", "COLUMNS": "120", **env}
    inherited = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "CI")}
    with subprocess.Popen(
        [sys.executable, "-c", DOOR, *words],
        stdin=follower,
        stdout=follower,
        stderr=follower,
        env={**inherited, **asked},
    ) as running:
        os.close(follower)
        seen = b""
        while True:
            try:
                part = os.read(leader, 65536)
            except OSError:  # the far end of a pseudo terminal is gone: EIO on Linux
                break
            if not part:
                break
            seen += part
    os.close(leader)
    assert running.returncode == 0, seen.decode()
    return seen.decode()


@pytest.fixture
def book(stocked, tmp_path) -> str:
    return str(tmp_path / "book.sqlite")


def test_a_table_is_coloured_on_a_terminal(book):
    seen = on_terminal(["--book", book, "onhand"])
    assert COLOUR.search(seen)
    assert "─" in seen


def test_no_color_leaves_the_colours_out(book):
    seen = on_terminal(["--book", book, "onhand"], NO_COLOR="1")
    assert "INK-W" in seen
    assert not COLOUR.search(seen)


def test_a_piped_table_is_plain_text_of_one_line_a_row(stocked):
    out = stocked("onhand").out
    assert "\x1b" not in out
    assert "─" not in out
    assert len(out.splitlines()) == 1 + len(stocked("onhand", "--json").json())


def test_an_import_shows_its_progress_on_a_terminal_only(book, stocked, tmp_path):
    rows = "\n".join(f"TEE-{n},blank,TEE,{n}" for n in range(1500))
    path = Path(tmp_path / "many.csv")
    path.write_text(f"sku,kind,style,colour\n{rows}\n")
    assert "Importing" in on_terminal(["--book", book, "import", "items", str(path), "--dry-run"])
    ran = stocked("import", "items", str(path), "--dry-run")
    assert "Importing" not in ran.err + ran.out
    assert "1500 rows" in ran.err


def test_without_a_terminal_the_screens_are_refused_in_a_sentence(shop):
    ran = shop()
    assert ran.code == 2
    assert "needs a terminal" in ran.err
    assert ran.out == ""

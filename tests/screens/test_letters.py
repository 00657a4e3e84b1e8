"""Terminals of other encodings, and where no terminal is."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import time

import pytest

from stock.screens.app import LEAVING
from stock.screens.letters import PLAIN, plain_letters
from tests.screens.conftest import press, shown


def test_every_replacement_is_as_wide_as_what_it_replaces():
    from rich.cells import cell_len

    assert all(cell_len(sign) == cell_len(plain) == 1 for sign, plain in PLAIN.items())


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437", "utf-8"])
async def test_every_screen_can_be_written_in_the_terminal_s_encoding(opened, encoding):
    async with opened() as pilot:
        for key in "1234567":
            await press(pilot, f"f{key}")
            for line in shown(pilot).splitlines():
                plain = plain_letters(line, encoding)
                plain.encode(encoding)
                assert len(plain) == len(line)
                assert encoding != "utf-8" or plain == line


def on_a_terminal(words: list[str], until: bytes, **variables: str) -> bytes:
    """What the program writes on a terminal of 80 × 24 until ``until`` stands there."""
    ours, theirs = pty.openpty()
    clean = {n: v for n, v in os.environ.items() if not n.startswith(("LC_", "PYTHON", "STOCK_B"))}
    size = {"COLUMNS": "80", "LINES": "24", "TERM": "xterm"}
    with subprocess.Popen(
        [sys.executable, "-m", "stock", *words],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env=clean | size | variables,
    ) as program:
        os.close(theirs)
        written, begun = b"", time.monotonic()
        while until not in written and time.monotonic() - begun < 60:
            written += os.read(ours, 65536)
        os.write(ours, b"\x11")  # Ctrl+Q
        assert program.wait(timeout=30) == 0
    os.close(ours)
    return written


def test_a_terminal_without_utf_8_is_shown_plain_letters_in_their_places(book_file):
    without = {"LANG": "C", "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    written = on_a_terminal(["--book", str(book_file)], b"need you", **without)
    assert b">" in written
    assert b"\\u203a" not in written
    assert max(written) < 128


def test_screens_that_would_be_drawn_elsewhere_are_refused(book_file, tmp_path):
    """They are drawn on standard error: `stock 2>log` would show nothing and wait for keys."""
    ours, theirs = pty.openpty()
    with (tmp_path / "log").open("wb") as log:
        done = subprocess.run(
            [sys.executable, "-m", "stock", "--book", str(book_file)],
            stdin=theirs,
            stdout=theirs,
            stderr=log,
            timeout=60,
            check=False,
        )
    os.close(ours)
    os.close(theirs)
    assert done.returncode == 2
    assert "draws on standard error" in (tmp_path / "log").read_text()


async def test_ctrl_c_tells_which_key_leaves_in_our_words(opened):
    async with opened() as pilot:
        await press(pilot, "4", "ctrl+c")
        assert [one.message for one in pilot.app._notifications] == [LEAVING]

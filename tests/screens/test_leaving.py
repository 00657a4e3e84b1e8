"""Leaving on a real terminal: at once while the book is read, after a booking has been made."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from tests.screens.conftest import held

SLOW = """
import sys, time
from stock.shop import printing
from stock.shop.views import jobs
read, log = jobs.open_jobs, printing.log_print
book, reading, booking = sys.argv[1], float(sys.argv[2]), float(sys.argv[3])
def slow_read(*words, **named):
    time.sleep(reading)
    return read(*words, **named)
def slow_log(*words, **named):
    time.sleep(booking)
    return log(*words, **named)
jobs.open_jobs, printing.log_print = slow_read, slow_log
from stock.commands.app import main
sys.argv = ["stock", "--book", book]
main()
"""


class Terminal:
    """A program on a terminal of 80 × 24."""

    def __init__(self, program: subprocess.Popen[bytes], end: int) -> None:
        self.program, self.end, self.written = program, end, b""

    def until(self, words: bytes) -> None:
        """Read on until the words were written."""
        begun = time.monotonic()
        while words not in self.written:
            assert time.monotonic() - begun < 60, self.written[-2000:]
            try:
                self.written += os.read(self.end, 65536)
            except OSError:
                raise AssertionError(f"it ended: {self.written[-2000:]!r}") from None

    def press(self, keys: bytes) -> None:
        """Type."""
        os.write(self.end, keys)

    def ends_within(self, seconds: float) -> int:
        """The exit code; what is written meanwhile is taken off the terminal."""
        begun = time.monotonic()
        while self.program.poll() is None:
            assert time.monotonic() - begun < seconds, "it did not end"
            os.set_blocking(self.end, False)
            try:
                self.written += os.read(self.end, 65536)
            except OSError:  # nothing there, or the other end is closed
                time.sleep(0.02)
        return self.program.returncode


@contextmanager
def screens(book: object, read_seconds: float, log_seconds: float) -> Iterator[Terminal]:
    ours, theirs = pty.openpty()
    size = {"COLUMNS": "80", "LINES": "24", "TERM": "xterm", "PYTHONUTF8": "1"}
    words = [sys.executable, "-c", SLOW, str(book), str(read_seconds), str(log_seconds)]
    with subprocess.Popen(
        words, stdin=theirs, stdout=theirs, stderr=theirs, env=os.environ | size
    ) as program:
        os.close(theirs)
        try:
            yield Terminal(program, ours)
        finally:
            program.kill()
    os.close(ours)


@pytest.mark.parametrize("how", ["key", "signal"])
def test_nobody_waits_for_a_slow_book_to_leave(book_file, how):
    with screens(book_file, 45, 0) as terminal:
        terminal.until(b"need you")
        terminal.press(b"3")
        terminal.until(b"[3 Press log]")
        if how == "key":
            terminal.press(b"q")
            assert terminal.ends_within(20) == 0
        else:
            terminal.program.send_signal(signal.SIGTERM)
            assert terminal.ends_within(20) == 128 + signal.SIGTERM


def test_what_is_being_booked_is_booked_before_the_program_ends(book_file):
    with screens(book_file, 0, 1.5) as terminal:
        terminal.until(b"need you")
        terminal.press(b"3")
        terminal.until(b"2 jobs to print")
        terminal.press(b"g")
        terminal.until(b"Booking")
        terminal.press(b"q")
        assert terminal.ends_within(30) == 0
    assert held(book_file, "TEE-BLK-L") == 3


LEAVES = """
import atexit, threading, time
from stock.commands.ending import leave
atexit.register(print, "taken down")
threading.Thread(target=time.sleep, args=({seconds},), daemon=True).start()
time.sleep(0.5)
print("said")
leave({code})
"""


@pytest.mark.parametrize("code", [0, 3])
def test_while_something_is_read_the_interpreter_is_not_taken_down(code):
    words = [sys.executable, "-c", LEAVES.format(seconds=60, code=code)]
    ran = subprocess.run(words, capture_output=True, text=True, timeout=50)
    assert (ran.returncode, ran.stdout, ran.stderr) == (code, "said\n", "")


def test_when_nothing_is_read_the_program_ends_as_others_do():
    words = [sys.executable, "-c", LEAVES.format(seconds=0.01, code=143)]
    ran = subprocess.run(words, capture_output=True, text=True, timeout=50)
    assert (ran.returncode, ran.stdout, ran.stderr) == (143, "said\ntaken down\n", "")

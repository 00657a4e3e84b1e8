"""Ctrl-C and SIGTERM in the middle of a command: the book before or after, and a sentence.

A shell knows a command that a signal ended by more than 128 (POSIX.1, Shell Command Language,
2.8.2); 128 + the signal's number is common practice.
"""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faults.floor import at_station, build_floor, call, settle, station_variables
from tests.faults.killing import Case, fresh_folder, work_words


@pytest.fixture(scope="session")
def signal_floor(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shop of ``floor`` with an earlier copy of its book beside it."""
    folder = tmp_path_factory.mktemp("signal_floor")
    build_floor(folder, str(folder / "book.sqlite"))
    settle(folder / "book.sqlite")
    with at_station(folder, str(folder / "book.sqlite")):
        assert call("backup", str(folder / "earlier.sqlite")).code == 0
    return folder


@pytest.mark.parametrize(
    ("command", "number", "code"),
    [("print", signal.SIGINT, 130), ("import prints", signal.SIGTERM, 143)],
)
def test_a_stopped_command_is_done_or_not_done(
    signal_floor: Path,
    tmp_path: Path,
    command: str,
    number: signal.Signals,
    code: int,
) -> None:
    where = str(tmp_path / "book.sqlite")
    case = Case(command, work_words()[command], tmp_path, where, station_variables(tmp_path, where))
    fresh_folder(signal_floor, tmp_path)
    assert case.learn() == ""
    fresh_folder(signal_floor, tmp_path)
    assert case.run(die_at=case.points // 2, by=number) == code
    said = (tmp_path / "err.txt").read_text()
    assert "Traceback" not in said
    assert said.endswith("stock: stopped; nothing half-done was kept.\n")
    assert case.wrong_after_kill() == []


def test_ctrl_c_in_a_shell_ends_with_130_and_a_sentence(signal_floor: Path, tmp_path: Path) -> None:
    where = str(tmp_path / "book.sqlite")
    fresh_folder(signal_floor, tmp_path)
    (tmp_path / "long.csv").write_text(
        "sku,kind,style\n" + "".join(f"S-{n},blank,S{n}\n" for n in range(60_000))
    )
    with subprocess.Popen(
        [sys.executable, "-m", "stock", "import", "items", "long.csv"],
        cwd=tmp_path,
        env={"PYTHONPATH": str(Path(__file__).parents[2]), **station_variables(tmp_path, where)},
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        while not (tmp_path / "book.sqlite-wal").exists() and running.poll() is None:
            pass
        running.send_signal(signal.SIGINT)
        said = running.communicate(timeout=60)[1]
    assert running.returncode == 130, said
    assert "stopped" in said
    assert "Traceback" not in said
    with at_station(tmp_path, where):
        assert call("check").code == 0
        assert "S-59999" not in call("onhand", "--json").out


def test_sigterm_gives_the_terminal_back(signal_floor: Path, tmp_path: Path) -> None:
    where = str(tmp_path / "book.sqlite")
    fresh_folder(signal_floor, tmp_path)
    leader, follower = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "stock"],
        cwd=tmp_path,
        env={
            "PYTHONPATH": str(Path(__file__).parents[2]),
            "TERM": "xterm-256color",
            **station_variables(tmp_path, where),
        },
        stdin=follower,
        stdout=follower,
        stderr=follower,
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
            if b"Press log" in seen + part and b"Press log" not in seen:
                running.send_signal(signal.SIGTERM)
            seen += part
    os.close(leader)
    assert running.returncode == 143
    # The alternate screen (DEC private mode 1049, xterm control sequences) on, then off for good.
    assert seen.rfind(b"\x1b[?1049l") > seen.find(b"\x1b[?1049h") > -1
    assert b"Traceback" not in seen
    assert b"stopped" in seen
    with at_station(tmp_path, where):
        assert call("check").code == 0

"""Keys pressed at random in the terminal UI, by a seed, in a process that may be killed.

A storm goes to a screen, presses what is bound there, types strange text where something can be
typed, and answers whatever is asked. It never leaves the app on purpose.
"""

from __future__ import annotations

import asyncio
import os
import random
import signal
import traceback
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from stock.book.check import check_book
from stock.book.opening import Book, book_url, engine_for
from tests.faults.door import STRANGE
from tests.faults.floor import DAY, GTIN
from tests.faults.stations import START

MOVING = ("up", "down", "left", "right", "pageup", "pagedown", "home", "end", "tab", "shift+tab")
DOING = ("enter", "enter", "ctrl+s", "escape", "space", "ctrl+r", "ctrl+z", "ctrl+o", "ctrl+k",
         "question_mark", "slash", "plus", "minus", "backspace", "delete", "ctrl+p", "f8", "f9",
         "f10", "ctrl+a", "ctrl+w", "ctrl+u", "ctrl+x", "ctrl+v", "ctrl+d")  # fmt: skip
LETTERS = "abcdefghijklmnoprstuvwxyzyn0123456789"
"""All but ``q``, which leaves the app."""

WORDS = ("INK-W", "INK-C", "TEE-BLK-L", "P1-W", "C-1", "A1", "1", "2", "12", "350 mL", "5",
         f"(01){GTIN}(17)270501(10)W7731", f"01{GTIN}1727050110W7", "2027-05-01", "-3", "SHELF",
         *(word[:60] for word in STRANGE if word.isprintable() or word.isascii()))  # fmt: skip
DEEDS = (
    ("f3", "home", "g", "enter", "ctrl+s"), ("f3", "down", "enter", "ctrl+s", "1"),
    ("f3", "enter", "backspace", "backspace", *"40", "ctrl+s", "1"),
    ("f2", *f"(01){GTIN}(17)270501(10)W7731", "enter", "ctrl+s"),
    ("f2", *f"01{GTIN}1727050110W9", "enter", *f"01{GTIN}1727050110W8", "enter", "ctrl+s"),
    ("f2", "ctrl+z"), ("f2", "escape", "ctrl+o", "enter", "w", "ctrl+s", "1"),
    ("f4", "enter", "down", "x", "enter", *"1", "ctrl+s"), ("f4", "s", "k", "ctrl+s"),
    ("f4", "s", "end", "w", "enter", *"300", "ctrl+s"), ("f4", "s", "l", "down", "down", "down",
    *"keep", "ctrl+s"), ("f4", "enter", "h", "z", "1"), ("f4", "enter", "a", *"odd", "ctrl+s"),
    ("f5", "enter", "t"), ("f6", "plus", "a", "1"), ("f6", "w", *"late ALDER 5", "enter"),
    ("f6", "p", "enter", "s", "1"), ("f7", "o", "ctrl+s", "1"), ("f7", "a", *"old", "ctrl+s"),
    ("f1", "u", "1"), ("f3", "u", "1"), ("f1", "enter"), ("f3", "h", "z", "1"),
)  # fmt: skip
"""What a person would press, so that a storm also finds forms and posts."""

ODD_KEYS = ("é", "ß", "日", "🖨", "\u202e", "\u200b", "\x1b", "ctrl+underscore", "f20")
PAUSE = "pause"
"""No key: half a second in which lists arrive."""

SIZES = ((80, 24), (120, 40), (60, 15), (200, 60))
LONGEST_SECONDS = 240


def keys_of(seed: int, presses: int) -> list[str]:
    """The keys of one storm, in order."""
    chance = random.Random(seed)
    keys: list[str] = []
    while len(keys) < presses:
        pick = chance.random()
        if pick < 0.06:
            keys += ["escape", "escape", PAUSE, *chance.choice(DEEDS), PAUSE]
        elif pick < 0.12:
            keys.append(f"f{chance.randint(1, 7)}")
        elif pick < 0.32:
            keys.append(chance.choice(MOVING))
        elif pick < 0.6:
            keys.append(chance.choice(DOING))
        elif pick < 0.84:
            keys.append(chance.choice(LETTERS))
        elif pick < 0.87:
            keys.append(chance.choice(ODD_KEYS))
        else:
            keys += list(chance.choice(WORDS))
            keys.append(chance.choice(("enter", "tab", "ctrl+s")))
    return keys[:presses]


def weather(
    where: str, variables: Mapping[str, str], folder: str, seed: int, presses: int, answers: str
) -> None:
    """Child: one storm on the book at ``where``; writes what went wrong, or ``calm``."""
    os.environ.update(variables)
    os.environ["HOME"] = folder
    os.chdir(folder)

    async def storm() -> int:
        from stock.screens.app import StockApp

        app = StockApp(where, day=date.fromisoformat(DAY))
        pressed = 0
        size = SIZES[seed % len(SIZES)]
        async with asyncio.timeout(LONGEST_SECONDS), app.run_test(size=size) as pilot:
            for key in keys_of(seed, presses):
                if not app.is_running or app._exit:
                    break
                if key == PAUSE:
                    await pilot.pause(0.5)
                    continue
                await pilot.press(key)
                pressed += 1
        return pressed

    with open(Path(folder) / "screen.txt", "w") as noise:
        os.dup2(noise.fileno(), 1)
        os.dup2(noise.fileno(), 2)
    try:
        said = f"calm {asyncio.run(storm())}"
    except BaseException as error:
        said = "".join(traceback.format_exception(error)[-4:])
    Path(answers).write_text(said)
    os._exit(0)


@dataclass(frozen=True)
class After:
    """What a storm left: keys pressed, what is wrong, whether it was killed in full flight."""

    pressed: int
    wrong: tuple[str, ...]
    killed: bool
    entries: int


def storm_over(
    where: str,
    variables: Mapping[str, str],
    folder: Path,
    seed: int,
    presses: int,
    kill_after: float | None = None,
) -> After:
    """One storm in a child, killed after so many seconds if asked; then the book is checked."""
    answers = folder / "answers.txt"
    answers.unlink(missing_ok=True)
    child = START.Process(
        target=weather,
        args=(where, dict(variables), str(folder), seed, presses, str(answers)),
        daemon=True,
    )
    child.start()
    wrong = []
    child.join(kill_after if kill_after is not None else LONGEST_SECONDS + 30)
    if child.is_alive() and child.pid:
        os.kill(child.pid, signal.SIGKILL)
        if kill_after is None:
            wrong.append(f"seed {seed}: no answer in {LONGEST_SECONDS + 30} s")
    child.join()
    killed = child.exitcode == -signal.SIGKILL
    said = answers.read_text() if answers.exists() else ""
    if not said.startswith("calm") and not (killed and not said):
        wrong.append(f"seed {seed}: exit code {child.exitcode}: {said[-1500:]}")
    book = Book(book_url(where), engine_for(book_url(where)))
    try:
        checked = check_book(book)
    finally:
        book.close()
    wrong += [f"seed {seed}: {finding}" for finding in checked.findings if finding.damage]
    pressed = int(said.split()[1]) if said.startswith("calm") else 0
    return After(pressed, tuple(wrong), killed, checked.entries)

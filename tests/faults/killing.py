"""Commands killed with signal 9 at any statement they send, or at any moment, and what they left.

A child process runs one command and counts the points at which it could die: before each statement
and around each commit. A first, unharmed run says how many there are and which states the book
passes through, commit by commit. Every killed run must leave the book in one of those states.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sys
import time
import traceback
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import create_engine, event, inspect, make_url, text
from sqlalchemy.engine import Engine
from sqlalchemy.engine.default import DefaultDialect

from stock.book.check import check_book
from stock.book.opening import Book, book_url, engine_for
from tests.faults.door import DATED, SOUND
from tests.faults.floor import DAY, FILES, MORE_FILES
from tests.faults.stations import START

START.set_forkserver_preload(["tests.faults.stations", "tests.faults.warm"])

WRITING = (
    "receive", "print", "load", "unload", "weigh", "dip", "count", "undo", "scrap", "quarantine",
    "release", "move", "mix", "upkeep", "service", "write-off", "open", "return", "clean", "trial",
    "shaken", "counter", "dose", "decant", "relabel", "relot", "hand-back", "certificates",
    "watch", "purchase send", "purchase receive", "purchase retime", "purchase change",
    "purchase cancel", "backup", "restore",
)  # fmt: skip
"""Commands of ``door.SOUND`` that change a book or copy one."""

IMPORTS = tuple(kind for kind in {**FILES, **MORE_FILES} if kind != "counts")

SQLITE_ONLY = ("restore",)
"""A PostgreSQL book is restored into an empty database: a case of its own."""


BROKEN = 99
"""The code of a command that ended in an exception."""

LAST_ENTRY = "LAST"
"""Stands for the newest entry: databases number entries on their own."""


def newest_entry(where: str) -> str:
    """The newest entry's number."""
    engine = create_engine(book_url(where))
    try:
        with engine.connect() as connection:
            return str(connection.scalar(text("SELECT max(id) FROM entry")))
    finally:
        engine.dispose()


def work_words() -> dict[str, list[str]]:
    """Every writing command as words that work on the shop of ``floor``."""
    found = {}
    for command in WRITING:
        words = [*command.split(), *SOUND[command].split()]
        if command == "undo":
            words = ["undo", LAST_ENTRY]
        if command in DATED:
            words += ["--on", DAY]
        found[command] = words
    for kind in IMPORTS:
        name = f"more-{kind}.csv" if kind in FILES else f"{kind}.csv"
        found[f"import {kind}"] = ["import", kind, name, "--on", DAY]
    return found


def more_files(folder: Path) -> None:
    """Files with something new in them for every kind the shop has taken already."""
    for kind, written in FILES.items():
        header, *rows = written.splitlines()
        new = [row.replace(row.split(",")[0], f"N{row.split(',')[0]}", 1) for row in rows]
        if kind in ("packs", "artworks"):
            new = rows
        if kind == "packs":
            new = [row.replace(",62,", ",63,").replace(",3.10,", ",3.20,") for row in rows]
        if kind == "printers":
            new = [row.replace("P1", "P2") for row in rows]
        if kind == "artworks":
            new = ["OWL,bear.png,Owl"]
        (folder / f"more-{kind}.csv").write_text("\n".join([header, *new]) + "\n")


def fingerprint(where: str) -> tuple[Any, ...]:
    """How many rows each table holds, all that is held, and the catalogue's sums."""
    engine = create_engine(book_url(where))
    try:
        with engine.connect() as connection:
            if not inspect(connection).has_table("movement"):
                return ("nothing yet",)
            names = sorted(inspect(connection).get_table_names())
            counts = tuple(connection.scalar(text(f"SELECT count(*) FROM {n}")) for n in names)
            sums = [
                "SELECT coalesce(sum(amount), 0) FROM balance",
                "SELECT coalesce(sum(price_minor), 0) FROM pack",
                "SELECT coalesce(sum(packs * 1000 + cancelled_packs), 0) FROM purchase_line",
                "SELECT count(*) FROM lot WHERE certificate <> ''",
                "SELECT coalesce(sum(length(state)), 0) FROM purchase_order",
            ]
            return (*counts, *(int(connection.scalar(text(query)) or 0) for query in sums))
    finally:
        engine.dispose()


def run_command(
    words: list[str],
    variables: Mapping[str, str],
    folder: str,
    die_at: int,
    states: str,
    by: int = signal.SIGKILL,
) -> None:
    """Child: run a command, get signal ``by`` at its ``die_at``-th point (0: never).

    States are noted at commits.
    """
    os.environ.update(variables)
    os.chdir(folder)
    point = 0
    looking = False

    def reached(*_: Any) -> None:
        nonlocal point
        point += not looking
        if point == die_at and not looking:
            os.kill(os.getpid(), by)

    event.listen(Engine, "before_cursor_execute", reached)
    real = DefaultDialect.do_commit

    def commit(self: DefaultDialect, connection: Any) -> None:
        nonlocal looking
        reached()
        real(self, connection)
        reached()
        if states and not looking:
            looking = True
            seen = fingerprint(variables["STOCK_BOOK"])
            looking = False
            with open(states, "a", encoding="utf-8") as noted:
                noted.write(repr(seen) + "\n")

    DefaultDialect.do_commit = commit  # type: ignore[method-assign]
    with open(Path(folder) / "out.txt", "w") as out, open(Path(folder) / "err.txt", "w") as err:
        os.dup2(out.fileno(), 1)
        os.dup2(err.fileno(), 2)
        sys.stdout, sys.stderr = out, err
        sys.argv = ["stock", *words]
        from stock.commands.app import main

        try:
            main()
        except SystemExit as stop:
            code = stop.code if isinstance(stop.code, int) else 0
        except BaseException:
            traceback.print_exc(file=err)
            code = BROKEN
        else:
            code = 0
        out.flush()
        err.flush()
    if states:
        with open(states, "a", encoding="utf-8") as noted:
            noted.write(f"{point}\n")
    os._exit(code)


@dataclass
class Case:
    """A place to run one command again and again: files in ``folder``, the book at ``where``."""

    name: str
    words: list[str]
    folder: Path
    where: str
    variables: Mapping[str, str]
    states: set[str] = field(default_factory=set)
    before: str = ""
    after: str = ""
    points: int = 0
    seconds: float = 0.0

    def run(
        self,
        die_at: int = 0,
        kill_after: float | None = None,
        states: str = "",
        by: int = signal.SIGKILL,
    ) -> int:
        """Run the command in a child; its exit code, negative for the signal it died of."""
        child = START.Process(
            target=run_command,
            args=(self.words, dict(self.variables), str(self.folder), die_at, states, by),
            daemon=True,
        )
        child.start()
        if kill_after is not None:
            child.join(kill_after)
            if child.is_alive() and child.pid:
                os.kill(child.pid, signal.SIGKILL)
        child.join(60)
        if child.is_alive():
            child.kill()
            child.join()
            return -100
        return child.exitcode if child.exitcode is not None else -100

    def learn(self) -> str:
        """The unharmed run; what is wrong with it, or an empty string."""
        self.before = repr(fingerprint(self.where))
        if LAST_ENTRY in self.words:
            newest = newest_entry(self.where)
            self.words = [newest if word == LAST_ENTRY else word for word in self.words]
        noted = self.folder / "states.txt"
        noted.unlink(missing_ok=True)
        began = time.monotonic()
        code = self.run(states=str(noted))
        self.seconds = time.monotonic() - began
        if code != 0:
            return f"{self.name}: exit code {code}: {(self.folder / 'err.txt').read_text()[:300]}"
        *states, points = noted.read_text().splitlines()
        self.points = int(points)
        self.after = repr(fingerprint(self.where))
        self.states = {self.before, self.after, *states}
        return ""

    def wrong_after_kill(self) -> list[str]:
        """What is wrong with the book a killed command left, and with doing it again."""
        left = repr(fingerprint(self.where))
        wrong = [] if left in self.states else [f"half done: {left} not in {self.states}"]
        wrong += self._damage()
        code = self.run()
        said = (self.folder / "err.txt").read_text()[:300]
        copied = (self.folder / "copy.sqlite").exists()  # a copy is not replaced unasked
        if left == self.before and code != 0 and not (copied and code == 1):
            wrong.append(f"not done the second time: exit code {code}: {said}")
        if left == self.before and repr(fingerprint(self.where)) != self.after:
            wrong.append("done the second time, but not as it should be")
        if code not in (0, 1) or "Traceback" in said:
            wrong.append(f"the second time: exit code {code}: {said}")
        return wrong + self._damage()

    def _damage(self) -> list[str]:
        book = Book(book_url(self.where), engine_for(book_url(self.where)))
        try:
            found = [str(finding) for finding in check_book(book).findings if finding.damage]
        finally:
            book.close()
        copy = self.folder / "copy.sqlite"
        if copy.exists():
            kept = Book(book_url(copy), engine_for(book_url(copy)))
            try:
                found += [f"in the copy: {f}" for f in check_book(kept).findings if f.damage]
            finally:
                kept.close()
        return found


def fresh_folder(floor: Path, folder: Path) -> None:
    """The shop's files in ``folder`` as they were."""
    for file in floor.iterdir():
        if file.is_file():
            shutil.copyfile(file, folder / file.name)
    for ending in ("-wal", "-shm"):
        (folder / f"book.sqlite{ending}").unlink(missing_ok=True)
    (folder / "copy.sqlite").unlink(missing_ok=True)
    shutil.copyfile(floor / "earlier.sqlite", folder / "kept.sqlite")
    more_files(folder)
    drop = folder / "drop"
    shutil.rmtree(drop, ignore_errors=True)
    drop.mkdir()
    shutil.copyfile(folder / "more-orders.csv", drop / "orders.csv")


def database_of(where: str, name: str) -> str:
    """The address of another database on the same server."""
    return make_url(where).set(database=name).render_as_string(hide_password=False)


def kill_once(case: Case, chance: random.Random) -> tuple[bool, int]:
    """Kill the command once, at a statement or at a moment: (died in flight, exit code)."""
    if chance.random() < 0.6:
        code = case.run(die_at=chance.randint(1, case.points))
    else:
        code = case.run(kill_after=chance.random() * case.seconds)
    return code == -signal.SIGKILL, code

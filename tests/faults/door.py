"""Calling every command as nobody should: strange values in every option, one at a time.

:data:`SOUND` holds one call of each command that works on the shop of ``floor``; every option and
argument of it is replaced in turn by each of :data:`STRANGE`. Whatever comes, the answer is by
contract: an exit code from 0 to 4, talk without a traceback and without a character that steers a
terminal, JSON where JSON was asked for, and a sound book.
"""

from __future__ import annotations

import json
import random
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.faults.floor import DAY, GTIN, Said, call

SOUND = {
    "start": "",
    "demo": "--no-screen",
    "import": "orders orders.csv",
    "receive": "--item INK-C --packs 1 --lot N-1 --expires 2027-05-01",
    "scan": f"(01){GTIN}(17)270501(10)W7731",
    "print": "--order A1 --line 1 --good 2 --misprints 1",
    "load": "P1-K --item INK-K --old empty",
    "unload": "P1-Y --old keep",
    "weigh": "P1-C --grams 300",
    "dip": "P1-W --level 1.5L",
    "count": "counts.csv",
    "undo": "20",
    "scrap": "--item INK-C --lot C-1 --place SHELF --amount 350mL --reason frozen",
    "quarantine": "--item INK-C --lot C-1 --place SHELF --amount 350mL --reason frozen",
    "release": "--item INK-M --lot M-1",
    "move": "--item TEE-BLK-L --lot T-1 --amount 5 --to SHELF-2",
    "mix": "PT --amount 1kg",
    "upkeep": "",
    "service": "WIPER --printer P1",
    "write-off": "--item INK-K",
    "open": "PT-CONC",
    "return": "--item INK-W --lot W-2 --amount 1.8L --reason short",
    "measure": "bear.png --width-cm 20 --garment dark",
    "calibrate": "",
    "expiring": "--within 90d",
    "onhand": "",
    "reorder": "",
    "clear": "--days 5",
    "needs": "--weeks 3",
    "forecast": "--history history.csv --weeks 2",
    "cost": "A1",
    "usage": "--from 2026-03-01 --to 2026-03-09",
    "trace": "W-1",
    "slot": "P1-W",
    "value": "",
    "label": "item INK-C --out labels.pdf",
    "certificates": "--item INK-C --lot C-1 --certificate C-77",
    "cautions": "",
    "guide": "",
    "week": "--out out --formats txt",
    "watch": "drop --once",
    "check": "",
    "backup": "copy.sqlite",
    "restore": "kept.sqlite --overwrite",
    "roles": "",
    "settings": "",
    "replay": "",
    "clean": "P1 --ml W=8 --kind clean",
    "trial": "P1 --ml W=2 --blank TEE-BLK-L",
    "shaken": "P1-W",
    "counter": "P1 48211.5 --channel W",
    "dose": "TEE-BLK-L --dry 152.4 --wet 181 --width-cm 40 --height-cm 50",
    "decant": "--container K000006 --amount 500g --code SPRAYER",
    "sheet": "--kind blank",
    "relabel": "INK-W W-2 --expires 2027-06-01",
    "relot": "8 --lot N-2",
    "hand-back": "OWL --item TEE-BLK-L --pieces 3",
    "purchase list": "",
    "purchase show": "P-88",
    "purchase send": "P-89",
    "purchase receive": "P-88 --item INK-W --packs 1 --lot N-1 --expires 2027-05-01",
    "purchase retime": "P-88 --to 2026-03-20 --reason late",
    "purchase change": "P-89 --item TEE-BLK-L --packs 50",
    "purchase cancel": "P-89 --reason no",
    "purchase scorecard": "",
}
"""A call of each command that works on the shop of ``floor``, by the command's words."""

NOT_CALLED = {"serve"}
"""Runs until it is stopped: has tests of its own."""

SLOW = {"demo"}
"""Takes ten seconds: tried with few values."""

STRANGE = (
    "", " ", "-1", "0", "1", "-0", "2", "9" * 30, "-" + "9" * 30, str(2**31), str(2**63),
    "1e309", "1e-400", "nan", "NaN", "inf", "-Infinity", "1.5", "1,5", "1_000", "0x10", "²", "٣",
    "½", "\x1b[2J\x1b[31m", "a\u202eb", "\u0410B", "\u200b", "'; DROP TABLE entry; --", "%s%n",
    "%00", "{0}", "$(id)", "`id`", "../../../etc/passwd", "/", ".", "..", "~", "/dev/null",
    "/nowhere/at/all", "x" * 300, "x" * 20_000, "é" * 300, "\udcff\udcfe", "2026-02-30",
    "0001-01-01", "9999-12-31", "0000-00-00", "10000-01-01", "2026-W53", "03/04/2026", "\n", "a\tb",
    "=1+1", "-", "--", "-h", "{}", "[]", "null", "true", "🖨", "bear.png", "orders.csv",
    "book.sqlite", "settings.toml", "drop", "P1-W", "INK-C", "TEE-BLK-L", "A1", "SHELF", "WASTE",
    "SUPPLIER", "PRINTED", "MIXING", "0 mL", "-5 mL", "1e5 L", "999999999999 L", "5 kg", "1/2",
    "1:1", "C-1=", "=5", "INK-C=nan", ".5,.9", "0,1", "1,1", "90d", "-90d", "99999999999d", "1y",
)  # fmt: skip

RECKONING = {"reorder", "week", "demo", "forecast", "needs", "replay", "clear", "expiring"}
"""Commands that take longer than the others; the quick test tries them less."""


@dataclass(frozen=True)
class Call:
    """One way of calling the command line."""

    words: tuple[str, ...]
    command: str
    where: str

    def __str__(self) -> str:
        return " ".join(repr(word[:60]) for word in self.words)


def commands() -> Iterator[tuple[str, Any]]:
    """Every command of the program, by its words."""
    import typer.main

    from stock.commands.app import app

    def under(group: Any, before: str) -> Iterator[tuple[str, Any]]:
        context = typer.Context(group)
        for name in group.list_commands(context):
            command = group.get_command(context, name)
            if hasattr(command, "list_commands"):
                yield from under(command, f"{before}{name} ")
            else:
                yield before + name, command

    yield from under(typer.main.get_command(app), "")


def calls_of(words: str, command: Any) -> Iterator[Call]:
    """Every strange call of one command: each option and argument in turn, each value."""
    sound = SOUND.get(words, "").split()
    first_option = next((n for n, word in enumerate(sound) if word.startswith("--")), len(sound))
    arguments, options = sound[:first_option], sound[first_option:]
    head = tuple(words.split())
    yield Call((*head, *sound), words, "sound")
    for parameter in command.params:
        if parameter.name == "help":
            continue
        option = parameter.opts[-1]
        if parameter.param_type_name == "option" and getattr(parameter, "is_flag", False):
            yield Call((*head, *sound, option), words, option)
            continue
        for value in STRANGE:
            if parameter.param_type_name == "argument":
                index = [p.name for p in command.params if p.param_type_name == "argument"].index(
                    parameter.name
                )
                given = list(arguments[:index]) + [value] + list(arguments[index + 1 :])
                if len(given) == index + 1:
                    yield Call((*head, *options, "--", *given), words, parameter.name)
            else:
                kept = list(options)
                if option in kept:
                    at = kept.index(option)
                    del kept[at : at + 2]
                yield Call((*head, *arguments, *kept, f"{option}={value}"), words, option)


def all_calls() -> list[Call]:
    """Every strange call there is, in a fixed order."""
    found = []
    for words, command in commands():
        if words not in NOT_CALLED:
            found += list(calls_of(words, command))
    return found


def some_calls(count: int, seed: int) -> list[Call]:
    """A seeded choice of strange calls, each command among them, the quick ones more often."""
    chance = random.Random(seed)
    by_command: dict[str, list[Call]] = {}
    for one in all_calls():
        if one.command not in SLOW:
            by_command.setdefault(one.command, []).append(one)
    names = list(by_command)
    weights = [1 if name in RECKONING else 6 for name in names]
    chosen = [chance.choice(by_command[name]) for name in names]
    while len(chosen) < count:
        chosen.append(chance.choice(by_command[chance.choices(names, weights)[0]]))
    return chosen


class Yard:
    """A folder with a fresh book for each call; the current folder must be it."""

    def __init__(self, template: Path, folder: Path) -> None:
        self.template = template
        self.folder = folder
        for file in template.iterdir():
            if file.is_file():
                shutil.copyfile(file, folder / file.name)
        (folder / "drop").mkdir(exist_ok=True)
        shutil.copyfile(folder / "orders.csv", folder / "drop" / "orders.csv")
        shutil.copyfile(folder / "book.sqlite", folder / "kept.sqlite")

    def fresh(self) -> None:
        """Everything as it was."""
        for name in ("book.sqlite-wal", "book.sqlite-shm", "copy.sqlite", "labels.pdf"):
            (self.folder / name).unlink(missing_ok=True)
        for file in self.template.iterdir():
            if file.is_file() and file.suffix in (".sqlite", ".csv", ".toml", ".png"):
                shutil.copyfile(file, self.folder / file.name)

    def answer(self, one: Call) -> tuple[Said, list[str]]:
        """What the program said, and what is wrong with that."""
        self.fresh()
        words = list(one.words)
        if one.where != "--on" and one.command in DATED:
            begins = len(one.command.split())
            words[begins:begins] = ["--on", DAY]
        said = call(*words)
        return said, wrong_with(said)

    def damage(self) -> list[str]:
        """What ``stock check`` finds in the book afterwards."""
        if not (self.folder / "book.sqlite").exists():
            return ["the book is gone"]
        checked = call("check", "--json")
        if checked.code == 0:
            return []
        if checked.code == 4:
            return [str(finding) for finding in json.loads(checked.out)["findings"]]
        return [checked.err]


DATED = {
    words
    for words, command in commands()
    if any(parameter.opts[-1] == "--on" for parameter in command.params)
}
"""Commands that take a business day; the shop of ``floor`` lives on one of its own."""


def harmless(text: str) -> bool:
    """Whether every character is one a terminal shows as it is."""
    return all(c.isprintable() or c in "\n\u200c\u200d" for c in text)


def wrong_with(said: Said) -> list[str]:
    """Whatever in an answer is against the contract."""
    found = []
    if said.code not in (0, 1, 2, 3, 4):
        found.append(f"exit code {said.code}")
    if "Traceback" in said.err + said.out:
        found.append("a traceback")
    if not harmless(said.err):
        found.append("talk that steers a terminal")
    if not harmless(said.out):
        found.append("output that steers a terminal")
    if said.code in (1, 2, 3) and not said.err.strip():
        found.append("a refusal without a word")
    if said.code in (1, 3) and not said.err.startswith("stock: "):
        found.append("a refusal that is no sentence of ours")
    return found

"""Stations in processes of their own: what they do, how they are killed, what they leave behind.

Each work function runs in a child process until it is killed or its time is up. A child writes a
line to its log after every posting that was acknowledged to it, so that the parent knows what must
be in the book whatever happened next.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import random
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from sqlalchemy import select

from stock.book.backup import backup
from stock.book.check import check_book
from stock.book.opening import Book, create_book, open_book
from stock.book.posting import Posting, post
from stock.book.tables import customer_order, entry, item, lot, order_line, receipt
from stock.errors import BookUnusable, Refused
from stock.shop.choosing import Choice
from stock.shop.counting import CountRow, count
from stock.shop.imports import import_rows
from stock.shop.loading import Load, load
from stock.shop.onhand import on_hand
from stock.shop.printing import PrintLog, log_print
from stock.shop.receive import Delivery, receive
from stock.shop.setting_aside import scrap
from stock.shop.slots import draw_from_shelf, draw_from_slots, move_draws
from stock.shop.undoing import undo
from tests.book.builders import MONDAY, a_pack, a_row, a_slot, an_item, the_id

DAY = date(2026, 3, 3)
LISTS = 0.1
"""Share of a station's deeds that are lists of what is on hand."""

START = multiprocessing.get_context("forkserver")
START.set_forkserver_preload(["tests.faults.stations"])


def furnish(book: Book) -> None:
    """Ink in a tank and a cartridge, tees in three lots: what all stations draw from."""
    an_item(book, "W-1", channel="W", open_life_days=180)
    an_item(book, "TEE", kind="blank", unit="each")
    a_pack(book, "W-1", 1000)
    a_pack(book, "TEE", 100)
    a_slot(book, "WT", feed="tank")
    a_slot(book, "W1")
    for number in range(3):
        receive(book, Delivery(on=MONDAY, sku="TEE", packs=10, lot=f"T{number}"))
        receive(book, Delivery(on=MONDAY, sku="W-1", packs=20, lot=f"L{number}"))
    order = a_row(book, customer_order, ref="O1", stage="released", placed_on=MONDAY)
    tee = the_id(book, item, sku="TEE")
    a_row(book, order_line, order_id=order, line=1, blank_id=tee, quantity=10**6, due_on=DAY)
    for _ in range(4):
        load(book, Load("WT", MONDAY, sku="W-1"))
    load(book, Load("W1", MONDAY, sku="W-1"))


def _print(posting: Posting, ml: int, tees: int) -> int:
    """Ink from the tank and tees from the shelf in one entry, as far as they go."""
    tee = posting.connection.execute(select(item.c.id).where(item.c.sku == "TEE")).scalar_one()
    entry_id = posting.entry("use", DAY)
    printed = posting.place("PRINTED")
    move_draws(
        posting,
        entry_id,
        DAY,
        draw_from_slots([posting.place("WT")], posting, ml),
        printed,
    )
    draws = draw_from_shelf(posting, tee, tees * 1000, day=DAY)
    move_draws(posting, entry_id, DAY, draws, printed)
    return entry_id


def one_thing(book: Book, chance: random.Random, name: str, mine: list[int]) -> int | None:
    """One random posting of a station; returns its entry, None when it was refused."""
    pick = chance.random()
    try:
        if pick < 0.15:
            on = DAY + timedelta(days=chance.randint(0, 60))
            log = PrintLog("O1", 1, chance.randint(1, 4), chance.randint(0, 1), on, "P1")
            entry_id = log_print(book, log, who=name).entry
        elif pick < 0.6:
            ml, tees = chance.randint(1, 9000), chance.randint(1, 6)
            entry_id = post(book, lambda posting: _print(posting, ml, tees), who=name)
        elif pick < 0.72:
            sku = chance.choice(("W-1", "TEE"))
            code = f"{name}-{chance.randint(0, 3)}"
            entry_id = receive(book, Delivery(on=DAY, sku=sku, packs=1, lot=code), who=name).entry
        elif pick < 0.8:
            entry_id = load(book, Load("WT", DAY, sku="W-1"), who=name).entry or 0
        elif pick < 0.84:
            entry_id = load(book, Load("W1", DAY, sku="W-1", old="empty"), who=name).entry or 0
        elif pick < 0.88:
            choice = Choice(place="WT", amount=chance.randint(1, 50_000))
            entry_id = scrap(book, choice, "spilled", on=DAY, who=name).entry or 0
        elif pick < 0.92:
            rows = [CountRow("SHELF", "TEE", chance.randint(500, 900) * 1000)]
            entry_id = count(book, rows, "recount", on=DAY, who=name).entry
        elif mine:
            entry_id = undo(book, mine.pop(), on=DAY, who=name).entry
        else:
            return None
    except Refused:
        return None
    mine.append(entry_id)
    return entry_id


def _one_thing_or_busy(book: Book, chance: random.Random, name: str, mine: list[int]) -> int:
    """The entry, 0 when it was refused, -1 when others kept the book busy all the time."""
    try:
        return one_thing(book, chance, name, mine) or 0
    except BookUnusable as error:
        if "is busy" not in str(error):
            raise
        return -1


def station(where: str, name: str, seed: int, seconds: float, log: str) -> None:
    """Post and list at random until the time is up; log what was acknowledged and its time.

    At least one thing is posted. A list is logged with entry 0, a book that stayed busy for too
    long with entry -1.
    """
    book = open_book(where)
    chance = random.Random(seed)
    mine: list[int] = []
    until = time.monotonic() + seconds
    handle = os.open(log, os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    while time.monotonic() < until or not mine:
        began = time.perf_counter()
        if chance.random() < LISTS:
            entry_id, done = 0, bool(on_hand(book))
        else:
            entry_id = _one_thing_or_busy(book, chance, name, mine)
            done = entry_id != 0
        if done:
            took = time.perf_counter() - began
            os.write(handle, f'{{"entry": {entry_id}, "took": {took:.6f}}}\n'.encode())
    os.close(handle)
    book.close()


def importer(where: str, file: str) -> None:
    """Import one delivery file."""
    book = open_book(where)
    import_rows(book, "deliveries", Path(file), on=DAY)
    book.close()


def maker(where: str) -> None:
    """Make a book where none is."""
    create_book(where).close()


def copier(where: str, target: str) -> None:
    """Copy the book over and over onto the same file."""
    book = open_book(where)
    while True:
        backup(book, Path(target), overwrite=True)


def started(work: Callable[..., None], *words: Any) -> BaseProcess:
    """A child that does ``work``."""
    child = START.Process(target=work, args=words, daemon=True)
    child.start()
    return child


def killed(child: BaseProcess, after: float) -> bool:
    """Kill -9 the child after so many seconds; False when it had ended by itself."""
    child.join(after)
    alive = child.is_alive()
    if alive and child.pid is not None:
        os.kill(child.pid, signal.SIGKILL)
    child.join()
    assert child.exitcode in (0, -signal.SIGKILL), "the station failed by itself"
    return child.exitcode == -signal.SIGKILL


def wait_for_postings(log: Path, least: int, seconds: float) -> None:
    """Wait until a station has been told of so many postings, for so many seconds at most."""
    until = time.monotonic() + seconds
    while len(acknowledged(log)) < least and time.monotonic() < until:
        time.sleep(0.02)


def acknowledged(log: Path) -> list[dict[str, float]]:
    """What a station was told is in the book; a line cut by its death does not count."""
    return [line for line in _logged(log) if line["entry"] > 0]


def listed(log: Path) -> list[float]:
    """Seconds each list took a station."""
    return [line["took"] for line in _logged(log) if line["entry"] == 0]


def told_busy(log: Path) -> int:
    """How often a station was told that the book is busy."""
    return sum(line["entry"] == -1 for line in _logged(log))


def _logged(log: Path) -> list[dict[str, float]]:
    if not log.exists():
        return []
    return [
        json.loads(line)
        for line in log.read_text().splitlines(keepends=True)
        if line.endswith("}\n")
    ]


@dataclass
class Left:
    """What was found afterwards."""

    damage: list[str] = field(default_factory=list)
    missing: set[int] = field(default_factory=set)
    entries: int = 0


def left_behind(book: Book, logs: list[Path]) -> Left:
    """Check the book and look for every acknowledged entry."""
    checked = check_book(book)
    told = {int(line["entry"]) for log in logs for line in acknowledged(log)}
    with book.reading() as connection:
        there = set(connection.scalars(select(entry.c.id)))
    return Left(
        [str(finding) for finding in checked.findings if finding.damage],
        told - there,
        checked.entries,
    )


def delivery_file(path: Path, rows: int) -> Path:
    """A file of deliveries, each with a reference of its own."""
    lines = ["delivery,sku,packs,lot,received_on"]
    lines += [f"D-{number},TEE,1,F{number % 40},2026-03-02" for number in range(rows)]
    path.write_text("\n".join(lines) + "\n")
    return path


def delivered(book: Book) -> int:
    """Receipts of the file in the book."""
    with book.reading() as connection:
        return len(
            connection.scalars(
                select(receipt.c.id)
                .join(lot, lot.c.id == receipt.c.lot_id)
                .where(lot.c.code.like("F%"))
            ).all()
        )

"""How long the snapshot of a large book takes, by part.

``python -m tests.benchmarks.snapshot_scale [items] [weeks]`` builds a book of that many garments
(half of them sold in any week), with an order line per sale, and prints seconds.
"""

from __future__ import annotations

import cProfile
import pstats
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import insert

from stock.book.opening import Book, create_book
from stock.book.tables import (
    balance,
    customer_order,
    entry,
    item,
    lot,
    movement,
    order_line,
    pack,
    place,
    print_run,
    printer,
    supplier,
)
from stock.clock import now_utc
from stock.plan.snapshot import PlanSettings
from stock.shop.snapshot import take_snapshot

START = date(2023, 1, 2)
SHARE_SOLD = 0.15


def a_large_book(path: Path, items: int, weeks: int) -> Book:
    """A book of ``items`` garments over ``weeks`` weeks, written row by row at the tables."""
    book = create_book(path)
    draws = np.random.default_rng(1)
    sold = draws.random((weeks, items)) < SHARE_SOLD
    at = now_utc()

    def put(table: Any, rows: list[dict[str, Any]]) -> None:
        for begin in range(0, len(rows), 20_000):
            part = rows[begin : begin + 20_000]
            book.write(lambda connection, part=part: connection.execute(insert(table), part))

    put(supplier, [{"code": f"S{n}"} for n in range(3)])
    put(printer, [{"code": "P1"}])
    put(
        item,
        [
            {
                "sku": f"TEE-{n // 8}-{n % 8}",
                "kind": "blank",
                "unit": "each",
                "style": "TEE",
                "colour": str(n // 8),
                "size": str(n % 8),
            }
            for n in range(items)
        ],
    )
    put(
        pack,
        [
            {
                "item_id": n % items + 1,
                "supplier_id": n // items + 1,
                "code": f"{n}",
                "amount": 1000,
                "price_minor": 300,
            }
            for n in range(items * 3)
        ],
    )
    put(
        lot,
        [
            {"item_id": n + 1, "code": "L", "received_on": START, "supplier_id": 1}
            for n in range(items)
        ],
    )
    with book.reading() as connection:
        places = {row.code: row.id for row in connection.execute(place.select())}
    put(entry, [{"id": 1, "kind": "receive", "day": START, "at": at}])
    put(
        movement,
        [
            _leg(1, START, n + 1, places["SUPPLIER"], places["SHELF"], 10_000_000)
            for n in range(items)
        ],
    )
    orders, lines, entries, moves, runs = [], [], [], [], []
    for week, row in zip(*np.nonzero(sold), strict=True):
        number = len(orders) + 1
        day = START + timedelta(days=7 * int(week) + number % 5)
        orders.append(
            {
                "id": number,
                "ref": f"A{number}",
                "stage": "printed" if week < weeks - 2 else "confirmed",
                "placed_on": day - timedelta(days=9),
                "outcome_on": day if week < weeks - 2 else None,
            }
        )
        lines.append(
            {
                "id": number,
                "order_id": number,
                "line": 1,
                "blank_id": int(row) + 1,
                "quantity": 12,
                "due_on": day,
            }
        )
        if week < weeks - 2:
            entries.append({"id": number + 1, "kind": "print", "day": day, "at": at})
            moves.append(
                _leg(number + 1, day, int(row) + 1, places["SHELF"], places["PRINTED"], 12_000)
            )
            runs.append(
                {"entry_id": number + 1, "order_line_id": number, "printer_id": 1, "good": 12}
            )
    for table, rows in (
        (customer_order, orders),
        (order_line, lines),
        (entry, entries),
        (movement, moves),
        (print_run, runs),
    ):
        put(table, rows)
    used = sold[: weeks - 2].sum(axis=0)
    put(
        balance,
        [
            {
                "place_id": places["SHELF"],
                "item_id": n + 1,
                "lot_id": n + 1,
                "amount": 10_000_000 - 12_000 * int(used[n]),
            }
            for n in range(items)
        ],
    )
    print(f"{items} items, {len(orders)} order lines, {len(moves)} movements")
    return book


def _leg(
    entry_id: int, day: date, row: int, source: int, target: int, amount: int
) -> dict[str, Any]:
    return {
        "entry_id": entry_id,
        "day": day,
        "item_id": row,
        "lot_id": row,
        "from_place_id": source,
        "to_place_id": target,
        "amount": amount,
    }


def main() -> None:
    """Build, take, print."""
    items = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    weeks = int(sys.argv[2]) if len(sys.argv) > 2 else 156
    with tempfile.TemporaryDirectory() as folder:
        book = a_large_book(Path(folder) / "book.sqlite", items, weeks)
        day = START + timedelta(weeks=weeks - 2)
        take_snapshot(book, day, PlanSettings())
        began, worked = time.perf_counter(), time.process_time()
        snapshot = take_snapshot(book, day, PlanSettings())
        took, of_it = time.perf_counter() - began, time.process_time() - worked
        print(f"take_snapshot: {took:.1f} s, {of_it:.1f} s of them at work")
        print(f"{len(snapshot.order_lines)} open lines, {snapshot.history.values.shape} history")
        profile = cProfile.Profile()
        profile.runcall(take_snapshot, book, day, PlanSettings())
        pstats.Stats(profile).sort_stats("cumulative").print_stats(25)
        book.close()


if __name__ == "__main__":
    main()

"""Open jobs: all of them, however many lines were printed before."""

from __future__ import annotations

from datetime import date, timedelta

from sqlalchemy import insert

from stock.book.posting import Posting
from stock.book.tables import customer_order, order_line, print_run
from stock.clock import now_utc
from stock.shop.undoing import undo
from stock.shop.views.jobs import open_jobs
from tests.book.builders import a_row, an_item

FIRST = date(2026, 3, 2)
MANY = 2_500


def test_no_open_line_is_hidden_by_those_before_it(book):
    blank = an_item(book, "TEE", kind="blank", unit="each")
    a_row(book, customer_order, id=1, ref="A1", stage="released", placed_on=FIRST)

    def work(connection):
        connection.execute(
            insert(order_line),
            [
                {
                    "id": line,
                    "order_id": 1,
                    "line": line,
                    "blank_id": blank,
                    "quantity": 2,
                    "due_on": FIRST + timedelta(days=line),
                }
                for line in range(1, MANY + 1)
            ],
        )
        posting = Posting(connection, who="test", at=now_utc())
        entries = [posting.entry("print", FIRST) for _ in range(1, MANY)]
        for line, entry_id in enumerate(entries, 1):
            posting.add(
                print_run,
                entry_id=entry_id,
                order_line_id=line,
                good=2 if line > 1 else 1,
                misprints=0,
            )
        posting.flush()
        return entries

    entries = book.write(work)
    assert [(job.line, job.left) for job in open_jobs(book)] == [(1, 1), (MANY, 2)]
    undo(book, entries[1], on=FIRST)
    assert [(job.line, job.left) for job in open_jobs(book)] == [(1, 1), (2, 2), (MANY, 2)]

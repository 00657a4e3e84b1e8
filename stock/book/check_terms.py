"""Terms no order can be planned with: price breaks out of order, suppliers that take no order.

The tables' own constraints refuse empty packs and lead times below nothing; files are refused with
their line when they are read. What stands here came past both. Slips of a person, no damage.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from typing import Any

from sqlalchemy import Connection, select

from stock.book.finding import MOST_SHOWN, Finding
from stock.book.tables import pack, supplier
from stock.clock import parse_weekdays


def order_days(connection: Connection) -> Iterator[Finding]:
    """A supplier takes orders on some day of the week (none named: on working days)."""
    rows = connection.execute(select(supplier.c.id, supplier.c.code, supplier.c.order_days))
    wrong = (
        Finding(
            "order days",
            "supplier",
            row.id,
            f"{row.code}: {row.order_days!r}",
            "days of the week such as mon,thu",
            damage=False,
        )
        for row in rows
        if not _days(row.order_days)
    )
    yield from islice(wrong, MOST_SHOWN)


def _days(text: str) -> bool:
    try:
        return bool(parse_weekdays(text))
    except ValueError:
        return False


def price_breaks(connection: Connection) -> Iterator[Finding]:
    """Price breaks are rising numbers of packs at falling prices."""
    rows = connection.execute(select(pack.c.id, pack.c.code, pack.c.price_minor, pack.c.breaks))
    wrong = (
        Finding(
            "price breaks",
            "pack",
            row.id,
            f"{row.code}: {row.breaks}",
            "rising numbers of packs at falling prices",
            damage=False,
        )
        for row in rows
        if row.breaks and not _falling(row.price_minor, row.breaks)
    )
    yield from islice(wrong, MOST_SHOWN)


def _falling(price: int, breaks: Any) -> bool:
    packs, before = 1, price
    for step in breaks if isinstance(breaks, list) else [None]:
        if not (isinstance(step, list) and len(step) == 2):
            return False
        start, each = step
        if not all(isinstance(part, int | float) for part in step):
            return False
        if start <= packs or not 0 <= each < before:
            return False
        packs, before = start, each
    return True

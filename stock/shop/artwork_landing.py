"""Artwork that lands in a folder: kept by its name, measured, and tied to the order lines it names.

``A1043-2 wolf.png`` is the artwork of line 2 of order A1043; ``A1043 wolf.png`` is that of every
line of the order that has none yet; a name that is an artwork's code brings a new version of it.
A line that has an artwork gets another one only when its number stands in the name.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, delete, insert, select, update

from stock.book.opening import Book
from stock.book.tables import artwork, artwork_share, customer_order, item, order_line
from stock.errors import Refused
from stock.ink.mode import Garment
from stock.shop.estimating import DEFAULT_MODE, measure_artworks, modes_in

MOST_IN_A_NAME: Final = 120
_LINE: Final = re.compile(r"[ _.#-]*0*(\d{1,4})(?=$|[ _.-])")
_OPEN: Final = ("quote", "confirmed", "released")


@dataclass(frozen=True, slots=True)
class Landed:
    """An artwork as kept: new, changed or known already; the lines (order, line) it is tied to."""

    code: str
    was: str
    tied: tuple[tuple[str, int], ...]
    notes: tuple[str, ...] = ()

    def __str__(self) -> str:
        lines = ", ".join(f"{order}/{line}" for order, line in self.tied)
        return f"artwork {self.code} ({self.was})" + (f", tied to {lines}" if lines else "")


def named_in(stem: str, orders: Sequence[str]) -> tuple[str, int | None]:
    """(order, line) a file's name begins with; the longest order reference wins.

    >>> named_in("A1043-2 wolf", ["A1043", "A10"])
    ('A1043', 2)
    >>> named_in("A1043_wolf", ["A1043"]), named_in("wolf", ["A1043"])
    (('A1043', None), ('', None))
    """
    low = stem.lower()
    for order in sorted(orders, key=len, reverse=True):
        rest = low.removeprefix(order.lower())
        if order and rest != low and (not rest or not rest[0].isalnum()):
            line = _LINE.match(rest)
            return order, int(line[1]) if line else None
    return "", None


def land_artwork(book: Book, path: Path) -> Landed:
    """Keep a picture as artwork, tie it to the order lines its name says, and measure it.

    Raises:
        ArtworkUnreadable: It cannot be measured; nothing was kept.
        Refused: A name too long.
    """
    from stock.ink.measure import measure_shares, sha256_of

    stem = " ".join(path.stem.split())
    if not stem or len(stem) > MOST_IN_A_NAME or not stem.isprintable():
        raise Refused(f"{path.name}: a name of 1 to {MOST_IN_A_NAME} letters is expected.")
    digest = sha256_of(path)
    with book.reading() as connection:
        before = connection.execute(select(artwork).where(artwork.c.code == stem)).one_or_none()
        modes = modes_in(connection)
        lines, wanted_line = _lines_named(connection, stem)
    garment: Garment = "light" if lines and all(one.shade == "light" for one in lines) else "dark"
    shares = None
    if before is None or before.sha256 != digest:
        shares = measure_shares(path, garment=garment, mode=modes[DEFAULT_MODE])

    def work(connection: Connection) -> Landed:
        artwork_id, was = _keep(connection, stem, path, digest)
        if shares is not None and was != "known":
            connection.execute(
                insert(artwork_share).values(
                    artwork_id=artwork_id,
                    garment=garment,
                    mode=DEFAULT_MODE,
                    shares=shares.to_dict(),
                )
            )
        sized = shares is None or shares.dpi is not None
        tied, notes = _tie(connection, stem, artwork_id, wanted_line, sized)
        return Landed(stem, was, tied, tuple(notes))

    landed = book.write(work)
    complaints = tuple(measure_artworks(book))
    return Landed(landed.code, landed.was, landed.tied, (*landed.notes, *complaints))


def _keep(connection: Connection, code: str, path: Path, digest: str) -> tuple[int, str]:
    known = connection.execute(select(artwork).where(artwork.c.code == code)).one_or_none()
    values = {"file": str(path.resolve()), "sha256": digest}
    if known is None:
        made = connection.execute(
            insert(artwork).values(code=code, title=code, **values).returning(artwork.c.id)
        )
        return int(made.scalar_one()), "new"
    if known.sha256 == digest and known.file == values["file"]:
        return int(known.id), "known"
    connection.execute(update(artwork).where(artwork.c.id == known.id).values(**values))
    if known.sha256 == digest:
        return int(known.id), "known"
    connection.execute(delete(artwork_share).where(artwork_share.c.artwork_id == known.id))
    return int(known.id), "changed"


def _lines_named(connection: Connection, stem: str) -> tuple[list[Any], int | None]:
    """The open order lines a name speaks of, and the line number in it."""
    orders = connection.scalars(
        select(customer_order.c.ref).where(customer_order.c.stage.in_(_OPEN))
    ).all()
    order, number = named_in(stem, orders)
    if not order:
        return [], None
    rows: list[Any] = list(
        connection.execute(
            select(
                order_line.c.id,
                order_line.c.line,
                order_line.c.artwork_id,
                order_line.c.width_cm,
                order_line.c.height_cm,
                customer_order.c.ref,
                item.c.shade,
                artwork.c.code.label("artwork"),
            )
            .join(customer_order, customer_order.c.id == order_line.c.order_id)
            .join(item, item.c.id == order_line.c.blank_id)
            .outerjoin(artwork, artwork.c.id == order_line.c.artwork_id)
            .where(customer_order.c.ref == order)
            .order_by(order_line.c.line)
        )
    )
    if number is not None and any(row.line == number for row in rows):
        return [row for row in rows if row.line == number], number
    return [row for row in rows if row.artwork in (None, stem)], None


def _tie(
    connection: Connection, stem: str, artwork_id: int, number: int | None, sized: bool
) -> tuple[tuple[tuple[str, int], ...], list[str]]:
    """Tie the lines; a line without a size is left when the file states no resolution."""
    lines, _ = _lines_named(connection, stem)
    tied: list[tuple[str, int]] = []
    notes: list[str] = []
    for row in lines:
        if row.artwork_id == artwork_id:
            tied.append((row.ref, row.line))
            continue
        if not sized and row.width_cm is None and row.height_cm is None:
            notes.append(
                f"{row.ref}/{row.line} has no printed size and the file states no resolution: "
                "give the line a width, then tie the artwork by an orders file."
            )
            continue
        if row.artwork_id is not None:
            notes.append(f"{row.ref}/{row.line} had the artwork {row.artwork} before.")
        connection.execute(
            update(order_line).where(order_line.c.id == row.id).values(artwork_id=artwork_id)
        )
        tied.append((row.ref, row.line))
    if not lines and number is None:
        notes.append("No open order line is named by it, or all have their artwork.")
    return tuple(tied), notes

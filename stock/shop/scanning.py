"""Scans from a hand scanner into deliveries; what is doubtful is asked about, not booked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from sqlalchemy import Connection, insert, select

from stock.book.opening import Book
from stock.book.tables import barcode, item, pack
from stock.errors import BarcodeUnreadable, Refused
from stock.exchange.barcodes import ScannedCode, join_scans, parse_code
from stock.shop.finding import find
from stock.shop.receive import Delivery
from stock.shop.settings import load_settings


def read_scans(texts: Sequence[str], on: date) -> tuple[ScannedCode, ...]:
    """Scans as codes; two codes of one box (GTIN on one, lot on the other) become one."""
    return join_scans([read_code(text, on) for text in texts], on=on)


def read_code(text: str, on: date) -> ScannedCode:
    """One scan as a code, by what this station's scanner types for FNC1."""
    return parse_code(text, on=on, separator=load_settings()["scanner.separator"])


def deliveries_of(
    texts: Sequence[str],
    on: date,
    *,
    packs: int | None,
    sku: str = "",
    lot: str = "",
    expires: date | None = None,
    common: Mapping[str, Any] | None = None,
) -> list[Delivery]:
    """What these scans deliver: each scanned box is one pack unless the code or ``packs`` says.

    Raises:
        BarcodeUnreadable: A code that is no code.
        Refused: A suspect code: it may have swallowed the next field.
    """
    codes = read_scans(texts, on)
    if not codes:
        raise Refused("No code was scanned.")
    made: list[Delivery] = []
    for code in codes:
        if code.suspect:
            doubts = "; ".join(code.warnings)
            raise Refused(f"A doubtful code: {doubts}. Nothing was booked: scan again or type it.")
        named = sku or (code.own.code if code.own and code.own.kind == "item" else "")
        if code.gtin is None and not named:
            raise BarcodeUnreadable(code.text, "it names no item (no GTIN, no item code of ours).")
        delivery = Delivery(
            sku=named,
            gtin=code.gtin or "",
            packs=packs if packs is not None else code.count or 1,
            lot=lot or code.lot or "",
            expires=expires or code.use_by,
            produced=code.produced,
            **(common or {"on": on}),
        )
        same = next(
            (n for n, d in enumerate(made) if replace(d, packs=delivery.packs) == delivery), None
        )
        if same is None or packs is not None:
            made.append(delivery)
        else:
            made[same] = replace(made[same], packs=(made[same].packs or 0) + (delivery.packs or 0))
    return made


def tie_barcode(book: Book, gtin: str, sku: str, pack_code: str = "") -> str:
    """Tie an unknown GTIN to a pack of an item, once; returns the pack's code.

    Raises:
        Unknown: No such item.
        Refused: The GTIN is tied already, or the item has no pack or several.
    """
    wanted = gtin.zfill(14)

    def work(connection: Connection) -> str:
        the_item = find(connection, item, item.c.sku, sku, "item")
        before = connection.execute(
            select(item.c.sku)
            .join(pack, pack.c.item_id == item.c.id)
            .join(barcode, barcode.c.pack_id == pack.c.id)
            .where(barcode.c.gtin == wanted)
        ).one_or_none()
        if before is not None:
            raise Refused(f"Barcode {gtin} is tied to {before.sku} already.")
        packs = connection.execute(
            select(pack).where(pack.c.item_id == the_item.id).order_by(pack.c.preferred.desc())
        ).all()
        if pack_code:
            packs = [row for row in packs if row.code == pack_code]
        if not packs:
            raise Refused(f"{sku} has no pack {pack_code}".rstrip() + "; import its packs first.")
        if len(packs) > 1 and not packs[0].preferred:
            raise Refused(
                f"{sku} comes in several packs ({', '.join(row.code for row in packs)}); say which."
            )
        connection.execute(insert(barcode).values(gtin=wanted, pack_id=packs[0].id))
        return str(packs[0].code)

    return book.write(work)

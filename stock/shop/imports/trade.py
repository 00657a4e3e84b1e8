"""Importers of orders from customers and purchases from suppliers."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select

from stock.book.tables import (
    customer_order,
    order_line,
    pack,
    print_mode,
    purchase_line,
    purchase_order,
)
from stock.clock import now_utc
from stock.shop.imports import Import
from stock.shop.imports.catalogue import minor
from stock.shop.imports.upsert import Upsert
from stock.shop.lookup import Lookup

ORDER_COLUMNS = (
    "stage",
    "placed_on",
    "outcome_on",
    "customer",
    "customer_kind",
    "win_probability",
    "one_off",
)


def take_orders(job: Import) -> None:
    """Orders and quotes, one row a line; a later file moves an order's stage on."""
    orders = Upsert(job, customer_order, "ref")
    lines = Upsert(job, order_line, "order_id", "line")
    modes = set(job.connection.scalars(select(print_mode.c.code))) | {"standard"}
    heads: dict[str, tuple[int, dict[str, Any], int, str]] = {}
    for row in job.rows:
        ids = _order_ids(job, row)
        if row["mode"] and row["mode"] not in modes:
            job.rows.fault(row, "mode", row["mode"], f"a print mode ({', '.join(sorted(modes))})")
            ids = None
        head = {name: row[name] if row[name] is not None else "" for name in ORDER_COLUMNS}
        head["outcome_on"], head["win_probability"] = row["outcome_on"], row["win_probability"]
        known = heads.get(row["order"])
        if known is not None and known[1] != head:
            differs = next(name for name in ORDER_COLUMNS if known[1][name] != head[name])
            job.rows.fault(
                row,
                differs,
                head[differs],
                f"{known[1][differs]}, as line {known[0]} says of {row['order']}",
            )
            continue
        if ids is None:
            continue
        if known is None:
            order_id, was = _put_order(orders, row.line, row["order"], head)
            heads[row["order"]] = (row.line, head, order_id, was)
        else:
            order_id, was = known[2], known[3]
        blank_id, artwork_id, printer_id = ids
        before = lines.there.get((order_id, row["line"]))
        if artwork_id is None and before is not None:
            # A shop system that knows no artworks must not untie what was tied by name.
            artwork_id = before["artwork_id"]
        line_was = lines.row(
            row.line,
            {
                "order_id": order_id,
                "line": row["line"],
                "blank_id": blank_id,
                "quantity": row["quantity"],
                "due_on": row["due_on"],
                "artwork_id": artwork_id,
                "mode": row["mode"] or "",
                "printer_id": printer_id,
                "location": row["location"] or "",
                "width_cm": row["width_cm"],
                "height_cm": row["height_cm"],
                "scheduled_on": row["scheduled_on"],
                "owner": row["owner"] or "",
            },
        )[1]
        job.count("changed" if line_was == "known" and was == "changed" else line_was)
    orders.flush()
    lines.flush()


def _order_ids(job: Import, row: Any) -> tuple[int, int | None, int | None] | None:
    """(blank, artwork, printer) ids of a row, None when one is unknown (the fault is kept)."""
    if not job.names.known(row):
        return None
    lookup = job.names.lookup
    blank = lookup.item(row["blank"])
    if blank.kind != "blank":
        job.rows.fault(row, "blank", row["blank"], f"a blank; it is {blank.kind}")
        return None
    return (
        blank.id,
        lookup.artwork(row["artwork"]).id if row["artwork"] else None,
        lookup.printer(row["printer"]).id if row["printer"] else None,
    )


def _put_order(orders: Upsert, line: int, ref: str, head: dict[str, Any]) -> tuple[int, str]:
    before = orders.there.get((ref,))
    values = {"ref": ref, **head}
    values["was_quote"] = head["stage"] == "quote" or head["win_probability"] is not None
    if before is not None:
        values["was_quote"] = values["was_quote"] or before["was_quote"]
        if before["stage"] == "printed" and head["stage"] in ("confirmed", "released"):
            values["stage"] = "printed"
        if values["outcome_on"] is None:
            values["outcome_on"] = before["outcome_on"]
        if values["stage"] == "cancelled" and before["stage"] != "cancelled":
            values["outcome_on"] = values["outcome_on"] or orders.job.on
    return orders.row(line, values)


def take_purchases(job: Import) -> None:
    """Purchase orders, one row a line. Stock comes by deliveries, never by this file."""
    lookup = job.names.lookup
    orders = Upsert(job, purchase_order, "ref")
    lines = Upsert(job, purchase_line, "purchase_id", "pack_id")
    by_code = {(row.supplier_id, row.code): row for row in job.connection.execute(select(pack))}
    heads: dict[str, tuple[int, int, int, str]] = {}
    for row in job.rows:
        if not job.names.known(row):
            continue
        the_supplier = lookup.supplier(row["supplier"])
        chosen = _pack_of(job, lookup, by_code, row, the_supplier.id)
        if chosen is None:
            continue
        known = heads.get(row["purchase"])
        if known is not None and known[2] != the_supplier.id:
            job.rows.fault(row, "supplier", row["supplier"], f"the supplier line {known[0]} names")
            continue
        if known is None:
            purchase_id, was = _put_purchase(orders, row, the_supplier.id, job)
            heads[row["purchase"]] = (row.line, purchase_id, the_supplier.id, was)
        else:
            purchase_id, was = known[1], known[3]
        values = {
            "purchase_id": purchase_id,
            "pack_id": chosen.id,
            "packs": row["packs"],
            "price_minor": chosen.price_minor if row["price"] is None else minor(row["price"]),
            "promised_on": row["promised_on"],
            "stated_received_on": row["received_on"],
            "stated_received_packs": row["received_packs"],
        }
        line_was = lines.row(row.line, values)[1]
        job.count("changed" if line_was == "known" and was == "changed" else line_was)
    orders.flush()
    lines.flush()


def _pack_of(
    job: Import, lookup: Lookup, by_code: dict[tuple[int, str], Any], row: Any, supplier_id: int
) -> Any | None:
    if row["code"]:
        chosen = by_code.get((supplier_id, row["code"]))
        if chosen is None:
            job.rows.fault(row, "code", row["code"], f"a pack that {row['supplier']} sells")
        return chosen
    the_item = lookup.item(row["sku"])
    offered = [found for found in lookup.packs(the_item.id) if found.supplier_id == supplier_id]
    if not offered:
        job.rows.fault(row, "sku", row["sku"], f"an item that {row['supplier']} sells")
        return None
    return offered[0]


def _put_purchase(orders: Upsert, row: Any, supplier_id: int, job: Import) -> tuple[int, str]:
    before = orders.there.get((row["purchase"],))
    state = row["state"]
    values: dict[str, Any] = {
        "ref": row["purchase"],
        "supplier_id": supplier_id,
        "state": state,
        "created_on": row["ordered_on"],
        "sent_on": None if state == "draft" else row["ordered_on"],
        "promised_on": row["promised_on"],
        "closed_on": row["received_on"] if state == "closed" else None,
    }
    if before is None:
        return orders.row(row.line, {**values, "at": now_utc(), "who": job.who})
    if before["state"] in ("part received", "closed") and state in ("draft", "sent"):
        values["state"], values["closed_on"] = before["state"], before["closed_on"]
    return orders.row(row.line, values)

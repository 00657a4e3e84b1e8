"""Columns of the files that say what happened: orders, deliveries, prints, counts, and so on.

Data only. Units stand in each column's help; money is in the book's currency.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from stock.exchange.catalogue_files import CHANNELS
from stock.exchange.column import Column, FileKind

STAGES: Final = ("quote", "confirmed", "released", "printed", "cancelled")
PURCHASE_STATES: Final = ("draft", "sent", "part received", "closed", "cancelled")

Finding = tuple[str, str, str]


def _in_order(earlier: str, later: str, row: Mapping[str, Any]) -> Finding | None:
    if row[earlier] is not None and row[later] is not None and row[later] < row[earlier]:
        return later, str(row[later]), f"a day not before {earlier} ({row[earlier]})"
    return None


def _outcome_after_placing(row: Mapping[str, Any]) -> Finding | None:
    return _in_order("placed_on", "outcome_on", row)


def _received_after_ordering(row: Mapping[str, Any]) -> Finding | None:
    return _in_order("ordered_on", "received_on", row)


def _promised_after_ordering(row: Mapping[str, Any]) -> Finding | None:
    return _in_order("ordered_on", "promised_on", row)


def _size_goes_with_artwork(row: Mapping[str, Any]) -> Finding | None:
    sized = row["width_cm"] is not None or row["height_cm"] is not None
    if row["artwork"] is not None and not sized:
        return "width_cm", "nothing", "the print's width (or height), since an artwork is named"
    return None


def _something_printed(row: Mapping[str, Any]) -> Finding | None:
    if not row["good"] and not row["misprints"]:
        return "good", "0", "at least one good piece or misprint"
    return None


def _one_way_to_name_it(row: Mapping[str, Any]) -> Finding | None:
    if row["slot"] is not None and row["container"] is not None:
        return "container", row["container"], "nothing, since the slot is given"
    return None


def _packs_or_amount(row: Mapping[str, Any]) -> Finding | None:
    if row["packs"] is not None and row["amount"] is not None:
        return "amount", f"{row['amount'].held / 1000:g}", "nothing, since packs are given"
    return None


def _code_agrees(row: Mapping[str, Any]) -> Finding | None:
    """What a scanned code says and what its row says must be the same."""
    code = row["code"]
    if code is None:
        return None
    for name, said in (("lot", code.lot), ("expires", code.use_by)):
        if said is not None and row[name] is not None and row[name] != said:
            return name, str(row[name]), f"{said}, as the scanned code says"
    if row["sku"] is None and code.gtin is None:
        return "code", code.text, "a code with a GTIN, or the item in column sku"
    return None


def _fill_from_code(row: dict[str, Any]) -> None:
    """Lot and expiry that only the scanned code gives."""
    code = row["code"]
    if code is not None:
        row["lot"] = row["lot"] or code.lot
        row["expires"] = row["expires"] or code.use_by


ORDERS: Final = FileKind(
    "orders",
    "one line of one customer order or quote",
    (
        Column("order", "code", "order reference", True, "A-1001"),
        Column("line", "whole", "line number", True, "1", least=1),
        Column("placed_on", "date", "day it came in", True, "2026-03-02"),
        Column("due_on", "date", "day it must be printed", True, "2026-03-13"),
        Column(
            "stage",
            "choice",
            "quote, confirmed, released, printed or cancelled",
            example="confirmed",
            default="confirmed",
            choices=STAGES,
        ),
        Column("customer", "code", "customer reference; no names", example="C-207"),
        Column("customer_kind", "text", "such as club, firm, web", example="club", longest=40),
        Column("win_probability", "share", "chance that a quote becomes an order"),
        Column("blank", "code", "item code of the blank", True, "TEE-BLK-L", ("sku",)),
        Column("quantity", "whole", "pieces", True, "24", ("pieces",), least=1, most=10**6),
        Column("artwork", "code", "artwork code", example="BEAR-FRONT", longest=120),
        Column("mode", "code", "print mode", example="standard"),
        Column("location", "code", "where on the garment", example="front", longest=40),
        Column("width_cm", "length_cm", "print width, cm", example="30", above=0, most=150),
        Column("height_cm", "length_cm", "print height, cm", above=0, most=150),
        Column("printer", "code", "printer planned"),
        Column("scheduled_on", "date", "day planned for printing"),
        Column("outcome_on", "date", "day printed, cancelled or lost"),
        Column("owner", "code", "customer who brings the garment"),
        Column("one_off", "yes_no", "not to be expected again", default=False),
    ),
    checks=(_outcome_after_placing, _size_goes_with_artwork),
)

DELIVERIES: Final = FileKind(
    "deliveries",
    "one lot of one item received",
    (
        Column("delivery", "code", "delivery note number", True, "D-5512"),
        Column("sku", "code", "item code", example="INK-W", aliases=("item",)),
        Column("code", "scan", "GTIN or scanned GS1 code", longest=200),
        Column("packs", "whole", "packs received", example="2", least=1, most=10**6),
        Column("amount", "amount", "or the amount received", above=0),
        Column("lot", "code", "supplier's lot", example="L2403A"),
        Column("expires", "date", "last day of use, sealed", example="2027-03-01"),
        Column("received_on", "date", "day received", True, "2026-03-04", past=True),
        Column("supplier", "code", "supplier code", example="NORTH"),
        Column("purchase", "code", "purchase order", example="P-88"),
        Column("cost", "money", "cost of this line", example="378.00", least=0),
        Column("certificate", "text", "certificate reference", longest=200),
        Column("certificate_expires", "date", "day until which the certificate holds"),
        Column("data_sheet", "text", "safety data sheet reference", longest=200),
        Column("owner", "code", "customer who owns it; empty: the shop"),
        Column("place", "code", "shelf it goes to", example="SHELF"),
    ),
    one_of=(("sku", "code"), ("packs", "amount")),
    checks=(_packs_or_amount, _code_agrees),
    fills=(_fill_from_code,),
    more_examples=(
        {
            "delivery": "D-5513",
            "sku": "TEE-BLK-L",
            "packs": "48",
            "lot": "T-118",
            "received_on": "2026-03-06",
            "supplier": "NORTH",
        },
    ),
)

PRINTS: Final = FileKind(
    "prints",
    "one run of one order line on the press",
    (
        Column("order", "code", "order reference", True, "A-1001"),
        Column("line", "whole", "order line", True, "1", least=1),
        Column("printed_on", "date", "day printed", True, "2026-03-11", past=True),
        Column("good", "whole", "good pieces", True, "23", least=0, most=10**6),
        Column("misprints", "whole", "spoiled pieces", example="1", default=0, least=0, most=10**6),
        Column("printer", "code", "printer used", example="DTG-1"),
        Column("ref", "code", "own reference of the run", example="R-4711"),
        Column("location", "code", "where on the garment", example="front", longest=40),
    ),
    checks=(_something_printed,),
)

COUNTS: Final = FileKind(
    "counts",
    "one lot counted at one place",
    (
        Column("place", "code", "shelf or slot counted", True, "SHELF"),
        Column("sku", "code", "item code", True, "TEE-BLK-L", ("item",)),
        Column("lot", "code", "lot counted", example="T-118"),
        Column("container", "code", "opened container counted"),
        Column("counted", "amount", "what is there", True, "23", least=0),
        Column("counted_on", "date", "day counted", example="2026-03-31", past=True),
        Column("ref", "code", "count sheet and line", example="S-12/7"),
        Column("reason", "text", "why it differs", example="month end", longest=200),
        Column("owner", "code", "customer whose garments were counted"),
    ),
)

WEIGHINGS: Final = FileKind(
    "weighings",
    "one container on the scale",
    (
        Column("slot", "code", "slot whose container was weighed", example="DTG-1-W1"),
        Column("container", "code", "or the container"),
        Column("grams", "decimal", "gross weight, g", True, "512.5", above=0, most=10**6),
        Column("weighed_on", "date", "day weighed", True, "2026-03-31", past=True),
        Column("ref", "code", "own reference", example="W-31"),
    ),
    one_of=(("slot", "container"),),
    checks=(_one_way_to_name_it,),
)

JOBINK: Final = FileKind(
    "jobink",
    "ink of one job as the printer's own log says",
    (
        Column("job", "code", "job in the printer's log", True, "J-20260311-004"),
        Column("printed_on", "date", "day printed", True, "2026-03-11", past=True),
        Column("printer", "code", "printer", True, "DTG-1"),
        Column("order", "code", "order reference", example="A-1001"),
        Column("line", "whole", "order line", example="1", least=1),
        Column("pieces", "whole", "pieces printed", True, "24", least=1, most=10**6),
        *(
            Column(
                channel,
                "decimal",
                f"{channel} used by the whole job, mL",
                example="118.4" if channel == "W" else "9.6",
                aliases=(f"{channel}_ml",),
                least=0,
                most=10**6,
            )
            for channel in CHANNELS
        ),
    ),
    one_of=(CHANNELS,),
)

PURCHASES: Final = FileKind(
    "purchases",
    "one line of one purchase order",
    (
        Column("purchase", "code", "purchase order", True, "P-88"),
        Column("supplier", "code", "supplier code", True, "NORTH"),
        Column("ordered_on", "date", "day ordered", True, "2026-02-23"),
        Column("code", "code", "supplier's order code", example="W-1800"),
        Column("sku", "code", "or the item code", aliases=("item",)),
        Column("packs", "whole", "packs ordered", True, "2", least=1, most=10**6),
        Column("price", "money", "price of a pack", example="189.00", least=0),
        Column("promised_on", "date", "day promised", example="2026-03-03"),
        Column(
            "state",
            "choice",
            "draft, sent, part received, closed or cancelled",
            example="sent",
            default="sent",
            choices=PURCHASE_STATES,
        ),
        Column("received_on", "date", "day received"),
        Column("received_packs", "whole", "packs received", least=0, most=10**6),
    ),
    one_of=(("code", "sku"),),
    checks=(_received_after_ordering, _promised_after_ordering),
)

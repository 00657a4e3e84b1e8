"""Tables of what happened: lots, containers, entries, movements, balances, print runs, readings.

``entry`` and ``movement`` (and the rows hung on them) are append-only: triggers refuse UPDATE and
DELETE on both databases. ``balance`` and the state columns of ``container`` are projections kept
in the transaction that appends, and ``stock check`` recomputes them.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Float,
    Index,
    Integer,
    String,
    Table,
    UniqueConstraint,
)

from stock.book.schema import Moment, identity, metadata, refers

CONTAINER_STATES = ("sealed", "loaded", "opened", "empty", "quarantined")

lot = Table(
    "lot",
    metadata,
    identity(),
    refers("item_id", "item", index=True),
    Column("code", String(60), nullable=False),
    Column("owner", String(60), nullable=False, default=""),
    Column("sealed_expiry", Date),
    Column("produced_on", Date),
    Column("received_on", Date, nullable=False),
    refers("supplier_id", "supplier", nullable=True),
    Column("certificate", String(200), nullable=False, default=""),
    Column("certificate_expiry", Date),
    Column("data_sheet", String(200), nullable=False, default=""),
    UniqueConstraint("item_id", "code", "owner"),
)

lot_parent = Table(
    "lot_parent",
    metadata,
    identity(),
    refers("lot_id", "lot", index=True),
    refers("parent_id", "lot", index=True),
    refers("entry_id", "entry"),
    Column("amount", BigInteger, nullable=False),
    CheckConstraint("amount > 0", name="amount_positive"),
)

container = Table(
    "container",
    metadata,
    identity(),
    Column("code", String(60), nullable=False, unique=True),
    refers("item_id", "item"),
    refers("lot_id", "lot", index=True),
    refers("pack_id", "pack", nullable=True),
    Column("capacity", BigInteger, nullable=False),
    Column("unusable_rest", BigInteger, nullable=False, default=0),
    Column("tare_mg", BigInteger),
    Column("state", String(12), nullable=False),
    Column("opened_on", Date),
    Column("effective_expiry", Date),
    refers("place_id", "place", nullable=True, index=True),
    CheckConstraint(f"state IN {CONTAINER_STATES}", name="state_known"),
)

entry = Table(
    "entry",
    metadata,
    identity(),
    Column("kind", String(20), nullable=False),
    Column("day", Date, nullable=False, index=True),
    Column("at", Moment, nullable=False),
    Column("who", String(60), nullable=False, default=""),
    Column("note", String(500), nullable=False, default=""),
    Column("source_ref", String(200), unique=True),
    refers("reverses", "entry", nullable=True, unique=True),
)

movement = Table(
    "movement",
    metadata,
    identity(),
    refers("entry_id", "entry", index=True),
    Column("day", Date, nullable=False),
    refers("item_id", "item"),
    refers("lot_id", "lot", index=True),
    refers("from_place_id", "place"),
    refers("from_container_id", "container", nullable=True),
    refers("to_place_id", "place"),
    refers("to_container_id", "container", nullable=True),
    Column("amount", BigInteger, nullable=False),
    CheckConstraint("amount > 0", name="amount_positive"),
    CheckConstraint(
        "from_place_id <> to_place_id "
        "OR COALESCE(from_container_id, 0) <> COALESCE(to_container_id, 0)",
        name="goes_somewhere",
    ),
    Index("ix_movement_item_id_day", "item_id", "day"),
)

balance = Table(
    "balance",
    metadata,
    identity(),
    refers("place_id", "place"),
    refers("item_id", "item", index=True),
    refers("lot_id", "lot", index=True),
    refers("container_id", "container", nullable=True),
    Column("amount", BigInteger, nullable=False),
    CheckConstraint("amount >= 0", name="not_negative"),
)
container_event = Table(
    "container_event",
    metadata,
    identity(),
    refers("entry_id", "entry", index=True),
    refers("container_id", "container", index=True),
    Column("state", String(12), nullable=False),
    Column("opened_on", Date),
    Column("effective_expiry", Date),
    refers("place_id", "place", nullable=True, index=True),
    CheckConstraint(f"state IN {CONTAINER_STATES}", name="state_known"),
)

receipt = Table(
    "receipt",
    metadata,
    identity(),
    refers("entry_id", "entry", index=True),
    refers("lot_id", "lot", index=True),
    refers("pack_id", "pack", nullable=True),
    refers("purchase_line_id", "purchase_line", nullable=True, index=True),
    Column("packs", Integer, nullable=False, default=0),
    Column("amount", BigInteger, nullable=False),
    Column("cost_minor", BigInteger),
    CheckConstraint("amount > 0", name="amount_positive"),
)

print_run = Table(
    "print_run",
    metadata,
    identity(),
    refers("entry_id", "entry", unique=True),
    refers("order_line_id", "order_line", nullable=True, index=True),
    refers("printer_id", "printer", nullable=True),
    Column("mode", String(60), nullable=False, default=""),
    Column("location", String(40), nullable=False, default=""),
    Column("good", Integer, nullable=False),
    Column("misprints", Integer, nullable=False, default=0),
    Column("calibrated", Boolean, nullable=False, default=False),
    *(Column(f"{channel}_cm2", Float, nullable=False, default=0.0) for channel in "cmykw"),
    CheckConstraint("good >= 0 AND misprints >= 0", name="pieces_not_negative"),
)

overrun = Table(
    "overrun",
    metadata,
    identity(),
    refers("entry_id", "entry", index=True),
    refers("item_id", "item"),
    refers("place_id", "place"),
    Column("asked", BigInteger, nullable=False),
    Column("taken", BigInteger, nullable=False),
)

reading = Table(
    "reading",
    metadata,
    identity(),
    refers("entry_id", "entry", index=True),
    Column("kind", String(12), nullable=False),
    Column("day", Date, nullable=False),
    refers("printer_id", "printer", nullable=True),
    refers("place_id", "place", nullable=True, index=True),
    refers("container_id", "container", nullable=True),
    refers("item_id", "item", nullable=True),
    Column("channel", String(4), nullable=False, default=""),
    Column("grams", Float),
    Column("level", BigInteger),
    Column("book_level", BigInteger),
    Column("used_ml", Float),
    Column("counter", Float),
    Column("pieces", Float),
    Column("job", String(120), nullable=False, default=""),
)

APPEND_ONLY = (
    "entry",
    "movement",
    "container_event",
    "receipt",
    "print_run",
    "overrun",
    "reading",
    "lot_parent",
)
"""Tables on which triggers refuse UPDATE and DELETE."""

"""Tables of orders from customers, purchases from suppliers, and forecasts as they were given.

Customers appear by reference only: no name, no address.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Float,
    Integer,
    String,
    Table,
    UniqueConstraint,
)

from stock.book.schema import Moment, identity, metadata, refers

STAGES = ("quote", "confirmed", "released", "printed", "cancelled")
PURCHASE_STATES = ("draft", "sent", "part received", "closed", "cancelled")

customer_order = Table(
    "customer_order",
    metadata,
    identity(),
    Column("ref", String(60), nullable=False, unique=True),
    Column("stage", String(12), nullable=False, index=True),
    Column("placed_on", Date, nullable=False),
    Column("was_quote", Boolean, nullable=False, default=False),
    Column("outcome_on", Date),
    Column("customer", String(60), nullable=False, default=""),
    Column("customer_kind", String(40), nullable=False, default=""),
    Column("win_probability", Float),
    Column("one_off", Boolean, nullable=False, default=False),
    CheckConstraint(f"stage IN {STAGES}", name="stage_known"),
)

order_line = Table(
    "order_line",
    metadata,
    identity(),
    refers("order_id", "customer_order", index=True),
    Column("line", Integer, nullable=False),
    refers("blank_id", "item", index=True),
    Column("quantity", Integer, nullable=False),
    Column("due_on", Date, nullable=False, index=True),
    refers("artwork_id", "artwork", nullable=True),
    Column("mode", String(60), nullable=False, default=""),
    refers("printer_id", "printer", nullable=True),
    Column("location", String(40), nullable=False, default=""),
    Column("width_cm", Float),
    Column("height_cm", Float),
    Column("scheduled_on", Date),
    Column("owner", String(60), nullable=False, default=""),
    UniqueConstraint("order_id", "line"),
    CheckConstraint("quantity > 0", name="quantity_positive"),
)

purchase_order = Table(
    "purchase_order",
    metadata,
    identity(),
    Column("ref", String(60), nullable=False, unique=True),
    refers("supplier_id", "supplier", index=True),
    Column("state", String(14), nullable=False),
    Column("created_on", Date, nullable=False),
    Column("sent_on", Date),
    Column("promised_on", Date),
    Column("closed_on", Date),
    Column("at", Moment, nullable=False),
    Column("who", String(60), nullable=False, default=""),
    CheckConstraint(f"state IN {PURCHASE_STATES}", name="state_known"),
)

purchase_line = Table(
    "purchase_line",
    metadata,
    identity(),
    refers("purchase_id", "purchase_order", index=True),
    refers("pack_id", "pack", index=True),
    Column("packs", Integer, nullable=False),
    Column("price_minor", BigInteger, nullable=False, default=0),
    Column("promised_on", Date),
    Column("cancelled_packs", Integer, nullable=False, default=0),
    Column("stated_received_on", Date),
    Column("stated_received_packs", Integer),
    Column("why", JSON, nullable=False, default=list),
    UniqueConstraint("purchase_id", "pack_id"),
    CheckConstraint("packs > 0", name="packs_positive"),
    CheckConstraint(
        "cancelled_packs >= 0 AND cancelled_packs <= packs", name="cancelled_within_packs"
    ),
)

forecast_log = Table(
    "forecast_log",
    metadata,
    identity(),
    Column("made_on", Date, nullable=False, index=True),
    refers("item_id", "item", index=True),
    Column("horizon_weeks", Integer, nullable=False),
    Column("model", String(60), nullable=False, default=""),
    Column("quantiles", JSON, nullable=False),
    UniqueConstraint("made_on", "item_id", "horizon_weeks"),
)

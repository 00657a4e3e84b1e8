"""Tables of what the shop knows: suppliers, items, packs, places, printers, modes, artworks.

These rows may change; what happened (see ``record``) may not. ``item.mix_ratio`` is parts of water
to one part of concentrate; ``place.unusable_rest`` holds where the pack states none. Where an item
has no service, kind of service or waste risk of its own, the shop's settings hold.
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

from stock.book.schema import identity, metadata, refers

supplier = Table(
    "supplier",
    metadata,
    identity(),
    Column("code", String(60), nullable=False, unique=True),
    Column("name", String(200), nullable=False, default=""),
    Column("email", String(200), nullable=False, default=""),
    Column("lead_days", Float, nullable=False, default=5.0),
    Column("lead_sd_days", Float, nullable=False, default=0.0),
    Column("order_days", String(60), nullable=False, default=""),
    Column("cut_off_hour", Integer),
    Column("country", String(2), nullable=False, default=""),
    Column("closed", JSON, nullable=False, default=list),
    Column("order_cost_minor", BigInteger, nullable=False, default=0),
    Column("line_cost_minor", BigInteger, nullable=False, default=0),
    Column("minimum_minor", BigInteger, nullable=False, default=0),
    Column("freight_minor", BigInteger, nullable=False, default=0),
    Column("free_freight_minor", BigInteger, nullable=False, default=0),
    Column("currency", String(3), nullable=False, default=""),
    CheckConstraint("lead_days >= 0", name="lead_not_negative"),
)

item = Table(
    "item",
    metadata,
    identity(),
    Column("sku", String(60), nullable=False, unique=True),
    Column("kind", String(12), nullable=False),
    Column("name", String(200), nullable=False, default=""),
    Column("unit", String(4), nullable=False),
    Column("channel", String(4), nullable=False, default=""),
    Column("style", String(60), nullable=False, default=""),
    Column("colour", String(60), nullable=False, default=""),
    Column("size", String(20), nullable=False, default=""),
    Column("shade", String(5), nullable=False, default=""),
    Column("density_g_per_ml", Float),
    Column("open_life_days", Integer),
    Column("shelf_life_days", Integer),
    Column("service", Float),
    Column("service_kind", String(5)),
    Column("shortage_cost_minor", Float, nullable=False, default=0.0),
    Column("waste_risk", Float),
    Column("every_prints", Float),
    Column("every_days", Float),
    Column("amount_per_service", Float, nullable=False, default=1.0),
    Column("pretreat_mg_per_cm2", Float),
    Column("pretreat_mg_per_cm2_sd", Float),
    Column("replaces", String(60), nullable=False, default=""),
    Column("reorder", Boolean, nullable=False, default=True),
    Column("mixed_from", String(60), nullable=False, default=""),
    Column("mix_ratio", Float),
    Column("mix_life_days", Integer),
    CheckConstraint("kind IN ('ink', 'pretreat', 'blank', 'supply')", name="kind_known"),
    CheckConstraint("unit IN ('mL', 'g', 'each')", name="unit_known"),
    CheckConstraint("service > 0 AND service < 1", name="service_is_a_share"),
)

pack = Table(
    "pack",
    metadata,
    identity(),
    refers("item_id", "item", index=True),
    refers("supplier_id", "supplier", index=True),
    Column("code", String(60), nullable=False),
    Column("amount", BigInteger, nullable=False),
    Column("price_minor", BigInteger, nullable=False),
    Column("multiple", Integer, nullable=False, default=1),
    Column("min_packs", Integer, nullable=False, default=1),
    Column("breaks_kind", String(12), nullable=False, default="all_units"),
    Column("breaks", JSON, nullable=False, default=list),
    Column("shelf_life_days", Integer),
    Column("preferred", Boolean, nullable=False, default=False),
    Column("unusable_rest", BigInteger, nullable=False, default=0),
    Column("tare_mg", BigInteger),
    UniqueConstraint("supplier_id", "code"),
    CheckConstraint("amount > 0", name="amount_positive"),
    CheckConstraint("price_minor >= 0", name="price_not_negative"),
    CheckConstraint("multiple > 0 AND min_packs > 0", name="packs_positive"),
)

barcode = Table(
    "barcode",
    metadata,
    identity(),
    Column("gtin", String(14), nullable=False, unique=True),
    refers("pack_id", "pack", index=True),
)

printer = Table(
    "printer",
    metadata,
    identity(),
    Column("code", String(60), nullable=False, unique=True),
    Column("name", String(200), nullable=False, default=""),
    Column("active", Boolean, nullable=False, default=True),
)

PLACE_KINDS = (
    "supplier",
    "shelf",
    "slot",
    "printed",
    "upkeep",
    "waste",
    "correction",
    "quarantine",
    "returned",
    "mixing",
)
HOLDING_KINDS = ("shelf", "slot", "quarantine")
FEEDS = ("", "cartridge", "tank")
"""How a slot is fed: one container at a time, or a bulk tank that blends; empty: no slot."""

place = Table(
    "place",
    metadata,
    identity(),
    Column("code", String(60), nullable=False, unique=True),
    Column("kind", String(12), nullable=False),
    refers("printer_id", "printer", nullable=True, index=True),
    Column("channel", String(4), nullable=False, default=""),
    Column("feed", String(9), nullable=False, default=""),
    refers("item_id", "item", nullable=True),
    Column("capacity", BigInteger),
    Column("unusable_rest", BigInteger, nullable=False, default=0),
    Column("min_celsius", Float),
    Column("max_celsius", Float),
    CheckConstraint(f"kind IN {PLACE_KINDS}", name="kind_known"),
    CheckConstraint(f"feed IN {FEEDS}", name="feed_known"),
)

print_mode = Table(
    "print_mode",
    metadata,
    identity(),
    Column("code", String(60), nullable=False, unique=True),
    refers("printer_id", "printer", nullable=True),
    Column("parameters", JSON, nullable=False, default=dict),
)

rate = Table(
    "rate",
    metadata,
    identity(),
    refers("printer_id", "printer", index=True),
    Column("channel", String(4), nullable=False),
    Column("mode", String(60), nullable=False, default=""),
    Column("valid_from", Date, nullable=False),
    Column("per_cm2_ul", Float),
    Column("per_cm2_ul_sd", Float),
    Column("per_print_ml", Float, nullable=False, default=0.0),
    Column("per_print_ml_sd", Float, nullable=False, default=0.0),
    Column("per_start_ml", Float, nullable=False, default=0.0),
    Column("per_start_ml_sd", Float, nullable=False, default=0.0),
    Column("per_day_ml", Float, nullable=False, default=0.0),
    Column("per_day_ml_sd", Float, nullable=False, default=0.0),
    Column("prior_share", Float, nullable=False, default=1.0),
    Column("calibrated", Boolean, nullable=False, default=False),
    UniqueConstraint("printer_id", "channel", "mode", "valid_from"),
)

artwork = Table(
    "artwork",
    metadata,
    identity(),
    Column("code", String(120), nullable=False, unique=True),
    Column("title", String(200), nullable=False, default=""),
    Column("file", String(500), nullable=False, default=""),
    Column("sha256", String(64), nullable=False, default=""),
    Column("width_px", Integer),
    Column("height_px", Integer),
)

artwork_share = Table(
    "artwork_share",
    metadata,
    identity(),
    refers("artwork_id", "artwork", index=True),
    Column("garment", String(5), nullable=False),
    Column("mode", String(60), nullable=False),
    Column("shares", JSON, nullable=False),
    UniqueConstraint("artwork_id", "garment", "mode"),
)

book_setting = Table(
    "book_setting",
    metadata,
    identity(),
    Column("key", String(60), nullable=False, unique=True),
    Column("value", String(500), nullable=False),
)

"""The first book: catalogue, record and trade, with what happened append-only."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from stock.book.append_only import protect

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


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


def upgrade() -> None:
    op.create_table(
        "artwork",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("code", sa.String(length=120), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("file", sa.String(length=500), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=True),
        sa.Column("height_px", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_artwork")),
        sa.UniqueConstraint("code", name=op.f("uq_artwork_code")),
    )
    op.create_table(
        "book_setting",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("key", sa.String(length=60), nullable=False),
        sa.Column("value", sa.String(length=500), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_book_setting")),
        sa.UniqueConstraint("key", name=op.f("uq_book_setting_key")),
    )
    op.create_table(
        "customer_order",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("ref", sa.String(length=60), nullable=False),
        sa.Column("stage", sa.String(length=12), nullable=False),
        sa.Column("placed_on", sa.Date(), nullable=False),
        sa.Column("was_quote", sa.Boolean(), nullable=False),
        sa.Column("outcome_on", sa.Date(), nullable=True),
        sa.Column("customer", sa.String(length=60), nullable=False),
        sa.Column("customer_kind", sa.String(length=40), nullable=False),
        sa.Column("win_probability", sa.Float(), nullable=True),
        sa.Column("one_off", sa.Boolean(), nullable=False),
        sa.CheckConstraint(
            "stage IN ('quote', 'confirmed', 'released', 'printed', 'cancelled')",
            name=op.f("ck_customer_order_stage_known"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customer_order")),
        sa.UniqueConstraint("ref", name=op.f("uq_customer_order_ref")),
    )
    op.create_index(op.f("ix_customer_order_stage"), "customer_order", ["stage"], unique=False)

    op.create_table(
        "entry",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.String(length=60), nullable=False),
        sa.Column("note", sa.String(length=500), nullable=False),
        sa.Column("source_ref", sa.String(length=200), nullable=True),
        sa.Column("reverses", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.ForeignKeyConstraint(["reverses"], ["entry.id"], name=op.f("fk_entry_reverses_entry")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_entry")),
        sa.UniqueConstraint("reverses", name=op.f("uq_entry_reverses")),
        sa.UniqueConstraint("source_ref", name=op.f("uq_entry_source_ref")),
    )
    op.create_index(op.f("ix_entry_day"), "entry", ["day"], unique=False)

    op.create_table(
        "item",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("sku", sa.String(length=60), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("unit", sa.String(length=4), nullable=False),
        sa.Column("channel", sa.String(length=4), nullable=False),
        sa.Column("style", sa.String(length=60), nullable=False),
        sa.Column("colour", sa.String(length=60), nullable=False),
        sa.Column("size", sa.String(length=20), nullable=False),
        sa.Column("shade", sa.String(length=5), nullable=False),
        sa.Column("density_g_per_ml", sa.Float(), nullable=True),
        sa.Column("open_life_days", sa.Integer(), nullable=True),
        sa.Column("shelf_life_days", sa.Integer(), nullable=True),
        sa.Column("service", sa.Float(), nullable=True),
        sa.Column("service_kind", sa.String(length=5), nullable=True),
        sa.Column("shortage_cost_minor", sa.Float(), nullable=False),
        sa.Column("waste_risk", sa.Float(), nullable=True),
        sa.Column("every_prints", sa.Float(), nullable=True),
        sa.Column("every_days", sa.Float(), nullable=True),
        sa.Column("amount_per_service", sa.Float(), nullable=False),
        sa.Column("pretreat_mg_per_cm2", sa.Float(), nullable=True),
        sa.Column("pretreat_mg_per_cm2_sd", sa.Float(), nullable=True),
        sa.Column("replaces", sa.String(length=60), nullable=False),
        sa.Column("reorder", sa.Boolean(), nullable=False),
        sa.Column("mixed_from", sa.String(length=60), nullable=False),
        sa.Column("mix_ratio", sa.Float(), nullable=True),
        sa.Column("mix_life_days", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "kind IN ('ink', 'pretreat', 'blank', 'supply')", name=op.f("ck_item_kind_known")
        ),
        sa.CheckConstraint("unit IN ('mL', 'g', 'each')", name=op.f("ck_item_unit_known")),
        sa.CheckConstraint("service > 0 AND service < 1", name=op.f("ck_item_service_is_a_share")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_item")),
        sa.UniqueConstraint("sku", name=op.f("uq_item_sku")),
    )
    op.create_table(
        "printer",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("code", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_printer")),
        sa.UniqueConstraint("code", name=op.f("uq_printer_code")),
    )
    op.create_table(
        "supplier",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("code", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("email", sa.String(length=200), nullable=False),
        sa.Column("lead_days", sa.Float(), nullable=False),
        sa.Column("lead_sd_days", sa.Float(), nullable=False),
        sa.Column("order_days", sa.String(length=60), nullable=False),
        sa.Column("cut_off_hour", sa.Integer(), nullable=True),
        sa.Column("country", sa.String(length=2), nullable=False),
        sa.Column("closed", sa.JSON(), nullable=False),
        sa.Column("order_cost_minor", sa.BigInteger(), nullable=False),
        sa.Column("line_cost_minor", sa.BigInteger(), nullable=False),
        sa.Column("minimum_minor", sa.BigInteger(), nullable=False),
        sa.Column("freight_minor", sa.BigInteger(), nullable=False),
        sa.Column("free_freight_minor", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.CheckConstraint("lead_days >= 0", name=op.f("ck_supplier_lead_not_negative")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supplier")),
        sa.UniqueConstraint("code", name=op.f("uq_supplier_code")),
    )
    op.create_table(
        "artwork_share",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column(
            "artwork_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("garment", sa.String(length=5), nullable=False),
        sa.Column("mode", sa.String(length=60), nullable=False),
        sa.Column("shares", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["artwork_id"], ["artwork.id"], name=op.f("fk_artwork_share_artwork_id_artwork")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_artwork_share")),
        sa.UniqueConstraint(
            "artwork_id", "garment", "mode", name=op.f("uq_artwork_share_artwork_id_garment_mode")
        ),
    )
    op.create_index(
        op.f("ix_artwork_share_artwork_id"), "artwork_share", ["artwork_id"], unique=False
    )

    op.create_table(
        "forecast_log",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("made_on", sa.Date(), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("horizon_weeks", sa.Integer(), nullable=False),
        sa.Column("model", sa.String(length=60), nullable=False),
        sa.Column("quantiles", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["item_id"], ["item.id"], name=op.f("fk_forecast_log_item_id_item")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_forecast_log")),
        sa.UniqueConstraint(
            "made_on",
            "item_id",
            "horizon_weeks",
            name=op.f("uq_forecast_log_made_on_item_id_horizon_weeks"),
        ),
    )
    op.create_index(op.f("ix_forecast_log_item_id"), "forecast_log", ["item_id"], unique=False)
    op.create_index(op.f("ix_forecast_log_made_on"), "forecast_log", ["made_on"], unique=False)

    op.create_table(
        "lot",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.String(length=60), nullable=False),
        sa.Column("owner", sa.String(length=60), nullable=False),
        sa.Column("sealed_expiry", sa.Date(), nullable=True),
        sa.Column("produced_on", sa.Date(), nullable=True),
        sa.Column("received_on", sa.Date(), nullable=False),
        sa.Column(
            "supplier_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("certificate", sa.String(length=200), nullable=False),
        sa.Column("certificate_expiry", sa.Date(), nullable=True),
        sa.Column("data_sheet", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_lot_item_id_item")),
        sa.ForeignKeyConstraint(
            ["supplier_id"], ["supplier.id"], name=op.f("fk_lot_supplier_id_supplier")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot")),
        sa.UniqueConstraint("item_id", "code", "owner", name=op.f("uq_lot_item_id_code_owner")),
    )
    op.create_index(op.f("ix_lot_item_id"), "lot", ["item_id"], unique=False)

    op.create_table(
        "order_line",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("order_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("blank_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column(
            "artwork_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("mode", sa.String(length=60), nullable=False),
        sa.Column(
            "printer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("location", sa.String(length=40), nullable=False),
        sa.Column("width_cm", sa.Float(), nullable=True),
        sa.Column("height_cm", sa.Float(), nullable=True),
        sa.Column("scheduled_on", sa.Date(), nullable=True),
        sa.Column("owner", sa.String(length=60), nullable=False),
        sa.CheckConstraint("quantity > 0", name=op.f("ck_order_line_quantity_positive")),
        sa.ForeignKeyConstraint(
            ["artwork_id"], ["artwork.id"], name=op.f("fk_order_line_artwork_id_artwork")
        ),
        sa.ForeignKeyConstraint(
            ["blank_id"], ["item.id"], name=op.f("fk_order_line_blank_id_item")
        ),
        sa.ForeignKeyConstraint(
            ["order_id"], ["customer_order.id"], name=op.f("fk_order_line_order_id_customer_order")
        ),
        sa.ForeignKeyConstraint(
            ["printer_id"], ["printer.id"], name=op.f("fk_order_line_printer_id_printer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_line")),
        sa.UniqueConstraint("order_id", "line", name=op.f("uq_order_line_order_id_line")),
    )
    op.create_index(op.f("ix_order_line_blank_id"), "order_line", ["blank_id"], unique=False)
    op.create_index(op.f("ix_order_line_due_on"), "order_line", ["due_on"], unique=False)
    op.create_index(op.f("ix_order_line_order_id"), "order_line", ["order_id"], unique=False)

    op.create_table(
        "pack",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "supplier_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("code", sa.String(length=60), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("price_minor", sa.BigInteger(), nullable=False),
        sa.Column("multiple", sa.Integer(), nullable=False),
        sa.Column("min_packs", sa.Integer(), nullable=False),
        sa.Column("breaks_kind", sa.String(length=12), nullable=False),
        sa.Column("breaks", sa.JSON(), nullable=False),
        sa.Column("shelf_life_days", sa.Integer(), nullable=True),
        sa.Column("preferred", sa.Boolean(), nullable=False),
        sa.Column("unusable_rest", sa.BigInteger(), nullable=False),
        sa.Column("tare_mg", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("amount > 0", name=op.f("ck_pack_amount_positive")),
        sa.CheckConstraint("multiple > 0 AND min_packs > 0", name=op.f("ck_pack_packs_positive")),
        sa.CheckConstraint("price_minor >= 0", name=op.f("ck_pack_price_not_negative")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_pack_item_id_item")),
        sa.ForeignKeyConstraint(
            ["supplier_id"], ["supplier.id"], name=op.f("fk_pack_supplier_id_supplier")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pack")),
        sa.UniqueConstraint("supplier_id", "code", name=op.f("uq_pack_supplier_id_code")),
    )
    op.create_index(op.f("ix_pack_item_id"), "pack", ["item_id"], unique=False)
    op.create_index(op.f("ix_pack_supplier_id"), "pack", ["supplier_id"], unique=False)

    op.create_table(
        "place",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("code", sa.String(length=60), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column(
            "printer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("channel", sa.String(length=4), nullable=False),
        sa.Column("feed", sa.String(length=9), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("capacity", sa.BigInteger(), nullable=True),
        sa.Column("unusable_rest", sa.BigInteger(), nullable=False),
        sa.Column("min_celsius", sa.Float(), nullable=True),
        sa.Column("max_celsius", sa.Float(), nullable=True),
        sa.CheckConstraint(
            "kind IN ('supplier', 'shelf', 'slot', 'printed', 'upkeep', 'waste', "
            "'correction', 'quarantine', 'returned', 'mixing')",
            name=op.f("ck_place_kind_known"),
        ),
        sa.CheckConstraint("feed IN ('', 'cartridge', 'tank')", name=op.f("ck_place_feed_known")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_place_item_id_item")),
        sa.ForeignKeyConstraint(
            ["printer_id"], ["printer.id"], name=op.f("fk_place_printer_id_printer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place")),
        sa.UniqueConstraint("code", name=op.f("uq_place_code")),
    )
    op.create_index(op.f("ix_place_printer_id"), "place", ["printer_id"], unique=False)

    op.create_table(
        "print_mode",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("code", sa.String(length=60), nullable=False),
        sa.Column(
            "printer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("parameters", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["printer_id"], ["printer.id"], name=op.f("fk_print_mode_printer_id_printer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_print_mode")),
        sa.UniqueConstraint("code", name=op.f("uq_print_mode_code")),
    )
    op.create_table(
        "purchase_order",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("ref", sa.String(length=60), nullable=False),
        sa.Column(
            "supplier_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("state", sa.String(length=14), nullable=False),
        sa.Column("created_on", sa.Date(), nullable=False),
        sa.Column("sent_on", sa.Date(), nullable=True),
        sa.Column("promised_on", sa.Date(), nullable=True),
        sa.Column("closed_on", sa.Date(), nullable=True),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.String(length=60), nullable=False),
        sa.CheckConstraint(
            "state IN ('draft', 'sent', 'part received', 'closed', 'cancelled')",
            name=op.f("ck_purchase_order_state_known"),
        ),
        sa.ForeignKeyConstraint(
            ["supplier_id"], ["supplier.id"], name=op.f("fk_purchase_order_supplier_id_supplier")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_purchase_order")),
        sa.UniqueConstraint("ref", name=op.f("uq_purchase_order_ref")),
    )
    op.create_index(
        op.f("ix_purchase_order_supplier_id"), "purchase_order", ["supplier_id"], unique=False
    )

    op.create_table(
        "rate",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column(
            "printer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("channel", sa.String(length=4), nullable=False),
        sa.Column("mode", sa.String(length=60), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("per_cm2_ul", sa.Float(), nullable=True),
        sa.Column("per_cm2_ul_sd", sa.Float(), nullable=True),
        sa.Column("per_print_ml", sa.Float(), nullable=False),
        sa.Column("per_print_ml_sd", sa.Float(), nullable=False),
        sa.Column("per_start_ml", sa.Float(), nullable=False),
        sa.Column("per_start_ml_sd", sa.Float(), nullable=False),
        sa.Column("per_day_ml", sa.Float(), nullable=False),
        sa.Column("per_day_ml_sd", sa.Float(), nullable=False),
        sa.Column("prior_share", sa.Float(), nullable=False),
        sa.Column("calibrated", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["printer_id"], ["printer.id"], name=op.f("fk_rate_printer_id_printer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rate")),
        sa.UniqueConstraint(
            "printer_id",
            "channel",
            "mode",
            "valid_from",
            name=op.f("uq_rate_printer_id_channel_mode_valid_from"),
        ),
    )
    op.create_index(op.f("ix_rate_printer_id"), "rate", ["printer_id"], unique=False)

    op.create_table(
        "barcode",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("gtin", sa.String(length=14), nullable=False),
        sa.Column("pack_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(["pack_id"], ["pack.id"], name=op.f("fk_barcode_pack_id_pack")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_barcode")),
        sa.UniqueConstraint("gtin", name=op.f("uq_barcode_gtin")),
    )
    op.create_index(op.f("ix_barcode_pack_id"), "barcode", ["pack_id"], unique=False)

    op.create_table(
        "container",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("code", sa.String(length=60), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("lot_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("pack_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("capacity", sa.BigInteger(), nullable=False),
        sa.Column("unusable_rest", sa.BigInteger(), nullable=False),
        sa.Column("tare_mg", sa.BigInteger(), nullable=True),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("opened_on", sa.Date(), nullable=True),
        sa.Column("effective_expiry", sa.Date(), nullable=True),
        sa.Column("place_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.CheckConstraint(
            "state IN ('sealed', 'loaded', 'opened', 'empty', 'quarantined')",
            name=op.f("ck_container_state_known"),
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_container_item_id_item")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_container_lot_id_lot")),
        sa.ForeignKeyConstraint(["pack_id"], ["pack.id"], name=op.f("fk_container_pack_id_pack")),
        sa.ForeignKeyConstraint(
            ["place_id"], ["place.id"], name=op.f("fk_container_place_id_place")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_container")),
        sa.UniqueConstraint("code", name=op.f("uq_container_code")),
    )
    op.create_index(op.f("ix_container_lot_id"), "container", ["lot_id"], unique=False)
    op.create_index(op.f("ix_container_place_id"), "container", ["place_id"], unique=False)

    op.create_table(
        "lot_parent",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("lot_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "parent_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("entry_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("amount > 0", name=op.f("ck_lot_parent_amount_positive")),
        sa.ForeignKeyConstraint(
            ["entry_id"], ["entry.id"], name=op.f("fk_lot_parent_entry_id_entry")
        ),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_lot_parent_lot_id_lot")),
        sa.ForeignKeyConstraint(
            ["parent_id"], ["lot.id"], name=op.f("fk_lot_parent_parent_id_lot")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot_parent")),
    )
    op.create_index(op.f("ix_lot_parent_lot_id"), "lot_parent", ["lot_id"], unique=False)
    op.create_index(op.f("ix_lot_parent_parent_id"), "lot_parent", ["parent_id"], unique=False)

    op.create_table(
        "overrun",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("entry_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("place_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("asked", sa.BigInteger(), nullable=False),
        sa.Column("taken", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"], name=op.f("fk_overrun_entry_id_entry")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_overrun_item_id_item")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_overrun_place_id_place")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_overrun")),
    )
    op.create_index(op.f("ix_overrun_entry_id"), "overrun", ["entry_id"], unique=False)

    op.create_table(
        "print_run",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("entry_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "order_line_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column(
            "printer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("mode", sa.String(length=60), nullable=False),
        sa.Column("location", sa.String(length=40), nullable=False),
        sa.Column("good", sa.Integer(), nullable=False),
        sa.Column("misprints", sa.Integer(), nullable=False),
        sa.Column("calibrated", sa.Boolean(), nullable=False),
        sa.Column("c_cm2", sa.Float(), nullable=False),
        sa.Column("m_cm2", sa.Float(), nullable=False),
        sa.Column("y_cm2", sa.Float(), nullable=False),
        sa.Column("k_cm2", sa.Float(), nullable=False),
        sa.Column("w_cm2", sa.Float(), nullable=False),
        sa.CheckConstraint(
            "good >= 0 AND misprints >= 0", name=op.f("ck_print_run_pieces_not_negative")
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"], ["entry.id"], name=op.f("fk_print_run_entry_id_entry")
        ),
        sa.ForeignKeyConstraint(
            ["order_line_id"], ["order_line.id"], name=op.f("fk_print_run_order_line_id_order_line")
        ),
        sa.ForeignKeyConstraint(
            ["printer_id"], ["printer.id"], name=op.f("fk_print_run_printer_id_printer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_print_run")),
        sa.UniqueConstraint("entry_id", name=op.f("uq_print_run_entry_id")),
    )
    op.create_index(
        op.f("ix_print_run_order_line_id"), "print_run", ["order_line_id"], unique=False
    )

    op.create_table(
        "purchase_line",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column(
            "purchase_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("pack_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("packs", sa.Integer(), nullable=False),
        sa.Column("price_minor", sa.BigInteger(), nullable=False),
        sa.Column("promised_on", sa.Date(), nullable=True),
        sa.Column("cancelled_packs", sa.Integer(), nullable=False),
        sa.Column("stated_received_on", sa.Date(), nullable=True),
        sa.Column("stated_received_packs", sa.Integer(), nullable=True),
        sa.Column("why", sa.JSON(), nullable=False),
        sa.CheckConstraint(
            "cancelled_packs >= 0 AND cancelled_packs <= packs",
            name=op.f("ck_purchase_line_cancelled_within_packs"),
        ),
        sa.CheckConstraint("packs > 0", name=op.f("ck_purchase_line_packs_positive")),
        sa.ForeignKeyConstraint(
            ["pack_id"], ["pack.id"], name=op.f("fk_purchase_line_pack_id_pack")
        ),
        sa.ForeignKeyConstraint(
            ["purchase_id"],
            ["purchase_order.id"],
            name=op.f("fk_purchase_line_purchase_id_purchase_order"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_purchase_line")),
        sa.UniqueConstraint(
            "purchase_id", "pack_id", name=op.f("uq_purchase_line_purchase_id_pack_id")
        ),
    )
    op.create_index(op.f("ix_purchase_line_pack_id"), "purchase_line", ["pack_id"], unique=False)
    op.create_index(
        op.f("ix_purchase_line_purchase_id"), "purchase_line", ["purchase_id"], unique=False
    )

    op.create_table(
        "balance",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("place_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("lot_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "container_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("amount >= 0", name=op.f("ck_balance_not_negative")),
        sa.ForeignKeyConstraint(
            ["container_id"], ["container.id"], name=op.f("fk_balance_container_id_container")
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_balance_item_id_item")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_balance_lot_id_lot")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_balance_place_id_place")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_balance")),
    )
    op.create_index(op.f("ix_balance_item_id"), "balance", ["item_id"], unique=False)
    op.create_index(op.f("ix_balance_lot_id"), "balance", ["lot_id"], unique=False)
    op.create_index(
        "uq_balance_unopened",
        "balance",
        ["place_id", "lot_id"],
        unique=True,
        sqlite_where=sa.text("container_id IS NULL"),
        postgresql_where=sa.text("container_id IS NULL"),
    )
    op.create_index(
        "uq_balance_in_container",
        "balance",
        ["place_id", "lot_id", "container_id"],
        unique=True,
        sqlite_where=sa.text("container_id IS NOT NULL"),
        postgresql_where=sa.text("container_id IS NOT NULL"),
    )

    op.create_table(
        "container_event",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("entry_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "container_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("opened_on", sa.Date(), nullable=True),
        sa.Column("effective_expiry", sa.Date(), nullable=True),
        sa.Column("place_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.CheckConstraint(
            "state IN ('sealed', 'loaded', 'opened', 'empty', 'quarantined')",
            name=op.f("ck_container_event_state_known"),
        ),
        sa.ForeignKeyConstraint(
            ["container_id"],
            ["container.id"],
            name=op.f("fk_container_event_container_id_container"),
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"], ["entry.id"], name=op.f("fk_container_event_entry_id_entry")
        ),
        sa.ForeignKeyConstraint(
            ["place_id"], ["place.id"], name=op.f("fk_container_event_place_id_place")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_container_event")),
    )
    op.create_index(
        op.f("ix_container_event_container_id"), "container_event", ["container_id"], unique=False
    )
    op.create_index(
        op.f("ix_container_event_entry_id"), "container_event", ["entry_id"], unique=False
    )
    op.create_index(
        op.f("ix_container_event_place_id"), "container_event", ["place_id"], unique=False
    )

    op.create_table(
        "movement",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("entry_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("lot_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "from_place_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column(
            "from_container_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column(
            "to_place_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column(
            "to_container_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("amount > 0", name=op.f("ck_movement_amount_positive")),
        sa.CheckConstraint(
            "from_place_id <> to_place_id "
            "OR COALESCE(from_container_id, 0) <> COALESCE(to_container_id, 0)",
            name=op.f("ck_movement_goes_somewhere"),
        ),
        sa.ForeignKeyConstraint(
            ["entry_id"], ["entry.id"], name=op.f("fk_movement_entry_id_entry")
        ),
        sa.ForeignKeyConstraint(
            ["from_container_id"],
            ["container.id"],
            name=op.f("fk_movement_from_container_id_container"),
        ),
        sa.ForeignKeyConstraint(
            ["from_place_id"], ["place.id"], name=op.f("fk_movement_from_place_id_place")
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_movement_item_id_item")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_movement_lot_id_lot")),
        sa.ForeignKeyConstraint(
            ["to_container_id"],
            ["container.id"],
            name=op.f("fk_movement_to_container_id_container"),
        ),
        sa.ForeignKeyConstraint(
            ["to_place_id"], ["place.id"], name=op.f("fk_movement_to_place_id_place")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_movement")),
    )
    op.create_index(op.f("ix_movement_entry_id"), "movement", ["entry_id"], unique=False)
    op.create_index("ix_movement_item_id_day", "movement", ["item_id", "day"], unique=False)
    op.create_index(op.f("ix_movement_lot_id"), "movement", ["lot_id"], unique=False)

    op.create_table(
        "reading",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("entry_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column(
            "printer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("place_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column(
            "container_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("channel", sa.String(length=4), nullable=False),
        sa.Column("grams", sa.Float(), nullable=True),
        sa.Column("level", sa.BigInteger(), nullable=True),
        sa.Column("book_level", sa.BigInteger(), nullable=True),
        sa.Column("used_ml", sa.Float(), nullable=True),
        sa.Column("counter", sa.Float(), nullable=True),
        sa.Column("pieces", sa.Float(), nullable=True),
        sa.Column("job", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(
            ["container_id"], ["container.id"], name=op.f("fk_reading_container_id_container")
        ),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"], name=op.f("fk_reading_entry_id_entry")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_reading_item_id_item")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_reading_place_id_place")),
        sa.ForeignKeyConstraint(
            ["printer_id"], ["printer.id"], name=op.f("fk_reading_printer_id_printer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
    )
    op.create_index(op.f("ix_reading_entry_id"), "reading", ["entry_id"], unique=False)
    op.create_index(op.f("ix_reading_place_id"), "reading", ["place_id"], unique=False)

    op.create_table(
        "receipt",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("entry_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("lot_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("pack_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column(
            "purchase_line_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("packs", sa.Integer(), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("cost_minor", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("amount > 0", name=op.f("ck_receipt_amount_positive")),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"], name=op.f("fk_receipt_entry_id_entry")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_receipt_lot_id_lot")),
        sa.ForeignKeyConstraint(["pack_id"], ["pack.id"], name=op.f("fk_receipt_pack_id_pack")),
        sa.ForeignKeyConstraint(
            ["purchase_line_id"],
            ["purchase_line.id"],
            name=op.f("fk_receipt_purchase_line_id_purchase_line"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_receipt")),
    )
    op.create_index(op.f("ix_receipt_entry_id"), "receipt", ["entry_id"], unique=False)
    op.create_index(op.f("ix_receipt_lot_id"), "receipt", ["lot_id"], unique=False)
    op.create_index(
        op.f("ix_receipt_purchase_line_id"), "receipt", ["purchase_line_id"], unique=False
    )
    protect(op.get_bind(), APPEND_ONLY)


def downgrade() -> None:
    raise RuntimeError("the first revision cannot be taken back; restore a backup instead")

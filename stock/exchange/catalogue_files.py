"""Columns of the files that describe the shop: items, packs, suppliers, printers, modes, artworks.

Data only. Units stand in each column's help; money is in the book's currency.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from stock.exchange.column import Column, FileKind

CHANNELS: Final = ("C", "M", "Y", "K", "W")
UNIT_BY_KIND: Final = {"ink": "mL", "pretreat": "g", "blank": "each", "supply": "each"}


def _ink_has_a_channel(row: Mapping[str, Any]) -> tuple[str, str, str] | None:
    if row["kind"] == "ink" and row["channel"] is None:
        return "channel", "nothing", "the ink's channel: C, M, Y, K or W"
    if row["kind"] != "ink" and row["channel"] is not None:
        return "channel", row["channel"], f"nothing, since {row['kind']} has no channel"
    return None


def _mix_is_complete(row: Mapping[str, Any]) -> tuple[str, str, str] | None:
    if row["mixed_from"] is not None and row["mix_ratio"] is None:
        return "mix_ratio", "nothing", "parts of water to one part of concentrate"
    if row["mixed_from"] is None and row["mix_ratio"] is not None:
        return "mixed_from", "nothing", "the item code of the concentrate"
    return None


def _not_from_itself(row: Mapping[str, Any]) -> tuple[str, str, str] | None:
    for name in ("replaces", "mixed_from"):
        if row[name] is not None and row[name] == row["sku"]:
            return name, row[name], "another item's code"
    return None


def _rest_below_capacity(row: Mapping[str, Any]) -> tuple[str, str, str] | None:
    capacity, rest = row["capacity"], row["unusable_rest"]
    if capacity is not None and rest is not None and rest.held >= capacity.held:
        return "unusable_rest", f"{rest.held / 1000:g}", "less than the capacity"
    return None


def _rest_below_amount(row: Mapping[str, Any]) -> tuple[str, str, str] | None:
    amount, rest = row["amount"], row["unusable_rest"]
    if rest is not None and rest.held >= amount.held:
        return "unusable_rest", f"{rest.held / 1000:g}", "less than the pack's amount"
    return None


def _breaks_fall(row: Mapping[str, Any]) -> tuple[str, str, str] | None:
    """More packs never cost more each, nor as much: such a table has slipped by a row."""
    packs, price = 1, row["price"]
    for start, each in row["breaks"] or ():
        if start <= packs:
            return "breaks", f"from {start} on", "breaks from 2 packs on; the price is one pack's"
        if each >= price:
            found = f"{start}:{each / 100:.2f} after {float(price) / 100:.2f}"
            return "breaks", found, "prices that fall from break to break"
        packs, price = start, each
    return None


def _usual_unit(row: dict[str, Any]) -> None:
    row["unit"] = row["unit"] or UNIT_BY_KIND[row["kind"]]


ITEMS: Final = FileKind(
    "items",
    "one consumable: an ink, a pretreat, a blank garment or a supply",
    (
        Column("sku", "code", "item code", True, "INK-W", ("item",)),
        Column(
            "kind",
            "choice",
            "ink, pretreat, blank or supply",
            True,
            "ink",
            choices=("ink", "pretreat", "blank", "supply"),
        ),
        Column("name", "text", "name for people", example="White ink", longest=200),
        Column(
            "unit",
            "choice",
            "mL, g or each (ink mL, pretreat g, others each)",
            example="mL",
            choices=("mL", "g", "each"),
        ),
        Column("channel", "choice", "ink channel: C, M, Y, K or W", example="W", choices=CHANNELS),
        Column("style", "code", "style of a blank"),
        Column("colour", "code", "colour of a blank", aliases=("color",)),
        Column("size", "code", "size of a blank", longest=20),
        Column("shade", "choice", "light or dark blank", choices=("light", "dark")),
        Column("density_g_per_ml", "decimal", "density, g/mL", example="1.15", least=0.3, most=5),
        Column("open_life_days", "whole", "days once opened", example="180", least=0),
        Column("shelf_life_days", "whole", "days of a new lot, sealed", example="365", least=0),
        Column("service", "share", "target service", example="97 %", above=0, most=0.9999),
        Column(
            "service_kind",
            "choice",
            "what service means: cycle or fill",
            example="cycle",
            choices=("cycle", "fill"),
        ),
        Column("shortage_cost", "fine_money", "cost of one unit short for a week, money", least=0),
        Column("waste_risk", "share", "largest chance that a purchase partly expires"),
        Column("every_prints", "decimal", "supply: used every so many prints", above=0),
        Column("every_days", "decimal", "supply: used every so many days", above=0),
        Column("amount_per_service", "decimal", "supply: base units used each time", above=0),
        Column("pretreat_mg_per_cm2", "decimal", "blank: pretreat dose, mg/cm²", least=0, most=200),
        Column("replaces", "code", "item whose history this one takes over"),
        Column("reorder", "yes_no", "no: never bought again", example="yes", default=True),
        Column("mixed_from", "code", "item code of the concentrate it is mixed from"),
        Column("mix_ratio", "decimal", "parts of water to one of concentrate", least=0, most=1000),
        Column("mix_life_days", "whole", "days once mixed", least=0),
    ),
    checks=(_ink_has_a_channel, _mix_is_complete, _not_from_itself),
    fills=(_usual_unit,),
    more_examples=(
        {
            "sku": "TEE-BLK-L",
            "kind": "blank",
            "name": "Black tee, L",
            "unit": "each",
            "style": "TEE",
            "colour": "BLK",
            "size": "L",
            "shade": "dark",
        },
    ),
)

PACKS: Final = FileKind(
    "packs",
    "one pack of an item as one supplier sells it",
    (
        Column("sku", "code", "item code", True, "INK-W", ("item",)),
        Column("supplier", "code", "supplier code", True, "NORTH"),
        Column("code", "code", "supplier's order code", True, "W-1800"),
        Column("amount", "amount", "content of a pack", True, "1.8 L", above=0),
        Column("price", "money", "price of a pack", True, "189.00", least=0),
        Column("gtin", "gtin", "GTIN on the pack", example="09521234543213"),
        Column("multiple", "whole", "bought in multiples of", example="1", default=1, least=1),
        Column("min_packs", "whole", "fewest packs per order", example="1", default=1, least=1),
        Column(
            "break_kind",
            "choice",
            "price breaks hold for all units or incremental",
            default="all_units",
            choices=("all_units", "incremental"),
        ),
        Column("breaks", "breaks", "from packs:price, such as 10:175.00", example="10:175.00"),
        Column("shelf_life_days", "whole", "days sealed when delivered", example="365", least=0),
        Column("preferred", "yes_no", "first choice for the item", example="yes", default=False),
        Column("unusable_rest", "amount", "what never comes out", example="60 mL", least=0),
        Column("tare_g", "decimal", "empty container, g", example="210", least=0),
    ),
    checks=(_rest_below_amount, _breaks_fall),
    more_examples=(
        {
            "sku": "TEE-BLK-L",
            "supplier": "NORTH",
            "code": "TEE-BLK-L",
            "amount": "1",
            "price": "3.10",
        },
    ),
)

SUPPLIERS: Final = FileKind(
    "suppliers",
    "one supplier and its terms",
    (
        Column("code", "code", "supplier code", True, "NORTH", ("supplier",)),
        Column("name", "text", "name for people", example="North Ink Supply", longest=200),
        Column("email", "text", "where orders go", example="orders@example.com", longest=200),
        Column(
            "lead_days", "decimal", "working days, order to shelf", True, "4", least=0, most=400
        ),
        Column("lead_sd_days", "decimal", "spread of that, days", example="1.5", least=0, most=400),
        Column("order_days", "weekdays", "days orders are taken", example="mon,thu", default=""),
        Column("cut_off_hour", "whole", "orders after count for next day", least=0, most=24),
        Column("country", "letters", "country (ISO 3166) of its holidays", example="DE", longest=2),
        Column("closed", "dates", "single days closed", example="2026-12-24;2026-12-31"),
        Column("order_cost", "money", "cost of placing an order", example="12.00", least=0),
        Column("line_cost", "money", "cost of one more line", example="1.50", least=0),
        Column("minimum", "money", "smallest order taken", example="50.00", least=0),
        Column("freight", "money", "freight per order", example="8.90", least=0),
        Column("free_freight", "money", "order value that waives it", example="250.00", least=0),
        Column(
            "currency", "letters", "currency (ISO 4217) of its prices", example="EUR", longest=3
        ),
    ),
)

PRINTERS: Final = FileKind(
    "printers",
    "one ink slot of one printer",
    (
        Column("printer", "code", "printer code", True, "DTG-1"),
        Column("slot", "code", "slot code, unique in the shop", True, "DTG-1-W1"),
        Column("channel", "choice", "channel it feeds", True, "W", choices=CHANNELS),
        Column(
            "feed",
            "choice",
            "cartridge or tank (bulk)",
            example="tank",
            default="cartridge",
            choices=("cartridge", "tank"),
        ),
        Column("capacity", "amount", "what the slot holds", example="3 L", above=0),
        Column("unusable_rest", "amount", "what never comes out", example="60 mL", least=0),
        Column("per_print_ml", "decimal", "spit and flush per print, mL", example="0.05", least=0),
        Column("per_start_ml", "decimal", "per start-up, mL", example="2", least=0),
        Column("per_day_ml", "decimal", "circulation and cleaning, mL a day", example="8", least=0),
        Column("item", "code", "item code of the ink it takes", example="INK-W", aliases=("sku",)),
    ),
    checks=(_rest_below_capacity,),
)

MODES: Final = FileKind(
    "modes",
    "one print mode: grid, drops, white, separation",
    (
        Column("code", "code", "mode code", True, "standard", ("mode",)),
        Column("printer", "code", "printer it belongs to; empty: every printer"),
        Column("dpi", "decimal", "dots per inch", example="1200", above=0, most=10000),
        Column("drop_pl_colour", "decimal", "colour drop, pL", example="5", above=0, most=1000),
        Column("drop_pl_white", "decimal", "white drop, pL", example="12", above=0, most=1000),
        *(
            Column(
                f"passes_{channel}",
                "decimal",
                f"drops per dot, {channel}",
                example="2" if channel == "W" else "1",
                least=0,
                most=100,
            )
            for channel in CHANNELS
        ),
        *(
            Column(
                f"laydown_{channel}",
                "decimal",
                f"measured laydown of {channel} at full tone, µL/cm²",
                above=0,
                most=1000,
            )
            for channel in CHANNELS
        ),
        Column(
            "white_method",
            "choice",
            "none, flat or tone",
            example="tone",
            choices=("none", "flat", "tone"),
        ),
        Column("white_strength", "share", "white under colour", example="100 %"),
        Column("white_under_black", "share", "white kept under full black", example="50 %"),
        Column("highlight_strength", "share", "second white on near-white", example="0 %"),
        Column("white_layers", "whole", "1 or 2 layers", example="1", least=1, most=2),
        Column(
            "choke_px", "decimal", "underbase pulled in, pixels", example="2", least=0, most=200
        ),
        Column(
            "ink_limit",
            "decimal",
            "most colour on a spot (2.4 = 240 %)",
            example="2.4",
            above=0,
            most=4,
        ),
        Column("gcr", "share", "grey component replacement", example="80 %"),
        Column("knock_out_black", "yes_no", "leave out artwork near black", example="no"),
        Column(
            "knock_out_tolerance",
            "decimal",
            "how near, RGB units of 255",
            example="24",
            least=0,
            most=255,
        ),
        Column("cmyk_profile", "file", "CMYK output ICC profile", longest=500),
        *(
            Column(
                f"curve_{channel}",
                "text",
                f"tone laid of {channel} for tones, in %, as 25=18 50=40 100=96",
                longest=200,
            )
            for channel in CHANNELS
        ),
        Column("optical_gain", "decimal", "Yule–Nielsen factor of the separation", least=1, most=4),
    ),
)

ARTWORKS: Final = FileKind(
    "artworks",
    "one artwork file",
    (
        Column("artwork", "code", "artwork code", True, "BEAR-FRONT", ("code",), longest=120),
        Column(
            "file", "file", "picture, beside or below this file", True, "art/bear.png", longest=500
        ),
        Column("title", "text", "title for people", example="Bear, front", longest=200),
    ),
)

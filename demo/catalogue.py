"""What the invented shop buys, from whom, and what its two presses are."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

COLOURS = {"C": "Cyan", "M": "Magenta", "Y": "Yellow", "K": "Black"}

STYLES: dict[str, tuple[str, dict[str, str], Sequence[str], float]] = {
    "TEE": (
        "Tee",
        {"BLK": "dark", "NVY": "dark", "WHT": "light", "SND": "light", "FOR": "dark"},
        ("S", "M", "L", "XL", "2XL", "3XL"),
        3.10,
    ),
    "HOOD": (
        "Hoodie",
        {"BLK": "dark", "SND": "light", "NVY": "dark"},
        ("S", "M", "L", "XL", "2XL"),
        13.40,
    ),
    "KID": (
        "Kids' tee",
        {"WHT": "light", "BLK": "dark", "SKY": "light"},
        ("104", "116", "128", "140", "152"),
        2.60,
    ),
}
SIZE_SHARE = {
    "S": 0.14,
    "M": 0.25,
    "L": 0.28,
    "XL": 0.20,
    "2XL": 0.10,
    "3XL": 0.03,
    "104": 0.14,
    "116": 0.22,
    "128": 0.26,
    "140": 0.22,
    "152": 0.16,
}


def blanks() -> list[dict[str, Any]]:
    """Every blank garment: sku, style, colour, size, shade, price."""
    found = []
    for style, (name, colours, sizes, price) in STYLES.items():
        for colour, shade in colours.items():
            for size in sizes:
                dear = 1.0 + (0.15 if size in ("2XL", "3XL") else 0.0)
                found.append(
                    {
                        "sku": f"{style}-{colour}-{size}",
                        "name": f"{name} {colour.lower()} {size}",
                        "style": style,
                        "colour": colour,
                        "size": size,
                        "shade": shade,
                        "price": round(price * dear, 2),
                        "dose": (22.0 if style == "HOOD" else 14.5) if shade == "dark" else 9.5,
                    }
                )
    return found


INKS = [
    *(
        (f"CART-{ch}", f"{name}, cartridge", ch, "350 mL", 62.0, "12 mL", 350)
        for ch, name in COLOURS.items()
    ),
    ("CART-W", "White, cartridge", "W", "700 mL", 104.0, "25 mL", 700),
    *(
        (f"BULK-{ch}", f"{name}, bulk", ch, "1.8 L", 196.0, "40 mL", 1800)
        for ch, name in COLOURS.items()
    ),
    ("BULK-W", "White, bulk", "W", "18 L", 1480.0, "250 mL", 18000),
]

SUPPLIES = [
    # sku, name, unit, every prints, every days, used each time, pack, price
    ("WIPER", "Wiper blade", "each", 900, 30, 1, "5", 21.00),
    ("CAP", "Capping station pad", "each", 4000, 120, 1, "2", 34.00),
    ("FILTER", "Ink filter", "each", "", 90, 2, "4", 38.00),
    ("DAMPER", "Damper", "each", 6000, 180, 2, "4", 52.00),
    ("CLEAN", "Cleaning liquid", "mL", 150, 7, 60, "1 L", 29.00),
    ("FLUSH", "Flushing liquid", "mL", "", 30, 250, "5 L", 96.00),
    ("SWAB", "Foam swabs", "each", 60, 3, 2, "100", 14.00),
    ("PAPER", "Release paper, sheet", "each", 25, "", 1, "250", 31.00),
    ("WASTE-BOX", "Waste ink bottle", "each", 2500, 90, 1, "2", 27.00),
    ("NOZZLE-FILM", "Nozzle check film", "each", 200, 5, 1, "50", 19.00),
    ("GLOVES", "Nitrile gloves, pair", "each", 40, 1, 1, "100", 9.80),
    ("LINT", "Lint roller sheet", "each", 20, "", 1, "120", 6.50),
]

PRETREATS = [
    # sku, name, pack amount, price, shelf life, open life
    ("PT-DARK", "Pretreat for dark cloth", "5 kg", 68.00, 365, 180),
    ("PT-POLY", "Pretreat for mixed fibre", "5 kg", 81.00, 270, 120),
]


def write_rows(path: Path, rows: Iterable[Mapping[str, Any]]) -> None:
    """Rows as CSV; the first row's keys are the header."""
    listed = list(rows)
    names = list(dict.fromkeys(name for row in listed for name in row))
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, names, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(listed)


def gtin(number: int) -> str:
    """A GTIN-13 in the range GS1 keeps for restricted use inside a company (prefix 20–29)."""
    body = f"29{number:010d}"
    weights = [1, 3] * 6
    total = sum(int(digit) * weight for digit, weight in zip(body, weights, strict=True))
    return f"{body}{-total % 10}"


def write_catalogue(folder: Path, day: date, pictures: Mapping[str, tuple[str, str]]) -> None:
    """Suppliers, items, packs, printers, modes and artworks."""
    write_rows(folder / "suppliers.csv", _suppliers(day))
    write_rows(folder / "items.csv", _items())
    write_rows(folder / "packs.csv", _packs())
    write_rows(folder / "printers.csv", _printers())
    write_rows(
        folder / "modes.csv",
        [
            {"code": "standard", "dpi": 1200, "passes_W": 2, "white_method": "tone", "choke_px": 2},
            {"code": "bright", "dpi": 1200, "passes_W": 3, "white_method": "flat", "choke_px": 2},
        ],
    )
    write_rows(
        folder / "artworks.csv",
        [
            {"artwork": code, "file": file, "title": title}
            for code, (file, title) in pictures.items()
        ],
    )


def _suppliers(day: date) -> list[dict[str, Any]]:
    closed = ";".join(
        (date(day.year + n, 12, 24) + timedelta(days=k)).isoformat() for n in (0, 1) for k in (0, 7)
    )
    return [
        {
            "code": "ALDER",
            "name": "Alder Ink Depot",
            "email": "orders@alder.example",
            "lead_days": 6,
            "lead_sd_days": 2,
            "order_days": "mon,wed",
            "cut_off_hour": 14,
            "closed": closed,
            "order_cost": 12,
            "line_cost": 2,
            "freight": 14.90,
            "free_freight": 400,
            "currency": "EUR",
        },
        {
            "code": "BRAMBLE",
            "name": "Bramble Garment Wholesale",
            "email": "desk@bramble.example",
            "lead_days": 2,
            "lead_sd_days": 1,
            "order_days": "mon,tue,wed,thu,fri",
            "cut_off_hour": 16,
            "order_cost": 8,
            "line_cost": 0.5,
            "minimum": 60,
            "freight": 8.90,
            "free_freight": 250,
            "currency": "EUR",
        },
        {
            "code": "CEDAR",
            "name": "Cedar Mill Direct",
            "email": "sales@cedar.example",
            "lead_days": 9,
            "lead_sd_days": 3,
            "order_days": "thu",
            "order_cost": 15,
            "line_cost": 0.5,
            "minimum": 300,
            "freight": 24,
            "free_freight": 800,
            "currency": "EUR",
        },
        {
            "code": "DAMSON",
            "name": "Damson Workshop Supplies",
            "email": "hello@damson.example",
            "lead_days": 3,
            "lead_sd_days": 1,
            "order_days": "",
            "order_cost": 6,
            "line_cost": 1,
            "freight": 5.90,
            "free_freight": 90,
            "currency": "EUR",
        },
    ]


def _items() -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for sku, name, channel, *_ in INKS:
        rows.append(
            {
                "sku": sku,
                "kind": "ink",
                "name": name,
                "unit": "mL",
                "channel": channel,
                "density_g_per_ml": 1.15 if channel == "W" else 1.07,
                "open_life_days": 300 if sku.startswith("BULK") else 180,
                "shelf_life_days": 365,
                "service": "98 %",
                "waste_risk": "10 %",
            }
        )
    for sku, name, _, _, shelf, opened in PRETREATS:
        rows.append(
            {
                "sku": sku,
                "kind": "pretreat",
                "name": name,
                "unit": "g",
                "open_life_days": opened,
                "shelf_life_days": shelf,
                "service": "97 %",
            }
        )
    for sku, name, unit, prints, days, used, _, _ in SUPPLIES:
        rows.append(
            {
                "sku": sku,
                "kind": "supply",
                "name": name,
                "unit": unit,
                "every_prints": prints,
                "every_days": days,
                "amount_per_service": used,
                "service": "95 %",
            }
        )
    for blank in blanks():
        rows.append(
            {
                "sku": blank["sku"],
                "kind": "blank",
                "name": blank["name"],
                "unit": "each",
                "style": blank["style"],
                "colour": blank["colour"],
                "size": blank["size"],
                "shade": blank["shade"],
                "pretreat_mg_per_cm2": blank["dose"],
                "service": "95 %",
                "service_kind": "fill",
            }
        )
    return rows


def _packs() -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    number = 4_100_001
    for sku, _, _, amount, price, rest, _ in INKS:
        rows.append(
            {
                "sku": sku,
                "supplier": "ALDER",
                "code": f"AL-{sku}",
                "amount": amount,
                "price": price,
                "gtin": gtin(number),
                "shelf_life_days": 330,
                "preferred": "yes",
                "unusable_rest": rest,
                "tare_g": 1150 if sku == "BULK-W" else 190 if sku.startswith("BULK") else 96,
                "breaks": "4:58.00;8:55.50" if sku.startswith("CART") and sku[-1] != "W" else "",
            }
        )
        number += 1
    for sku, _, amount, price, shelf, _ in PRETREATS:
        rows.append(
            {
                "sku": sku,
                "supplier": "ALDER",
                "code": f"AL-{sku}",
                "amount": amount,
                "price": price,
                "gtin": gtin(number),
                "shelf_life_days": shelf,
                "preferred": "yes",
            }
        )
        number += 1
    for sku, _, _, _, _, _, amount, price in SUPPLIES:
        rows.append(
            {
                "sku": sku,
                "supplier": "DAMSON",
                "code": f"DA-{sku}",
                "amount": amount,
                "price": price,
                "gtin": gtin(number),
                "preferred": "yes",
            }
        )
        number += 1
    for blank in blanks():
        rows.append(
            {
                "sku": blank["sku"],
                "supplier": "BRAMBLE",
                "code": f"BR-{blank['sku']}",
                "amount": 1,
                "price": blank["price"],
                "gtin": gtin(number),
                "preferred": "yes",
            }
        )
        rows.append(
            {
                "sku": blank["sku"],
                "supplier": "CEDAR",
                "code": f"CE-{blank['sku']}-12",
                "amount": 12,
                "price": round(blank["price"] * 12 * 0.93, 2),
                "multiple": 1,
            }
        )
        number += 1
    return rows


def _printers() -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for channel in "CMYK":
        rows.append(
            {
                "printer": "PRESS-A",
                "slot": f"A-{channel}",
                "channel": channel,
                "feed": "cartridge",
                "capacity": "350 mL",
                "unusable_rest": "12 mL",
                "per_print_ml": 0.03,
                "per_day_ml": 1.2,
                "item": f"CART-{channel}",
            }
        )
    for n in (1, 2):
        rows.append(
            {
                "printer": "PRESS-A",
                "slot": f"A-W{n}",
                "channel": "W",
                "feed": "cartridge",
                "capacity": "700 mL",
                "unusable_rest": "25 mL",
                "per_print_ml": 0.06,
                "per_day_ml": 8.0,
                "item": "CART-W",
            }
        )
    for channel in "CMYKW":
        white = channel == "W"
        rows.append(
            {
                "printer": "PRESS-B",
                "slot": f"B-{channel}",
                "channel": channel,
                "feed": "tank",
                "capacity": "20 L" if white else "3.6 L",
                "unusable_rest": "250 mL" if white else "40 mL",
                "per_print_ml": 0.05 if white else 0.02,
                "per_day_ml": 14.0 if white else 1.6,
                "item": f"BULK-{channel}",
            }
        )
    return rows

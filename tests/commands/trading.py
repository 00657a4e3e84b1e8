"""A shop that has traded for sixteen weeks, as files: what the planning commands are tried on.

Two garments sold every week, one of them short on the shelf; ink is not used (no artwork), so that
the tests stay quick.
"""

from __future__ import annotations

from datetime import date, timedelta

from tests.commands.conftest import SHOP

FIRST = date(2026, 3, 2)
TODAY = FIRST + timedelta(weeks=16)
"""A Monday: 2026-06-22."""

SETTINGS = """\
shop = "Corner Press"
who = "press 1"

[plan]
paths = 300
autoets = false
"""


def trading_files() -> dict[str, str]:
    """CSV files by kind, in the order they are imported."""
    orders = ["order,line,stage,placed_on,due_on,blank,quantity,outcome_on"]
    prints = ["order,line,printed_on,good,misprints,printer"]
    for week in range(16):
        for n, (sku, pieces) in enumerate((("TEE-BLK-L", 20 + week % 5), ("TEE-WHT-L", 6))):
            ref = f"A{week:02d}{n}"
            placed, due = FIRST + timedelta(weeks=week), FIRST + timedelta(weeks=week, days=3)
            orders.append(f"{ref},1,released,{placed},{due},{sku},{pieces},")
            prints.append(f"{ref},1,{due},{pieces},1,P1")
    due = TODAY + timedelta(days=4)
    orders.append(f"OPEN1,1,confirmed,{TODAY - timedelta(days=3)},{due},TEE-BLK-L,30,")
    orders.append(f"QUOTE1,1,quote,{TODAY - timedelta(days=3)},{due},TEE-WHT-L,80,")
    deliveries = [
        "delivery,sku,packs,lot,received_on,supplier",
        f"D1,TEE-BLK-L,390,B1,{FIRST},BRAMBLE",
        f"D1,TEE-WHT-L,150,W1,{FIRST},BRAMBLE",
    ]
    return {
        **SHOP,
        "orders": "\n".join(orders) + "\n",
        "deliveries": "\n".join(deliveries) + "\n",
        "prints": "\n".join(prints) + "\n",
    }

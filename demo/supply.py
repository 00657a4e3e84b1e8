"""Purchases and deliveries of the invented shop: what kept it printing, and what is late now.

The buyer of this story orders by eye: when a shelf looks low, for some weeks. The files say what
was ordered, when it came, in which lot and until when it keeps.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from stock.ink.mode import PretreatDose, PrintMode, prior_rates

from .artworks import DRAWN
from .catalogue import INKS, PRETREATS, SUPPLIES, blanks, write_rows
from .trade import Line, Order

UPKEEP_A = {"C": 1.2, "M": 1.2, "Y": 1.2, "K": 1.2, "W": 16.0}
UPKEEP_B = {"C": 1.6, "M": 1.6, "Y": 1.6, "K": 1.6, "W": 14.0}


class Shelf:
    """One item of the story: how it is ordered and how it comes."""

    def __init__(self, sku: str, supplier: str, pack: str, content: float, price: float) -> None:
        self.sku, self.supplier, self.pack = sku, supplier, pack
        self.content, self.price = content, price
        self.life = 330
        self.weeks = 6.0
        self.lead = (7, 3)


def write_supply(folder: Path, day: date, orders: list[Order], draws: np.random.Generator) -> None:
    """Write purchases.csv and deliveries.csv."""
    jobs: list[dict[str, Any]] = []
    counts: list[dict[str, Any]] = []
    use = _daily_use(folder, day, orders, draws, jobs)
    rows: list[dict[str, Any]] = []
    bought: list[dict[str, Any]] = []
    refs: dict[tuple[str, date], str] = {}
    for shelf in _shelves():
        _keep_supplied(shelf, use[shelf.sku], day, draws, rows, bought, refs, counts)
    _late_purchase(day, bought, refs)
    _soon_past_its_date(day, rows)
    rows.sort(key=lambda row: (row["received_on"], row["delivery"]))
    bought.sort(key=lambda row: (row["ordered_on"], row["purchase"]))
    write_rows(folder / "counts.csv", counts)
    write_rows(folder / "jobink.csv", jobs)
    write_rows(folder / "purchases.csv", bought)
    write_rows(folder / "deliveries.csv", rows)


def _shelves() -> list[Shelf]:
    found = []
    for sku, _, channel, _, price, _, content in INKS:
        shelf = Shelf(sku, "ALDER", f"AL-{sku}", content, price)
        shelf.weeks = 5.0 if channel == "W" else 9.0
        found.append(shelf)
    for sku, _, _, price, life, _ in PRETREATS:
        shelf = Shelf(sku, "ALDER", f"AL-{sku}", 5000, price)
        shelf.life = life
        found.append(shelf)
    for sku, _, _, _, _, _, amount, price in SUPPLIES:
        content = {"1 L": 1000.0, "5 L": 5000.0}.get(amount) or float(amount)
        shelf = Shelf(sku, "DAMSON", f"DA-{sku}", content, price)
        shelf.life, shelf.weeks, shelf.lead = 0, 10.0, (3, 1)
        found.append(shelf)
    for blank in blanks():
        shelf = Shelf(blank["sku"], "BRAMBLE", f"BR-{blank['sku']}", 1, blank["price"])
        shelf.life, shelf.weeks, shelf.lead = 0, 3.0, (2, 1)
        found.append(shelf)
    return found


def _count(sku: str, here: float, when: date) -> dict[str, Any]:
    """One row of the month-end count of the supplies, which nobody logs one by one."""
    return {
        "place": "SHELF",
        "sku": sku,
        "counted": int(here),
        "counted_on": when,
        "ref": f"{when:%Y-%m}/{sku}",
        "reason": "month end",
    }


def _job(
    order: Order, line: Line, ml: Mapping[str, float], draws: np.random.Generator
) -> dict[str, Any]:
    """A row of the press's own job log: it lays down more than the priors say, and varies."""
    job: dict[str, Any] = {
        "job": f"J-{order.ref}-{line.number}",
        "printed_on": order.outcome,
        "printer": line.printer,
        "order": order.ref,
        "line": line.number,
        "pieces": line.pieces,
    }
    for channel, used in ml.items():
        more = 1.12 if channel == "W" else 1.06
        job[channel] = round(used * line.pieces * more * float(draws.normal(1, 0.03)), 2)
    return job


def _daily_use(
    folder: Path,
    day: date,
    orders: list[Order],
    draws: np.random.Generator,
    jobs: list[dict[str, Any]],
) -> dict[str, dict[date, float]]:
    """What printing took per day and item, by the same measurement the shop uses."""
    from stock.ink.measure import estimate, measure_shares

    modes = {
        "standard": PrintMode(code="standard", choke_px=2),
        "bright": PrintMode(
            code="bright",
            choke_px=2,
            white_method="flat",
            passes={"C": 1.0, "M": 1.0, "Y": 1.0, "K": 1.0, "W": 3.0},
        ),
    }
    shade = {blank["sku"]: blank["shade"] for blank in blanks()}
    dose = {blank["sku"]: blank["dose"] for blank in blanks()}
    shares: dict[tuple[str, str, str], Any] = {}
    use: dict[str, dict[date, float]] = defaultdict(lambda: defaultdict(float))
    first = day
    for order in orders:
        if not order.printed or order.outcome is None:
            continue
        first = min(first, order.outcome)
        for line in order.lines:
            garment = shade[line.blank]
            key = (line.artwork, garment, line.mode)
            if key not in shares:
                path = folder / "artwork" / DRAWN[line.artwork][0]
                shares[key] = measure_shares(path, garment=garment, mode=modes[line.mode])
            one = estimate(
                shares[key],
                width_cm=line.width_cm,
                rates=prior_rates(modes[line.mode]),
                dose=PretreatDose(mg_per_cm2=dose[line.blank]),
                garment=garment,
            )
            if line.printer == "PRESS-A" and order.outcome > day - timedelta(weeks=12):
                jobs.append(_job(order, line, one.ml, draws))
            pieces = line.pieces * 1.03
            family = "BULK" if line.printer == "PRESS-B" else "CART"
            for channel, ml in one.ml.items():
                use[f"{family}-{channel}"][order.outcome] += ml * pieces
            use["PT-DARK"][order.outcome] += one.pretreat_g * pieces
            use[line.blank][order.outcome] += pieces
    for n in range((day - first).days):
        when = first + timedelta(days=n)
        for channel in "CMYKW":
            use[f"CART-{channel}"][when] += UPKEEP_A[channel]
            use[f"BULK-{channel}"][when] += UPKEEP_B[channel]
        for sku, _, _, prints, days, used, _, _ in SUPPLIES:
            use[sku][when] += used / days if days else 18.0 * used / float(prints)
    return use


def _keep_supplied(
    shelf: Shelf,
    use: dict[date, float],
    day: date,
    draws: np.random.Generator,
    rows: list[dict[str, Any]],
    bought: list[dict[str, Any]],
    refs: dict[tuple[str, date], str],
    counts: list[dict[str, Any]],
) -> None:
    """Walk the history day by day; order when what is here and coming covers too little."""
    if not use:
        use = {day - timedelta(days=200): 0.0}
    start = min(use) - timedelta(days=10)
    counted_on = day.replace(day=1) - timedelta(days=1)
    here = 0.0
    coming: list[tuple[date, float, int, str]] = []
    total = sum(use.values())
    usual = total / max((day - start).days, 1)
    when = start
    while when < day:
        for order in [one for one in coming if one[0] <= when]:
            coming.remove(order)
            here += order[1]
            _deliver(shelf, order, rows)
        here = max(0.0, here - use.get(when, 0.0))
        if when == counted_on and shelf.supplier == "DAMSON":
            counts.append(_count(shelf.sku, here, when))
        near = sum(use.get(when + timedelta(days=n), 0.0) for n in range(1, 22)) / 21
        rate = max(near, 0.6 * usual)
        position = here + sum(one[1] for one in coming)
        floor = rate * (shelf.lead[0] + 14) + (0.15 * shelf.content if shelf.content > 1 else 2)
        known = sum(use.get(when + timedelta(days=n), 0.0) for n in range(1, shelf.lead[0] + 6))
        urgent = when.weekday() < 5 and position < known + 2
        if when == start or urgent or (when.weekday() == 0 and position < floor):
            wanted = rate * 7 * shelf.weeks + floor - position
            packs = max(1, int(np.ceil(wanted / shelf.content)))
            lead = 1 if when == start else max(1, int(draws.normal(*shelf.lead)))
            due = when + timedelta(days=lead)
            ref = refs.setdefault((shelf.supplier, when), f"P{5001 + len(refs)}")
            promised = when + timedelta(days=shelf.lead[0])
            came = due <= day
            bought.append(
                {
                    "purchase": ref,
                    "supplier": shelf.supplier,
                    "ordered_on": when,
                    "code": shelf.pack,
                    "packs": packs,
                    "price": shelf.price,
                    "promised_on": promised,
                    "state": "sent",
                }
            )
            if came:
                coming.append((due, packs * shelf.content, packs, ref))
        when += timedelta(days=1)
    for order in coming:
        if order[0] <= day:
            _deliver(shelf, order, rows)


def _deliver(shelf: Shelf, order: tuple[date, float, int, str], rows: list[dict[str, Any]]) -> None:
    due, _, packs, ref = order
    rows.append(
        {
            "delivery": f"D-{ref}",
            "sku": shelf.sku,
            "packs": packs,
            "lot": f"{shelf.sku[:2]}{due:%y%j}{shelf.sku[-1]}" if shelf.life else "",
            "expires": due + timedelta(days=shelf.life) if shelf.life else "",
            "received_on": due,
            "supplier": shelf.supplier,
            "purchase": ref,
            "cost": round(packs * shelf.price, 2),
            "certificate": f"CERT-{shelf.sku}" if shelf.life else "",
        }
    )


def _late_purchase(
    day: date, bought: list[dict[str, Any]], refs: dict[tuple[str, date], str]
) -> None:
    """One order that should be here and is not."""
    ordered = day - timedelta(days=16)
    ref = f"P{5001 + len(refs)}"
    for pack, packs, price in (("CE-HOOD-BLK-L-12", 2, 149.54), ("CE-TEE-NVY-M-12", 3, 34.60)):
        bought.append(
            {
                "purchase": ref,
                "supplier": "CEDAR",
                "ordered_on": ordered,
                "code": pack,
                "packs": packs,
                "price": price,
                "promised_on": day - timedelta(days=4),
                "state": "sent",
            }
        )


def _soon_past_its_date(day: date, rows: list[dict[str, Any]]) -> None:
    """Lots bought cheaply with little life left: what the expiring list is for."""
    for sku, packs, ago, left, price in (
        ("CART-M", 6, 40, 24, 41.00),
        ("CART-Y", 3, 30, 61, 44.00),
        ("PT-POLY", 1, 60, 12, 39.00),
        ("BULK-Y", 1, 90, 45, 120.00),
        ("CART-W", 2, 20, 9, 70.00),
    ):
        received = day - timedelta(days=ago)
        rows.append(
            {
                "delivery": f"D-CLEAR-{sku}",
                "sku": sku,
                "packs": packs,
                "lot": f"CL{sku[-1]}{received:%y%j}",
                "expires": day + timedelta(days=left),
                "received_on": received,
                "supplier": "ALDER",
                "cost": round(packs * price, 2),
                "certificate": "",
            }
        )

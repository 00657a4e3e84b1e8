"""Orders of the invented shop: a trend, a season, clubs and web, quotes, cancellations."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from .artworks import DRAWN
from .catalogue import SIZE_SHARE, STYLES, blanks, write_rows

KINDS = {
    # customer kind: share of orders, mean pieces, days from order to due date, sizes per line
    "web": (0.52, 2.2, 7, 1),
    "club": (0.26, 26.0, 18, 4),
    "firm": (0.16, 34.0, 21, 5),
    "event": (0.06, 70.0, 26, 5),
}
FAMILY_WEIGHT = {
    ("TEE", "BLK"): 30,
    ("TEE", "WHT"): 17,
    ("TEE", "NVY"): 13,
    ("TEE", "SND"): 7,
    ("TEE", "FOR"): 4,
    ("HOOD", "BLK"): 9,
    ("HOOD", "NVY"): 4,
    ("HOOD", "SND"): 1.2,
    ("KID", "WHT"): 6,
    ("KID", "BLK"): 3,
    ("KID", "SKY"): 2,
}
MISPRINT_RATE = 0.021


@dataclass
class Line:
    """One line of one order."""

    number: int
    blank: str
    pieces: int
    artwork: str
    width_cm: float
    location: str
    mode: str
    printer: str


@dataclass
class Order:
    """One order or quote."""

    ref: str
    placed: date
    due: date
    kind: str
    customer: str
    stage: str
    outcome: date | None = None
    chance: float | None = None
    one_off: bool = False
    lines: list[Line] = field(default_factory=list)

    @property
    def printed(self) -> bool:
        """Whether it was printed before the demo's day."""
        return self.stage == "printed"


def _per_week(week: int, weeks: int, day: date) -> float:
    """Orders placed in a week: growing by half over the history, highest before Christmas."""
    then = day - timedelta(weeks=weeks - week)
    peak = math.exp(-(((then.timetuple().tm_yday - 325) / 26) ** 2))
    summer = 0.35 * math.exp(-(((then.timetuple().tm_yday - 165) / 30) ** 2))
    return (11.0 + 6.0 * week / weeks) * (1.0 + 0.75 * peak + summer)


def make_orders(draws: np.random.Generator, day: date, days: int) -> list[Order]:
    """Every order placed in the last ``days`` days, printed, open, quoted or cancelled."""
    families = list(FAMILY_WEIGHT)
    weights = np.array([FAMILY_WEIGHT[f] for f in families], float)
    weights /= weights.sum()
    kinds = list(KINDS)
    shares = np.array([KINDS[kind][0] for kind in kinds])
    weeks = days // 7
    orders: list[Order] = []
    number = 2001
    for week in range(weeks):
        for _ in range(int(draws.poisson(_per_week(week, weeks, day)))):
            placed = day - timedelta(days=days - 7 * week - int(draws.integers(0, 7)))
            placed = min(placed, day)
            kind = str(draws.choice(kinds, p=shares))
            _, pieces, lead, sizes = KINDS[kind]
            due = _working(placed + timedelta(days=max(2, int(draws.gamma(6, lead / 6)))))
            order = Order(
                f"F{number}", placed, due, kind, f"C-{int(draws.integers(100, 420))}", "released"
            )
            number += 1
            order.one_off = kind == "event" and bool(draws.random() < 0.5)
            _settle(order, draws, day)
            for n in range(1, 1 + int(1 + (draws.random() < 0.25))):
                family = families[int(draws.choice(len(families), p=weights))]
                _add_lines(order, draws, family, pieces, sizes, n)
            orders.append(order)
    return sorted(orders, key=lambda order: (order.placed, order.ref))


def _working(day: date) -> date:
    while day.weekday() > 4:
        day += timedelta(days=1)
    return day


def _settle(order: Order, draws: np.random.Generator, day: date) -> None:
    """How the order stands on the demo's day."""
    quoted = order.kind in ("club", "firm", "event") and bool(draws.random() < 0.55)
    lost = quoted and bool(draws.random() < 0.42)
    cancelled = not quoted and bool(draws.random() < 0.02)
    waits = 6 + int(draws.integers(0, 6))
    if quoted:
        order.chance = round(float(draws.uniform(0.35, 0.8)), 2)
    if lost and order.placed + timedelta(days=waits) < day:
        order.stage, order.outcome = "cancelled", order.placed + timedelta(days=waits)
    elif quoted and order.placed + timedelta(days=waits) >= day and order.due > day:
        order.stage = "quote"
    elif cancelled and order.placed + timedelta(days=3) < day:
        order.stage, order.outcome = "cancelled", order.placed + timedelta(days=3)
    elif order.due < day:
        order.stage = "printed"
        order.outcome = _working(order.due - timedelta(days=3))
        order.outcome = max(min(order.outcome, order.due), order.placed)
    elif order.placed > day - timedelta(days=3):
        order.stage = "confirmed"


def _add_lines(
    order: Order,
    draws: np.random.Generator,
    family: tuple[str, str],
    pieces: float,
    sizes: int,
    picture: int,
) -> None:
    style, colour = family
    _, colours, known, _ = STYLES[style]
    share = np.array([SIZE_SHARE[size] for size in known])
    total = max(1, int(draws.gamma(2.0, pieces / 2.0)))
    counts = draws.multinomial(total, share / share.sum())
    chosen = [n for n in np.argsort(-counts, kind="stable") if counts[n]][: max(1, sizes)]
    artwork = str(draws.choice(list(DRAWN)))
    location = "chest" if artwork == "MARK" else str(draws.choice(["front", "front", "back"]))
    width = 9.0 if artwork == "MARK" else float(draws.choice([24.0, 28.0, 30.0, 33.0]))
    if style == "KID":
        width = min(width, 22.0)
    dark = colours[colour] == "dark"
    for size in chosen:
        order.lines.append(
            Line(
                len(order.lines) + 1,
                f"{style}-{colour}-{known[size]}",
                int(counts[size]),
                artwork,
                width,
                location,
                "bright" if dark and picture == 2 else "standard",
                "PRESS-B" if total >= 8 else "PRESS-A",
            )
        )


def write_orders(folder: Path, day: date, orders: list[Order], draws: np.random.Generator) -> None:
    """Orders and the press's own list of runs."""
    rows: list[dict[str, Any]] = []
    runs: list[dict[str, Any]] = []
    number = 70001
    for order in orders:
        for line in order.lines:
            rows.append(
                {
                    "order": order.ref,
                    "line": line.number,
                    "placed_on": order.placed,
                    "due_on": order.due,
                    "stage": "released" if order.printed else order.stage,
                    "customer": order.customer,
                    "customer_kind": order.kind,
                    "win_probability": "" if order.chance is None else order.chance,
                    "blank": line.blank,
                    "quantity": line.pieces,
                    "artwork": line.artwork,
                    "mode": line.mode,
                    "location": line.location,
                    "width_cm": line.width_cm,
                    "printer": line.printer,
                    "outcome_on": "" if order.printed else order.outcome or "",
                    "one_off": "yes" if order.one_off else "no",
                }
            )
            if order.printed and order.outcome is not None:
                spoiled = int(draws.binomial(line.pieces, MISPRINT_RATE))
                runs.append(
                    {
                        "order": order.ref,
                        "line": line.number,
                        "printed_on": order.outcome,
                        "good": line.pieces,
                        "misprints": spoiled,
                        "printer": line.printer,
                        "ref": f"R{number}",
                        "location": line.location,
                    }
                )
                number += 1
    write_rows(folder / "orders.csv", rows)
    runs.sort(key=lambda run: (run["printed_on"], run["ref"]))
    write_rows(folder / "prints.csv", runs)


def blank_skus() -> list[str]:
    """Every blank's sku."""
    return [blank["sku"] for blank in blanks()]

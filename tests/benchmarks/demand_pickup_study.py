"""Study: pick-up on a real order book, by lead, against smoothing and the true final.

    STOCK_STUDY_DATA=<folder> python -m tests.benchmarks.demand_pickup_study

The resort hotel's bookings (Antonio, de Almeida and Nunes, 2019, Data in Brief 22) stand in for a
print shop's orders: placed on a day, due on a day, some cancelled. Lead k looks at the book on the
morning k weeks before the first day of the due week (lead 0: that very morning). Everything is
learnt from weeks that were over by then. Smoothing is the better, in hindsight, of rates 0.1, 0.2,
0.3, 0.5 at each lead. The data are complete for due weeks from 6 July 2015.
"""

from __future__ import annotations

import sys
from datetime import date

import numpy as np

from stock.demand.pickup import OrderBook, blend_weights, order_book, past_forecasts
from tests.benchmarks.demand_data import Floats, hotel_book

FIRST = date(2015, 7, 6)
LAST = date(2017, 8, 28)
LEADS = 7


def book() -> OrderBook:
    """The hotel's book, replayed week by week."""
    found = hotel_book()
    if found is None:
        sys.exit("STOCK_STUDY_DATA names no folder with hotel_orderbook_cancels.csv")
    booked, due, amount, kept, left = found
    return order_book(
        booked.tolist(),
        due.tolist(),
        amount,
        kept,
        [None if stayed else day for stayed, day in zip(kept, left.tolist(), strict=True)],
        first_day=FIRST,
        weeks=(LAST - FIRST).days // 7,
        max_lead=LEADS - 1,
    )


def upto(whole: OrderBook, week: int) -> OrderBook:
    """The book of the weeks before ``week``."""
    return OrderBook(
        whole.first_day,
        whole.on_book[:week],
        whole.to_come[:week],
        whole.survived[:week],
        whole.final[:week],
    )


def forecasts(whole: OrderBook, lead: int, weeks: range) -> dict[str, Floats]:
    """What each way said ``lead`` weeks before each of ``weeks``, and the truth."""
    said: dict[str, list[float]] = {"pick-up": [], "plain": [], "blend": [], "truth": []}
    for target in weeks:
        by_pickup, plain, truth = past_forecasts(upto(whole, target + 1), lead)
        weight = blend_weights(upto(whole, target - lead))[lead]
        said["pick-up"].append(by_pickup[-1])
        said["plain"].append(plain[-1])
        said["blend"].append(weight * by_pickup[-1] + (1 - weight) * plain[-1])
        said["truth"].append(truth[-1])
    found = {name: np.array(values) for name, values in said.items()}
    best = np.inf
    for rate in (0.1, 0.2, 0.3, 0.5):
        smooth = np.array([_smoothed(whole.final[: week - lead], rate) for week in weeks])
        loss = np.abs(smooth - found["truth"]).mean()
        if loss < best:
            best, found["smoothing"] = loss, smooth
    return found


def _smoothed(values: Floats, rate: float) -> float:
    level = float(values[:4].mean())
    for value in values:
        level += rate * (float(value) - level)
    return level


def show(whole: OrderBook, weeks: range) -> bool:
    """Print one table; True when the bounds hold."""
    print(
        f"\ntargets: weeks {weeks.start + 1} to {weeks.stop} of {len(whole.final)}; mean absolute "
        "error in nights, root mean square in brackets"
    )
    print(
        f"{'lead':>4}{'pick-up':>16}{'smoothing':>16}{'blend':>16}"
        f"{'over smoothing':>16}{'over its better part':>22}"
    )
    good = True
    for lead in range(LEADS):
        said = forecasts(whole, lead, weeks)
        truth = said["truth"]
        size = {n: float(np.abs(v - truth).mean()) for n, v in said.items()}
        root = {n: float(np.sqrt(((v - truth) ** 2).mean())) for n, v in said.items()}
        part = min(size["pick-up"], size["plain"])
        gain, loss = 1 - size["blend"] / size["smoothing"], size["blend"] / part - 1
        holds = (lead not in (0, 1) or gain >= 0.25) and loss <= 0.02
        good &= holds
        cells = "".join(
            f"{size[n]:>9.0f} ({root[n]:>4.0f})" for n in ("pick-up", "smoothing", "blend")
        )
        print(f"{lead:>4}{cells}{gain:>15.1%} {-loss:>+20.1%}  {'✓' if holds else '✗'}")
    return good


if __name__ == "__main__":
    orders = book()
    fine = show(orders, range(26, len(orders.final)))
    print("\nFor information, a book of only 10 to 26 weeks (10 targets, one falling winter):")
    show(orders, range(16, 26))
    sys.exit(0 if fine else 1)

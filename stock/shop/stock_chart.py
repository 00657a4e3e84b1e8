"""One item's stock and need as a chart of characters, drawn by plotext."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stock.plan.decisions import Decisions, ItemState


def stock_chart(state: ItemState, weekly: Decisions, *, width: int = 80, height: int = 20) -> str:
    """Stock if nothing is ordered with its band, need, deliveries, and the level to order at."""
    import plotext

    plotext.clear_figure()
    plotext.plot_size(width, height)
    plotext.theme("clear")
    weeks = len(state.stock_mid)
    ends = list(range(weeks + 1))
    here = state.on_hand_usable
    mid = [here, *state.stock_mid.tolist()]
    plotext.plot(ends, [here, *state.stock_high.tolist()], label="stock, high", marker="dot")
    plotext.plot(ends, mid, label="stock, nothing ordered", marker="braille")
    plotext.plot(ends, [here, *state.stock_low.tolist()], label="stock, low", marker="dot")
    need = [state.need_high.tolist(), state.need_low.tolist()]
    plotext.plot(ends[1:], need[0], label="need of the week, high", marker="+")
    plotext.plot(ends[1:], need[1], label="need of the week, low", marker="-")
    arrivals = [((day - weekly.day).days / 7, amount) for day, amount in state.deliveries]
    shown = [(week, amount) for week, amount in arrivals if week <= weeks]
    if shown:
        plotext.scatter(*map(list, zip(*shown, strict=True)), label="delivery", marker="D")
    if state.order_arrives is not None and state.order_amount > 0:
        at = (state.order_arrives - weekly.day).days / 7
        if at <= weeks:
            plotext.scatter([at], [state.order_amount], label="this order", marker="O")
    if state.level > 0:
        plotext.hline(state.level)
    starts = [weekly.day + timedelta(days=7 * week) for week in ends]
    plotext.xticks(ends, [f"{day:%d %b}" for day in starts])
    unit = "pieces" if state.unit == "each" else state.unit
    plotext.title(f"{state.item}, {unit} (line across: order below {state.level:,.0f})")
    return str(plotext.build())

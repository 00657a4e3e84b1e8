"""One item's stock and need as a chart of characters, drawn by plotext.

The library keeps one figure for the whole process: one chart is drawn at a time. Different letters
stand for different things, explained above and below the chart; no colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from math import ceil, floor, log10
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stock.plan.decisions import Decisions, ItemState


def begin(width: int, height: int) -> None:
    """An empty figure of so many characters, whatever the terminal's own size is."""
    import plotext

    plotext.clear_figure()
    plotext.limit_size(False, False)
    plotext.plot_size(width, height)
    plotext.theme("clear")


def label_weeks(ticks: Sequence[int], labels: Sequence[str], width: int) -> None:
    """Write as many evenly spaced labels below the chart as stand apart.

    Of labels that would touch the library drops some, and others in the next run.
    """
    import plotext

    room = (max(map(len, labels)) + 2) * len(labels)
    every = max(1, ceil(room / max(width - 10, 1)))
    plotext.xticks(list(ticks)[::every], list(labels)[::every])


def label_amounts(most: float, height: int) -> None:
    """Write round amounts beside the chart, from nothing to ``most``: steps of 1, 2 or 5."""
    import plotext

    wanted = max(height // 3, 2)
    power = 10.0 ** floor(log10(max(most, 1e-9) / wanted))
    step = next(power * times for times in (1, 2, 5, 10) if most <= power * times * wanted)
    ticks = [step * n for n in range(int(most / step * 1.0001) + 1)]
    plotext.yticks(ticks, [f"{tick:,.12g}" for tick in ticks])


def stock_chart(state: ItemState, weekly: Decisions, *, width: int = 80, height: int = 20) -> str:
    """Stock if nothing is ordered with its band, need, deliveries, and the level to order at."""
    import plotext

    begin(width, height)
    weeks = len(state.stock_mid)
    ends = list(range(weeks + 1))
    here = state.on_hand_usable
    plotext.plot(ends, [here, *state.stock_high.tolist()], marker="dot")
    plotext.plot(ends, [here, *state.stock_low.tolist()], marker="dot")
    plotext.plot(ends[1:], state.need_high.tolist(), marker="+")
    plotext.plot(ends[1:], state.need_low.tolist(), marker="-")
    plotext.plot(ends, [here, *state.stock_mid.tolist()], marker="braille")
    below = ["+ - need of the week (8 in 10)"]
    arrivals = [((day - weekly.day).days / 7, amount) for day, amount in state.deliveries]
    shown = [(week, amount) for week, amount in arrivals if week <= weeks]
    if shown:
        plotext.scatter(*map(list, zip(*shown, strict=True)), marker="D")
        below.append("D delivery")
    if state.order_arrives is not None and state.order_amount > 0:
        at = (state.order_arrives - weekly.day).days / 7
        if at <= weeks:
            plotext.scatter([at], [state.order_amount], marker="O")
            below.append("O this order")
    if state.level > 0:
        plotext.hline(state.level)
        below.append(f"─ order below {state.level:,.0f}")
    tops = [here, state.level, *state.stock_high, *state.need_high]
    tops += [amount for _, amount in shown]
    label_amounts(max([*tops, state.order_amount if "O this order" in below else 0.0]), height)
    starts = [weekly.day + timedelta(days=7 * week) for week in ends]
    label_weeks(ends, [f"{day:%d %b}" for day in starts], width)
    unit = "pieces" if state.unit == "each" else state.unit
    plotext.title(f"{state.item}, {unit}: ⠒ stock if nothing is ordered (• 8 in 10)")
    plotext.xlabel("  ".join(below))
    return str(plotext.build())

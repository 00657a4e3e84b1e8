"""One item's stock and need as a chart of characters, drawn by plotext.

The library keeps one figure for the whole process: one chart is drawn at a time. Different letters
stand for different things, explained above and below the chart; no colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from math import ceil, floor, log10
from textwrap import wrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stock.plan.decisions import Decisions, ItemState

WHOLE = "\N{NO-BREAK SPACE}"


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

    unit = "pieces" if state.unit == "each" else state.unit
    above = wrap(f"{state.item}, {unit}: ⠒ stock if nothing is ordered (• 8 in 10)", width)
    kept = "  ".join(part.replace(" ", WHOLE) for part in _key(state, weekly))
    below = [line.replace(WHOLE, " ") for line in wrap(kept, width)]
    height -= len(above) + len(below)
    begin(width, height)
    weeks = len(state.stock_mid)
    ends = list(range(weeks + 1))
    here = state.on_hand_usable
    plotext.plot(ends, [here, *state.stock_high.tolist()], marker="dot")
    plotext.plot(ends, [here, *state.stock_low.tolist()], marker="dot")
    plotext.plot(ends[1:], state.need_high.tolist(), marker="+")
    plotext.plot(ends[1:], state.need_low.tolist(), marker="-")
    plotext.plot(ends, [here, *state.stock_mid.tolist()], marker="braille")
    shown = _arrivals(state, weekly)
    if shown:
        plotext.scatter(*map(list, zip(*shown, strict=True)), marker="D")
    order = _order(state, weekly)
    if order is not None:
        plotext.scatter([order[0]], [order[1]], marker="O")
    if state.level > 0:
        plotext.hline(state.level)
    tops = [here, state.level, *state.stock_high, *state.need_high]
    tops += [amount for _, amount in shown]
    label_amounts(max([*tops, order[1] if order else 0.0]), height)
    starts = [weekly.day + timedelta(days=7 * week) for week in ends]
    label_weeks(ends, [f"{day:%d %b}" for day in starts], width)
    return "\n".join([*above, str(plotext.build()).rstrip("\n"), *below])


def _arrivals(state: ItemState, weekly: Decisions) -> list[tuple[float, float]]:
    """Deliveries within the chart: weeks from now, amount."""
    found = [((day - weekly.day).days / 7, amount) for day, amount in state.deliveries]
    return [(week, amount) for week, amount in found if week <= len(state.stock_mid)]


def _order(state: ItemState, weekly: Decisions) -> tuple[float, float] | None:
    """The order on the list, likewise."""
    if state.order_arrives is None or state.order_amount <= 0:
        return None
    week = (state.order_arrives - weekly.day).days / 7
    return (week, state.order_amount) if week <= len(state.stock_mid) else None


def _key(state: ItemState, weekly: Decisions) -> list[str]:
    """What the letters stand for; the library leaves out what is too wide, so it is ours."""
    key = ["+ - need of the week (8 in 10)"]
    if _arrivals(state, weekly):
        key.append("D delivery")
    if _order(state, weekly) is not None:
        key.append("O this order")
    if state.level > 0:
        key.append(f"─ order below {state.level:,.0f}")
    return key

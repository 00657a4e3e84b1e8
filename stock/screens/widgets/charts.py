"""Charts of orders by week and of lots by date, drawn by the chart library or told in text.

Different letters stand for different things, so that no meaning hangs on colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from textwrap import wrap
from typing import TYPE_CHECKING

from stock.clock import monday_of, week_label

if TYPE_CHECKING:
    from stock.plan.decisions import ExpiringLot
    from stock.shop.views.jobs import Job

STAGES = ("released", "confirmed", "quote")
MARKS = {"released": "█", "confirmed": "▒", "quote": "░"}
WEEKS_OF_ORDERS = 8
WEEKS_OF_LOTS = 13


def pipeline(jobs: Sequence[Job], day: date) -> tuple[list[date], dict[str, list[int]]]:
    """Pieces left by week and stage; what is late counts for this week, the far for the last."""
    first = monday_of(day)
    weeks = [first + timedelta(days=7 * n) for n in range(WEEKS_OF_ORDERS)]
    pieces = {stage: [0] * len(weeks) for stage in STAGES}
    for job in jobs:
        place = max(0, min((monday_of(job.due_on) - first).days // 7, len(weeks) - 1))
        pieces[job.stage][place] += job.left
    return weeks, pieces


def pipeline_told(jobs: Sequence[Job], day: date, width: int) -> str:
    """A bar of letters a week."""
    weeks, pieces = pipeline(jobs, day)
    most = max((sum(n) for n in zip(*pieces.values(), strict=True)), default=0)
    bar = max(width - 16, 8)
    lines = ["Pieces left: " + "  ".join(f"{MARKS[stage]} {stage}" for stage in STAGES)]
    for place, week in enumerate(weeks):
        total = sum(pieces[stage][place] for stage in STAGES)
        cells = "".join(
            MARKS[stage] * round(pieces[stage][place] / most * bar) if most else ""
            for stage in STAGES
        )
        plus = "+" if place == len(weeks) - 1 else " "
        lines.append(f"{week_label(week)}{plus}{total:>6,} {cells[:bar]}")
    return "\n".join(lines)


def pipeline_drawn(jobs: Sequence[Job], day: date, width: int, height: int) -> str:
    """Stacked bars by week."""
    import plotext

    from stock.shop.stock_chart import WHOLE, begin, label_amounts, label_weeks

    weeks, pieces = pipeline(jobs, day)
    labels = [f"{week.isocalendar().week}" for week in weeks]
    labels[-1] += "+"
    key = "  ".join(f"{MARKS[stage]}{WHOLE}{stage}" for stage in STAGES)
    above = wrap(f"Pieces left to print, by ISO week due:  {key}", width)
    begin(width, height - len(above))
    plotext.stacked_bar(
        labels,
        [pieces[stage] for stage in STAGES],
        marker=[MARKS[stage] for stage in STAGES],
        width=0.7,
    )
    label_weeks(range(1, len(weeks) + 1), labels, width)
    label_amounts(max(map(sum, zip(*pieces.values(), strict=True))), height)
    return "\n".join([*(line.replace(WHOLE, " ") for line in above), str(plotext.build())])


def lots_by_week(lots: Sequence[ExpiringLot], day: date) -> tuple[list[date], list[float]]:
    """Value at risk by the week of the date, minor units; what is past counts for this week."""
    first = monday_of(day)
    weeks = [first + timedelta(days=7 * n) for n in range(WEEKS_OF_LOTS)]
    risk = [0.0] * len(weeks)
    for lot in lots:
        place = (monday_of(lot.effective_expiry) - first).days // 7
        if place < len(weeks):
            risk[max(place, 0)] += lot.value_at_risk
    return weeks, risk


def lots_told(lots: Sequence[ExpiringLot], day: date, width: int) -> str:
    """A bar a week that has any."""
    weeks, risk = lots_by_week(lots, day)
    most = max(risk, default=0.0)
    bar = max(width - 22, 8)
    lines = ["Value expected to be left, by the week of the date"]
    for week, value in zip(weeks, risk, strict=True):
        if value > 0:
            cells = "█" * max(round(value / most * bar), 1)
            lines.append(f"{week_label(week)} {value / 100:>10,.2f} {cells}")
    return "\n".join(lines if len(lines) > 1 else ["Nothing is expected to be left."])


def lots_drawn(lots: Sequence[ExpiringLot], day: date, width: int, height: int) -> str:
    """Bars by week."""
    import plotext

    from stock.shop.stock_chart import begin, label_amounts, label_weeks

    weeks, risk = lots_by_week(lots, day)
    above = wrap("Value expected to be left, by the ISO week of its date", width)
    begin(width, height - len(above))
    # Weeks without any are left out of the bars: the library draws a row even for nothing.
    some = [(place, value / 100) for place, value in enumerate(risk) if value > 0]
    if some:
        plotext.bar([place for place, _ in some], [value for _, value in some], width=0.6)
    plotext.xlim(-0.5, len(weeks) - 0.5)
    label_amounts(max(risk) / 100, height)
    label_weeks(range(len(weeks)), [f"{week.isocalendar().week}" for week in weeks], width)
    return "\n".join([*above, str(plotext.build())])

"""An item's weeks to come in text: expected stock, need, deliveries and level, line by line.

Legible at 30 columns and by a screen reader; no colour.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stock.plan.decisions import ItemState


def projection_text(state: ItemState, day: date, width: int) -> str:
    """Bars of the usable stock at the end of each week if nothing is ordered.

    ``▒`` is stock that 9 paths in 10 have, ``░`` what half of them have; ``|`` marks the level.
    """
    weeks = len(state.stock_mid)
    if not weeks:
        return f"{state.item}: nothing is planned for it."
    highest = max(float(state.stock_mid.max()), float(state.stock_low.max()), state.level, 1e-9)
    bar = max(width - 22, 8)
    level_at = min(round(state.level / highest * bar), bar - 1)
    unit = "pieces" if state.unit == "each" else state.unit
    lines = [
        f"{state.item}: usable stock at week's end, ordering nothing ({unit})",
        f"level {state.level:,.4g}   up to {state.order_up_to:,.4g}   | marks the level",
    ]
    for week in range(weeks):
        sure = round(float(state.stock_low[week]) / highest * bar)
        likely = round(float(state.stock_mid[week]) / highest * bar)
        cells = ["▒" if n < sure else "░" if n < likely else " " for n in range(bar)]
        cells[level_at] = "|"
        ends = day + timedelta(days=7 * (week + 1))
        lines.append(
            f"{ends:%m-%d} {''.join(cells)} {float(state.stock_mid[week]):>6,.4g}"
            f" −{float(state.need_mid[week]):,.3g}"
        )
    for when, amount in state.deliveries:
        lines.append(f"{when:%m-%d} + {amount:,.4g} on order")
    return "\n".join(lines)

"""How unsure a need is because the rates behind it are: ink per area and print, pretreat, upkeep.

Base units. The paths of need carry these errors; here they are put into one figure for people.
"""

from __future__ import annotations

import math

from stock.plan.snapshot import Snapshot


def rate_doubt(
    snapshot: Snapshot, sku: str, *, printed: float, days: float, upkeep: float
) -> float:
    """Standard deviation that the rates give to a need of ``printed`` + ``upkeep``.

    Args:
        printed: Need for prints, booked or not.
        days: Days over which upkeep is lost.
        upkeep: Need for upkeep in them.

    One error of a rate is in every print, so it grows with the need and not with its root; upkeep
    errs by itself. What open orders take stands for the mix of prints, else the loosest link does.
    """
    uses = [
        (line.pieces * use.amount, line.pieces * use.sd)
        for line in snapshot.order_lines
        for use in line.uses
        if use.item == sku
    ]
    amount = sum(mean for mean, _ in uses)
    if amount > 0:
        share = sum(sd for _, sd in uses) / amount
    else:
        links = [link for link in snapshot.links if link.item == sku and link.factor > 0]
        share = max((link.factor_sd / link.factor for link in links), default=0.0)
    lost = sum(loss.per_day_sd**2 for loss in snapshot.upkeep if loss.item == sku)
    return math.hypot(share * printed, math.sqrt(lost) * days if upkeep > 0 else 0.0)

"""Lines of one supplier that share an order: its cost, its minimum, its freight.

Money is in minor units. Nothing here knows a forecast.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from stock.plan.decisions import SupplierTotal
from stock.plan.findings import Checked
from stock.plan.snapshot import Snapshot
from stock.plan.standing import Best, Standing


def line_costs(snapshot: Snapshot, terms: Checked) -> Mapping[tuple[str, str], float]:
    """Cost of one more order line of an item from a supplier, its share of the order included."""
    lines: dict[str, int] = {}
    for offers in terms.offers.values():
        for supplier in {offer.supplier for offer in offers}:
            lines[supplier] = lines.get(supplier, 0) + 1
    costs = {}
    for item, offers in terms.offers.items():
        for offer in offers:
            supplier_terms = terms.suppliers[offer.supplier]
            share = supplier_terms.order_cost_minor / max(1.0, lines[offer.supplier] / 4)
            costs[item, offer.supplier] = supplier_terms.line_cost_minor + share
    return costs


def settle_orders(
    snapshot: Snapshot, standings: list[Standing]
) -> tuple[list[Standing], list[SupplierTotal], list[str]]:
    """Each supplier's order as a whole."""
    totals: dict[str, list[Best]] = {}
    for stand in standings:
        if stand.best is not None and stand.best.packs:
            totals.setdefault(stand.best.offer.supplier, []).append(stand.best)
    found = []
    for code, lines in sorted(totals.items()):
        timing = lines[0].timing
        goods = sum(best.choice.cost for best in lines if best.choice)
        terms = timing.supplier
        waived = terms.free_freight_minor > 0 and goods >= terms.free_freight_minor
        found.append(
            SupplierTotal(
                code,
                len(lines),
                goods,
                0.0 if waived else terms.freight_minor,
                terms.order_cost_minor,
                terms.minimum_minor,
                max(terms.minimum_minor - goods, 0.0),
                snapshot.day + timedelta(days=timing.order_offset),
            )
        )
    return standings, found, []

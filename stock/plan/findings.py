"""Terms that cannot be planned with, said in sentences and left out, never a crash.

Checked are suppliers, offers, lots and settings of a snapshot; what passes is what the planner
reads. Nothing here decides what to order.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from stock.demand.known import ItemTerms
from stock.plan.lead_time import REACH_DAYS
from stock.plan.snapshot import Offer, PriceBreak, Snapshot, SupplierTerms


@dataclass(frozen=True, eq=False)
class Checked:
    """Terms that can be planned with, and what was wrong with the others."""

    items: tuple[ItemTerms, ...]
    suppliers: dict[str, SupplierTerms]
    offers: dict[str, tuple[Offer, ...]]
    findings: tuple[str, ...]


def check_terms(snapshot: Snapshot) -> Checked:
    """The snapshot's terms with the unusable ones left out and reported."""
    said: list[str] = []
    items = tuple(_item(item, said) for item in snapshot.items)
    suppliers: dict[str, SupplierTerms] = {}
    for supplier in snapshot.suppliers:
        checked = _supplier(supplier, said)
        if checked is not None:
            suppliers[supplier.code] = checked
    known = {item.sku: item for item in items}
    offers: dict[str, list[Offer]] = {}
    for offer in snapshot.offers:
        if offer.item not in known:
            said.append(f"{_offer(offer)} is for an item the plan does not know; left out.")
        elif offer.supplier not in suppliers:
            if all(offer.supplier != supplier.code for supplier in snapshot.suppliers):
                said.append(f"{_offer(offer)} names a supplier the plan does not know; left out.")
        else:
            checked_offer = _checked_offer(offer, said)
            if checked_offer is not None:
                offers.setdefault(offer.item, []).append(checked_offer)
    for item in items:
        if item.reorder and item.sku not in offers:
            said.append(f"{item.sku} has no usable offer: it is watched but cannot be ordered.")
    ranked = {sku: tuple(sorted(found, key=_rank)) for sku, found in offers.items()}
    return Checked(items, suppliers, ranked, tuple(said))


def _rank(offer: Offer) -> tuple[bool, str, float, str]:
    return (not offer.preferred, offer.supplier, offer.amount, offer.pack)


def _offer(offer: Offer) -> str:
    return f"Pack {offer.pack!r} of {offer.item} from {offer.supplier}"


def _finite(values: Iterable[float]) -> bool:
    return all(math.isfinite(value) for value in values)


def _item(item: ItemTerms, said: list[str]) -> ItemTerms:
    changes: dict[str, float] = {}
    if not 0 < item.service < 1:
        said.append(f"{item.sku}: service {item.service} is not between 0 and 1; 0.95 is used.")
        changes["service"] = 0.95
    if not 0 < item.waste_risk <= 1:
        said.append(f"{item.sku}: waste risk {item.waste_risk} is not in 0–1; 0.10 is used.")
        changes["waste_risk"] = 0.10
    if not (item.shortage_cost_minor >= 0 and math.isfinite(item.shortage_cost_minor)):
        said.append(f"{item.sku}: shortage cost {item.shortage_cost_minor} is no cost; 0 is used.")
        changes["shortage_cost_minor"] = 0.0
    return replace(item, **changes) if changes else item  # type: ignore[arg-type]


def _supplier(supplier: SupplierTerms, said: list[str]) -> SupplierTerms | None:
    who = f"Supplier {supplier.code}"
    if not supplier.order_days:
        said.append(f"{who} has no order day; its offers are left out.")
        return None
    if any(not 0 <= day <= 6 for day in supplier.order_days):
        said.append(f"{who} has an order day that is no weekday (0–6); its offers are left out.")
        return None
    if not math.isfinite(supplier.lead_days) or not 0 <= supplier.lead_days <= REACH_DAYS / 3:
        said.append(
            f"{who} states a lead time of {supplier.lead_days} working days; "
            "its offers are left out."
        )
        return None
    costs = {
        "order_cost_minor": supplier.order_cost_minor,
        "line_cost_minor": supplier.line_cost_minor,
        "minimum_minor": supplier.minimum_minor,
        "freight_minor": supplier.freight_minor,
        "free_freight_minor": supplier.free_freight_minor,
        "lead_sd_days": supplier.lead_sd_days,
    }
    wrong = {name: 0.0 for name, value in costs.items() if not (value >= 0 and _finite([value]))}
    for name in wrong:
        said.append(f"{who}: {name} is {costs[name]}, no amount; 0 is used.")
    dirt = sum(came < placed for placed, came, _, _ in supplier.lead_history)
    if dirt:
        said.append(f"{who}: {dirt} past deliveries came before they were ordered; not counted.")
    return replace(supplier, **wrong) if wrong else supplier  # type: ignore[arg-type]


def _checked_offer(offer: Offer, said: list[str]) -> Offer | None:
    if not (offer.amount > 0 and math.isfinite(offer.amount)):
        said.append(f"{_offer(offer)} holds {offer.amount}; left out.")
        return None
    if not (offer.price_minor >= 0 and math.isfinite(offer.price_minor)):
        said.append(f"{_offer(offer)} costs {offer.price_minor}; left out.")
        return None
    changes: dict[str, object] = {}
    if offer.multiple < 1:
        said.append(f"{_offer(offer)} is sold in multiples of {offer.multiple}; 1 is used.")
        changes["multiple"] = 1
    if offer.min_packs < 1:
        said.append(f"{_offer(offer)} has a minimum of {offer.min_packs} packs; 1 is used.")
        changes["min_packs"] = 1
    if offer.shelf_life_days is not None and offer.shelf_life_days <= 0:
        said.append(f"{_offer(offer)} arrives expired ({offer.shelf_life_days} days); left out.")
        return None
    sound = _breaks(offer, said)
    if sound != offer.breaks:
        changes["breaks"] = sound
    return replace(offer, **changes) if changes else offer  # type: ignore[arg-type]


def _breaks(offer: Offer, said: list[str]) -> tuple[PriceBreak, ...]:
    """Price breaks in rising packs and falling price; others are reported and left out."""
    kept: list[PriceBreak] = []
    price, packs = offer.price_minor, 1
    in_order = sorted(offer.breaks, key=lambda step: step.from_packs)
    if list(offer.breaks) != in_order:
        said.append(f"{_offer(offer)}: price breaks are out of order; they are sorted.")
    for step in in_order:
        sound = step.from_packs > packs and 0 <= step.price_minor < price
        if sound and math.isfinite(step.price_minor):
            kept.append(step)
            price, packs = step.price_minor, step.from_packs
        else:
            said.append(
                f"{_offer(offer)}: the break at {step.from_packs} packs for "
                f"{step.price_minor:g} is no better than what comes before it; left out."
            )
    return tuple(kept)

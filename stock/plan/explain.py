"""A line's arithmetic in sentences a person can follow with a pocket calculator.

Amounts are shown in base units with as many decimals as the line needs, the same in every
sentence, so that the printed figures add up to within one in the last place. Nothing here
decides.
"""

from __future__ import annotations

from datetime import timedelta

from stock.plan.amount import Choice
from stock.plan.price import purchase_cost
from stock.plan.rate_doubt import rate_doubt
from stock.plan.snapshot import Snapshot
from stock.plan.standing import Best, Standing
from stock.units import shown_unit


class Figures:
    """How one line's amounts and money are written.

    Args:
        unit: The item's base unit.
        largest: Largest amount of the line, base units; it sets unit and decimals for all.
        system: ``metric`` or ``us``.
    """

    def __init__(self, unit: str, largest: float, currency: str, system: str = "metric") -> None:
        self.unit, self.size = shown_unit(unit, system, largest)
        self.currency = currency
        largest = largest / self.size
        if unit == "each":
            self.places = 1 if largest < 100 else 0
        else:
            self.places = 2 if largest < 10 else 1 if largest < 1000 else 0

    def number(self, amount: float) -> str:
        """An amount without its unit."""
        return f"{amount / self.size + 0.0:,.{self.places}f}"

    def amount(self, amount: float) -> str:
        """An amount with its unit."""
        return self.number(amount) if self.unit == "each" else f"{self.number(amount)} {self.unit}"

    def pack(self, amount: float) -> str:
        """What a pack holds, exact enough to divide by."""
        text = f"{amount / self.size:,.3f}".rstrip("0").rstrip(".")
        return text if self.unit == "each" else f"{text} {self.unit}"

    def money(self, minor: float) -> str:
        """Money in the currency's main unit."""
        return f"{minor / 100:,.2f} {self.currency}".rstrip()


def percent(chance: float) -> str:
    """A chance for people: whole per cent, never a false 0 or 100.

    >>> percent(0.0004), percent(0.123)
    ('under 1 %', '12 %')
    """
    if 0 < chance < 0.01:
        return "under 1 %"
    if 0.99 < chance < 1:
        return "over 99 %"
    return f"{chance * 100:.0f} %"


def reasons(snapshot: Snapshot, stand: Standing, best: Best, choice: Choice) -> tuple[str, ...]:
    """Why this line, step by step."""
    judge, offer, timing = best.judge, best.offer, best.timing
    say = Figures(
        stand.item.unit,
        max(judge.order_up_to, stand.position + choice.amount),
        snapshot.settings.currency,
        snapshot.settings.units,
    )
    day = snapshot.day
    said = [_on_hand(say, stand)]
    if stand.shelf.sd > 0:
        said.append(
            f"Of it {say.amount(stand.shelf.unsure)} are in slots not measured for long, unsure by "
            f"± {say.amount(stand.shelf.sd)}: the level allows for that; weigh or dip them."
        )
    said += _left_out(say, stand)
    said += _on_order(say, stand, snapshot)
    said.append(
        f"Position: {say.number(stand.usable)} usable + {say.number(stand.on_order)} on order "
        f"= {say.amount(stand.position)}."
    )
    order_on = day + timedelta(days=timing.order_offset)
    next_on = day + timedelta(days=timing.next_offset)
    low, high = timing.nine_in_ten
    said.append(
        f"An order on {order_on.isoformat()} is here in {timing.mean_lead_days:.1f} days on "
        f"average (9 in 10 between {low} and {high}); the next chance is {next_on.isoformat()}, "
        f"so stock must last {stand.protection_days:.1f} days."
    )
    need = stand.need
    said.append(
        f"Need in that time: {say.number(need.firm)} firm + {say.number(need.quotes)} quotes + "
        f"{say.number(need.unbooked)} not yet booked + {say.number(need.upkeep)} upkeep "
        f"= {say.amount(need.total)}."
    )
    said += _doubted(say, snapshot, stand)
    said.append(_level(say, stand, best))
    said.append(
        f"Lot on top {say.number(judge.order_up_to - judge.level)}: order up to "
        f"{say.number(judge.level)} + {say.number(judge.order_up_to - judge.level)} "
        f"= {say.amount(judge.order_up_to)}."
    )
    if best.lingers > 1:
        said.append(
            f"Need is uneven: what is bought at a peak outlasts it, so holding counts "
            f"{best.lingers:g} times."
        )
    short = judge.order_up_to - stand.position
    packs = f"{choice.packs} packs are" if choice.packs != 1 else "1 pack is"
    packs = f"{packs} {say.amount(choice.amount)}"
    if short > 0:
        said.append(
            f"Short: {say.number(judge.order_up_to)} − {say.number(stand.position)} = "
            f"{say.amount(short)} = {short / offer.amount:.2f} packs of "
            f"{say.pack(offer.amount)}; {packs}."
        )
    else:
        said.append(f"Nothing is short; {packs}.")
    if choice.topped_up:
        said.append(
            f"{choice.topped_up} of the {choice.packs} packs are only there to reach what "
            f"{offer.supplier} asks of an order: they cost least to have early."
        )
    said += _rounding(say, best, choice, short)
    plain = float(purchase_cost(offer, choice.packs))
    each = plain / choice.packs
    said.append(f"Cost: {choice.packs} × {say.money(each)} = {say.money(plain)}.")
    said.append(
        f"Ordering nothing, it runs out before the next chance delivers with chance "
        f"{percent(stand.stockout_chance)}, and before this order is here with chance "
        f"{percent(stand.runs_dry_before_delivery)}."
    )
    if judge.outlives is not None:
        said.append(
            f"Chance that some of this order expires unused: {percent(choice.expiry_chance)} "
            f"(accepted: {percent(judge.waste_risk)})."
        )
    said += _compared(say, best)
    said.append(f"Order by {best.order_by.isoformat()}.")
    return tuple(said)


def _on_hand(say: Figures, stand: Standing) -> str:
    lots = [
        f"lot {entry.lot.lot or '–'} at {entry.lot.place} {say.number(entry.amount)}"
        + (f" until {entry.lot.effective_expiry.isoformat()}" if entry.lot.effective_expiry else "")
        for entry in stand.shelf.counted
    ]
    shown = lots if len(lots) <= 6 else [*lots[:6], f"and {len(lots) - 6} more"]
    listed = f": {'; '.join(shown)}" if shown else ""
    return f"On hand, unexpired and ours: {say.amount(stand.shelf.amount)}{listed}."


def _doubted(say: Figures, snapshot: Snapshot, stand: Standing) -> list[str]:
    need = stand.need
    doubt = rate_doubt(
        snapshot,
        stand.item.sku,
        printed=need.total - need.upkeep,
        days=stand.protection_days,
        upkeep=need.upkeep,
    )
    if doubt < 0.005 * need.total:
        return []
    return [
        f"The rates of ink and pretreat leave it unsure by ± {say.amount(doubt)}: the level allows "
        f"for that; weighing and calibrating narrow it."
    ]


def _left_out(say: Figures, stand: Standing) -> list[str]:
    said = [
        f"Not counted: {say.amount(amount)} of lot {lot.lot or '–'} at {lot.place}, {reason}."
        for lot, amount, reason in stand.shelf.left_out
    ]
    for entry, gone in stand.lost:
        expiry = entry.lot.effective_expiry
        said.append(
            f"Not cover: {say.amount(gone)} of lot {entry.lot.lot or '–'} are expected to be "
            f"left when it expires on {expiry.isoformat() if expiry else '–'}."
        )
    if stand.lost:
        gone = sum(rest for _, rest in stand.lost)
        said.append(
            f"Usable: {say.number(stand.shelf.amount)} − {say.number(gone)} "
            f"= {say.amount(stand.usable)}."
        )
    return said


def _on_order(say: Figures, stand: Standing, snapshot: Snapshot) -> list[str]:
    said = []
    for due in stand.due:
        line = due.line
        expected = snapshot.day + timedelta(days=round(due.mean_day))
        late = snapshot.day + timedelta(days=due.late_day)
        overdue = line.promised_on is not None and line.promised_on < snapshot.day
        said.append(
            f"On order: {say.amount(line.amount)} by purchase {line.purchase}"
            f"{'' if line.sent else ' (not sent yet)'}, expected {expected.isoformat()}, "
            f"9 in 10 by {late.isoformat()}"
            f"{', late: ask the supplier' if overdue else ''}."
        )
    return said


def _level(say: Figures, stand: Standing, best: Best) -> str:
    level = best.judge.level
    item = stand.item
    if item.shortage_cost_minor > 0:
        how = (
            f"below it waiting a week costs more than ordering (one {say.unit} short for a week "
            f"costs {say.money(item.shortage_cost_minor * say.size)})"
        )
    elif item.service_kind == "fill":
        lot = ", with the lot on top," if best.judge.order_up_to > level else ""
        how = f"the lowest that{lot} serves {item.service:.1%} of need from stock"
    else:
        courses = len(best.timing.arrive)
        how = f"the need stays at or below it in {item.service:.1%} of {courses} courses"
    margin = level - stand.need.total
    usual = best.judge.usual_level
    if level > usual and say.number(level) == say.number(usual):
        how = f"booked orders need as much, so that none waits; it is also {how}"
    elif level > usual:
        how = f"booked orders need as much, so that none waits; {say.amount(usual)} would be {how}"
    return (
        f"Level {say.amount(level)}: {how}; that is {say.number(stand.need.total)} expected "
        f"{'+' if margin >= 0 else '−'} {say.number(abs(margin))} safety."
    )


def _compared(say: Figures, best: Best) -> list[str]:
    """The other packs and suppliers of the item, by what each costs a week in the long run."""
    if len(best.compared) < 2:
        return []
    shown = [
        f"{offer.supplier} pack {offer.pack} {say.money(cost)}"
        + (" (preferred, so taken first)" if offer.preferred else "")
        for offer, cost in best.compared
    ]
    listed = shown if len(shown) <= 6 else [*shown[:6], f"and {len(shown) - 6} more"]
    return [f"Compared, with holding, ordering and what expires, a week: {'; '.join(listed)}."]


def _rounding(say: Figures, best: Best, choice: Choice, short: float) -> list[str]:
    offer = best.offer
    said = []
    if choice.held_by == "joins":
        said.append(
            f"It need not be ordered yet; as an order to {offer.supplier} goes out anyway, joining "
            "it costs less than an order of its own soon."
        )
    if offer.multiple > 1 or offer.min_packs > 1:
        said.append(f"Sold in multiples of {offer.multiple} packs, at least {offer.min_packs}.")
    reached = [step for step in offer.breaks if step.from_packs <= choice.packs]
    if reached:
        step = max(reached, key=lambda step: step.from_packs)
        which = (
            "every pack costs" if offer.breaks_kind == "all_units" else "each further pack costs"
        )
        said.append(f"From {step.from_packs} packs on {which} {say.money(step.price_minor)}.")
    if choice.amount < short - 1e-9:
        gap = short - choice.amount
        why = {
            "risk": "more would too likely expire unused",
            "accepted": "more would too likely expire unused",
        }.get(choice.held_by, "one step more costs more to hold than it saves")
        said.append(f"That leaves {say.amount(gap)} to the order-up-to level: {why}.")
    if choice.held_by == "accepted":
        said.append("Even the smallest order may partly expire; going without would cost more.")
    return said

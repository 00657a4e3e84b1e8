r"""Which look at the machine would be worth most to this week's list.

Levels and rates are believed with a spread. A slot's level is its last look less what was used
since, so it is unsure by that look and by the rates, and the same rates decide the need to come:
weighing one slot tells of its level, of its rate, and so of the need of every slot like it.

The worth is the **expected value of sample information** (Raiffa & Schlaifer, Applied Statistical
Decision Theory, 1961, ch. 4): how much the expected cost of the best order falls when the look's
outcome is known before ordering. Cost of an order is mL short × price of being short + mL too many
× price of holding them. Outcomes are simulated: stratified draws of what the scale may say, the
same draws for every look; given an outcome all is normal and costs are exact.

Volumes are mL. Nothing here reads a book.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from stock.ink.belief import Belief
from stock.ink.interval import Use

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

OUTCOMES: Final = 400
"""Stratified outcomes simulated per look."""

_MOST_PACKS: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class SlotState:
    """A slot, its ink, and how well its level is known.

    Args:
        slot, item: Code of the slot, and of the ink in it.
        printer, channel: Whose rates empty it.
        level_ml: Believed level today.
        look_sd_ml: Standard deviation of the last look.
        since: What was done since that look.
        upcoming: What will be done until an order placed next week would arrive.
        method, method_sd_ml: How the slot can be looked at, and how well that tells.
        capacity_ml: What the slot can hold; infinity: not stated. However long ago the last look
            was, the level lies between nothing and this, so its spread is at most that of a
            level of which nothing more is known (capacity / √12).
    """

    slot: str
    item: str
    printer: str
    channel: str
    level_ml: float
    look_sd_ml: float
    since: Use
    upcoming: Use
    method: str = "weigh"
    method_sd_ml: float = 2.0
    capacity_ml: float = math.inf


@dataclass(frozen=True, slots=True)
class ItemState:
    """An ink as the list sees it, beside its slots.

    Args:
        item: Its code.
        spare_ml: On the shelf and on the way, in time.
        pack_ml: Size of a pack; 0: not ordered in packs, any amount.
        short_per_ml, over_per_ml: Cost of a mL missing, and of one too many until next week.
        need_sd_ml: Spread of the need that comes from demand, not from rates.
    """

    item: str
    spare_ml: float
    pack_ml: float
    short_per_ml: float
    over_per_ml: float
    need_sd_ml: float = 0.0


@dataclass(frozen=True, slots=True)
class Look:
    """What one look would be worth.

    Args:
        slot, item, method: Where, of what, how.
        worth: Expected fall of the list's cost, in the prices' unit.
        chance: Chance that the list changes.
        packs_now: Packs the list holds without the look, by item; of ``item``.
        level_sd_ml, level_sd_after_ml: Spread of the level now and after the look.
        changes: Items whose line would change in at least one outcome in a hundred.
    """

    slot: str
    item: str
    method: str
    worth: float
    chance: float
    packs_now: int
    level_sd_ml: float
    level_sd_after_ml: float
    changes: tuple[str, ...] = field(default=())

    def sentence(self) -> str:
        """For the screen."""
        if self.chance < 0.005:
            return (
                f"{self.method.capitalize()} {self.slot} ({self.item}): known to "
                f"± {self.level_sd_ml:.0f} mL, and the list would stay as it is."
            )
        return (
            f"{self.method.capitalize()} {self.slot} ({self.item}): known to "
            f"± {self.level_sd_ml:.0f} mL; the list changes with a chance of {self.chance:.0%}."
        )


def weigh_next(
    slots: Sequence[SlotState],
    items: Sequence[ItemState],
    beliefs: Mapping[tuple[str, str], Belief],
) -> tuple[Look, ...]:
    """All possible looks, the one worth most first.

    Args:
        slots: Slots that can be looked at.
        items: The inks in them.
        beliefs: Rates by (printer, channel) of every slot.
    """
    world = _World(slots, items, beliefs)
    looks = [world.worth_of(position) for position in range(len(slots))]
    return tuple(sorted(looks, key=lambda look: (-look.worth, -look.chance, look.slot)))


class _World:
    """Joint normal belief of all levels and of every item's stock after the need to come."""

    def __init__(
        self,
        slots: Sequence[SlotState],
        items: Sequence[ItemState],
        beliefs: Mapping[tuple[str, str], Belief],
    ) -> None:
        import numpy as np
        from scipy.stats import norm

        self.slots = list(slots)
        self.items = {item.item: item for item in items}
        by_channel: dict[tuple[str, str], list[int]] = defaultdict(list)
        for position, slot in enumerate(self.slots):
            by_channel[(slot.printer, slot.channel)].append(position)
        count = len(self.slots)
        # Level after the need to come, and level now, of every slot: one shared rate error.
        known = [_share_believed(slot, beliefs) for slot in self.slots]
        looked = [share * slot.look_sd_ml for share, slot in zip(known, self.slots, strict=True)]
        self.level_cov = np.diag(np.square(looked)).astype(float)
        self.cross = self.level_cov.copy()
        self.end_cov = self.level_cov.copy()
        self.end_mean = np.zeros(count)
        for key, positions in by_channel.items():
            belief = beliefs[key]
            since = np.array([known[i] * belief.row(self.slots[i].since) for i in positions])
            ahead = np.array([belief.row(self.slots[i].upcoming) for i in positions])
            both = since + ahead
            at = np.ix_(positions, positions)
            self.level_cov[at] += since @ belief.covariance @ since.T
            self.cross[at] += both @ belief.covariance @ since.T
            self.end_cov[at] += both @ belief.covariance @ both.T
            for i, row in zip(positions, ahead, strict=True):
                self.end_mean[i] = self.slots[i].level_ml - float(row @ belief.mean)
        self.draws = norm.ppf((np.arange(OUTCOMES) + 0.5) / OUTCOMES)
        self.of_item: dict[str, list[int]] = defaultdict(list)
        for position, slot in enumerate(self.slots):
            self.of_item[slot.item].append(position)

    def stock_of(self, item: ItemState) -> tuple[float, float]:
        """(mean, variance) of an item's stock after the need to come, without an order."""
        import numpy as np

        positions = self.of_item[item.item]
        mean = item.spare_ml + float(self.end_mean[positions].sum())
        variance = float(self.end_cov[np.ix_(positions, positions)].sum())
        return mean, variance + item.need_sd_ml**2

    def worth_of(self, look: int) -> Look:
        """Value of looking at one slot, over all items it tells of."""
        import numpy as np

        slot = self.slots[look]
        level_variance = float(self.level_cov[look, look])
        seen_variance = level_variance + slot.method_sd_ml**2
        worth = 0.0
        stays = np.ones(OUTCOMES, bool)
        changed: list[str] = []
        packs_now = 0
        for code, positions in self.of_item.items():
            item = self.items.get(code)
            if item is None:
                continue
            mean, variance = self.stock_of(item)
            shared = float(self.cross[positions, look].sum())
            now = best_order(item, np.array([mean]), math.sqrt(variance))
            if code == slot.item:
                packs_now = int(now[0])
            if shared == 0 or seen_variance == 0:
                continue
            moved = shared / math.sqrt(seen_variance)
            after_sd = math.sqrt(max(variance - moved**2, 0.0))
            means = mean + moved * self.draws
            then = best_order(item, means, after_sd)
            blind = order_cost(item, np.full(OUTCOMES, now[0]), means, after_sd)
            seen = order_cost(item, then, means, after_sd)
            worth += float((blind - seen).mean())
            differs = then != now[0]
            stays &= ~differs
            if differs.mean() >= 0.01:
                changed.append(code)
        left = 1 / (1 / level_variance + 1 / slot.method_sd_ml**2) if level_variance > 0 else 0.0
        return Look(
            slot=slot.slot,
            item=slot.item,
            method=slot.method,
            worth=worth,
            chance=float(1.0 - stays.mean()),
            packs_now=packs_now,
            level_sd_ml=math.sqrt(level_variance),
            level_sd_after_ml=math.sqrt(left),
            changes=tuple(changed),
        )


def _share_believed(slot: SlotState, beliefs: Mapping[tuple[str, str], Belief]) -> float:
    """Factor on a level's spread that keeps it within what the slot can hold."""
    belief = beliefs[(slot.printer, slot.channel)]
    since = belief.row(slot.since)
    spread = math.sqrt(slot.look_sd_ml**2 + float(since @ belief.covariance @ since))
    most = slot.capacity_ml / math.sqrt(12)
    return most / spread if spread > most else 1.0


def order_cost(item: ItemState, packs: Floats, mean: Floats, sd: float) -> Floats:
    r"""Expected cost of ordering so many packs when stock after need is normal.

    With z = (mean + order) / sd: short mL = sd·(φ(z) − z·(1 − Φ(z))), too many = mean + order +
    short (the unit normal loss; Silver, Pyke & Thomas, Inventory and Production Management,
    4th ed. 2017, app. II).
    """
    import numpy as np
    from scipy.stats import norm

    stock = mean + packs * _step_ml(item)
    if sd <= 0:
        short = np.maximum(-stock, 0.0)
    else:
        z = stock / sd
        short = sd * (norm.pdf(z) - z * norm.sf(z))
    cost: Floats = item.short_per_ml * short + item.over_per_ml * (stock + short)
    return cost


def best_order(item: ItemState, mean: Floats, sd: float) -> Floats:
    """Packs that cost least, for each mean of the stock after need.

    The cost is convex in the order, so the best whole number stands beside the newsvendor's
    fractile (short / (short + over)).
    """
    import numpy as np
    from scipy.stats import norm

    step = _step_ml(item)
    total = item.short_per_ml + item.over_per_ml
    if total <= 0:
        return np.zeros_like(mean)
    fractile = min(max(item.short_per_ml / total, 1e-9), 1 - 1e-9)
    wanted = np.clip((norm.ppf(fractile) * sd - mean) / step, 0, _MOST_PACKS)
    below = np.floor(wanted)
    cheaper = order_cost(item, below + 1, mean, sd) < order_cost(item, below, mean, sd)
    packs: Floats = np.where(cheaper, below + 1, below)
    return packs


def _step_ml(item: ItemState) -> float:
    """What one more of the order adds, mL; without packs, a millilitre."""
    return item.pack_ml if item.pack_ml > 0 else 1.0

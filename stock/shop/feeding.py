"""Ink out of a printer's slots, with refills assumed where a file says it was printed all the same.

A press list from months ago names no cartridge swaps. When what a slot can give is less than a
run took, a fresh container must have gone in: it is loaded from the shelf (FEFO), the old one's
unusable rest goes to waste, and the entry says that this was assumed. By hand nothing is assumed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from stock.book.containers import loaded_in
from stock.book.drawing import Draw, apportion, blended
from stock.book.posting import Holding, Place, Posting
from stock.errors import Refused, Unknown
from stock.shop.loading import Load, post_load

ASSUMED = "assumed: the slot had too little for what a file says was used"


class Feeder:
    """Draws from slots within one posting; counts the refills it had to assume."""

    def __init__(self, posting: Posting, *, assume_swaps: bool = False) -> None:
        self.posting = posting
        self.assume_swaps = assume_swaps
        self.swaps_assumed = 0

    def take(
        self, slots: Sequence[Place], asked: int, day: date, post: Callable[[list[Draw]], None]
    ) -> list[Draw]:
        """Draw up to ``asked`` from ``slots``; ``post`` books each batch before a refill.

        Without assumed refills a slot gives all it has, its unusable rest too: it was printed.
        """
        if not self.assume_swaps:
            draws = blended(self._inside(slots), asked)
            post(draws)
            return draws
        taken: list[Draw] = []
        while True:
            draws = self._above_rest(slots, asked - sum(draw.amount for draw in taken))
            if draws:
                post(draws)
                taken += draws
            if sum(draw.amount for draw in taken) >= asked or not self._refill(slots, day):
                break
        missing = asked - sum(draw.amount for draw in taken)
        if missing > 0:
            rest = blended(self._inside(slots), missing)
            if rest:
                post(rest)
                taken += rest
        return taken

    def _inside(self, slots: Sequence[Place]) -> list[Holding]:
        return [held for slot in slots for held in self.posting.slot_holdings(slot.id)]

    def _above_rest(self, slots: Sequence[Place], asked: int) -> list[Draw]:
        """Draws that leave every slot its unusable rest: what a refill is not needed for."""
        inside = [self.posting.slot_holdings(slot.id) for slot in slots]
        if len(slots) == 1:
            usable_here = sum(held.amount for held in inside[0]) - slots[0].unusable_rest
            return blended(inside[0], min(asked, usable_here))
        usable = [
            max(0, sum(held.amount for held in held_there) - slot.unusable_rest)
            for slot, held_there in zip(slots, inside, strict=True)
        ]
        asked = min(asked, sum(usable))
        if asked <= 0:
            return []
        return [
            draw
            for held_there, part in zip(inside, apportion(usable, asked), strict=True)
            for draw in blended(held_there, part)
        ]

    def _refill(self, slots: Sequence[Place], day: date) -> bool:
        """Load the emptiest slot from the shelf; False when there is nothing to load."""

        def fullness(slot: Place) -> tuple[int, int]:
            inside = self.posting.slot_holdings(slot.id)
            usable = max(0, sum(held.amount for held in inside) - slot.unusable_rest)
            return usable, max((held.container_id or 0 for held in inside), default=0)

        emptiest = min(slots, key=fullness)
        if emptiest.item_id is None:
            return False
        cartridge = emptiest.feed != "tank" and loaded_in(self.posting, emptiest.id)
        fresh = Load(emptiest.code, day, old="waste" if cartridge else "", note=ASSUMED)
        try:
            post_load(self.posting, fresh)
        except (Refused, Unknown):
            return False
        self.swaps_assumed += 1
        return True

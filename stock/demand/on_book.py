"""What the order lines on the book need of each item, path by path.

Amounts are float32 in each item's base unit; arrays are (weeks, paths) or (paths, days). Each order
draws from its own stream whether it is printed, each line from its own what is spoiled: another
line changes nothing in it.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import Final

import numpy as np
import numpy.typing as npt

from stock.demand.draws import stream
from stock.demand.explode import Exploded, FirmNeed

Paths = npt.NDArray[np.float32]

_LINES_KEPT: Final = 4096


class OnBook:
    """Draws the need of exploded order lines."""

    def __init__(self, need: FirmNeed, n_paths: int, horizon_weeks: int, seed: int) -> None:
        self.need, self.n_paths, self.horizon_weeks, self.seed = need, n_paths, horizon_weeks, seed
        self._lines_of: dict[int, list[tuple[int, float, float]]] = {}
        for place, line in enumerate(need.lines):
            for row, amount, sd in line.uses:
                self._lines_of.setdefault(row, []).append((place, amount, sd))
        self._pieces: OrderedDict[int, Paths] = OrderedDict()

    def pieces(self, place: int) -> Paths:
        """Garments printed for one line in each path, misprints included; 0 where it is not."""
        kept = self._pieces.get(place)
        if kept is None:
            kept = _pieces_of(self.need.lines[place], self.n_paths, self.seed)
            self._pieces[place] = kept
            if len(self._pieces) > _LINES_KEPT:
                self._pieces.popitem(last=False)
        return kept

    def by_day(self, row: int, rate_error: Callable[[], Paths]) -> dict[int, Paths]:
        """Need of item ``row`` by day with a line, each (paths,).

        Args:
            rate_error: How wrong the item's rate is in each path, in standard deviations.
        """
        days: dict[int, Paths] = {}
        lines = self._lines_of.get(row, ())
        error = rate_error() if any(sd for _, _, sd in lines) else None
        for place, amount, sd in lines:
            use = self.pieces(place) * np.float32(amount)
            if sd and error is not None:
                rate = np.maximum(np.float32(amount) + np.float32(sd) * error, 0)
                use = self.pieces(place) * rate
            offset = self.need.lines[place].offset
            days[offset] = days[offset] + use if offset in days else use
        return days

    def prints_by_day(self) -> Paths:
        """Garments printed for all lines together, shape (paths, days)."""
        total = np.zeros((self.n_paths, 7 * self.horizon_weeks), np.float32)
        for place, line in enumerate(self.need.lines):
            total[:, line.offset] += self.pieces(place)
        return total


def _pieces_of(line: Exploded, n_paths: int, seed: int) -> Paths:
    printed = stream(seed, "order", line.line.order).random(n_paths) < line.probability
    draws = stream(seed, "line", line.line.order, line.line.line)
    whole = max(1, round(line.line.pieces))
    spoiled = draws.binomial(whole, line.misprint_rate, n_paths) * (line.line.pieces / whole)
    return np.where(printed, line.line.pieces + spoiled, 0.0).astype(np.float32)

"""What is not on the book yet: the forecast of each week, less what has already been ordered.

Two ways are blended week by week with the weights pick-up learnt. Pick-up thins the week's
forecast to the orders still to be placed: the week is taken as so many orders of the item's usual
size, each still to come with the share that lead has shown. The plain way takes the forecast less
what the path has on the book. Either grows by no more than the book falls, so another firm order
never lowers a path. Amounts are float32 in the item's base unit; arrays are (weeks, paths).
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from stock.demand.draws import number, parts, stream
from stock.demand.drivers import Drive
from stock.demand.forecast import Forecast
from stock.demand.known import Floats, ItemTerms
from stock.demand.pickup import Pickup
from stock.demand.thinning import Keeping, on_grid

Paths = npt.NDArray[np.float32]

SHARE_GROUPS: Final = 8
"""Paths are dealt into this many groups by size share; within a group the share is one number."""
_GROUP_SCORES: Final = (-1.5341, -0.8871, -0.4888, -0.1573, 0.1573, 0.4888, 0.8871, 1.5341)
"""Standard normal quantiles at the middles of eight equal parts."""
_SERIES_KEPT: Final = 64


class Unbooked:
    """Draws what each item will need beyond the order lines of today."""

    def __init__(
        self,
        items: Sequence[ItemTerms],
        drives: Sequence[tuple[Drive, ...]],
        forecast: Forecast,
        pickup: Pickup,
        order_size: Floats,
        n_paths: int,
        seed: int,
    ) -> None:
        self.items, self.drives, self.forecast = items, drives, forecast
        self.order_size, self.n_paths, self.seed = order_size, n_paths, seed
        self.weeks = forecast.weekly_mean.shape[1]
        self._series: OrderedDict[int, Paths] = OrderedDict()
        self._keeping = Keeping(pickup.share_to_come[: self.weeks]) if pickup.usable else None
        self._weight = pickup.weight[: self.weeks].astype(np.float32)[:, None]
        self._week = np.arange(self.weeks)[:, None]

    def series(self, place: int) -> Paths:
        """Paths of one driving series."""
        kept = self._series.get(place)
        if kept is None:
            kept = self.forecast.draw(place, self.n_paths, self.seed)
            self._series[place] = kept
            if len(self._series) > _SERIES_KEPT:
                self._series.popitem(last=False)
        return kept

    def rate_error(self, row: int) -> Paths:
        """How wrong the item's rate is in each path, in standard deviations, shape (paths,)."""
        draws = stream(self.seed, "rate", self.items[row].sku)
        return draws.standard_normal(self.n_paths, dtype=np.float32)

    def total(self, row: int) -> Paths | None:
        """What the plain forecast says the item needs, before the book is looked at."""
        total: Paths | None = None
        for drive in self.drives[row]:
            path = self.series(drive.series)
            if drive.share_weights is not None:
                path = self._share_of(row, path, drive.share_weights)
            factor = np.float32(drive.factor)
            if drive.factor_sd:
                wrong = np.float32(drive.factor_sd) * self.rate_error(row)
                path = path * np.maximum(factor + wrong, 0)
            elif factor != 1:
                path = path * factor
            total = path if total is None else total + path
        return None if total is None else np.asarray(total, np.float32)

    def _share_of(self, row: int, path: Paths, weights: tuple[float, float]) -> Paths:
        """A size's part of its family: each garment is of this size with an uncertain chance."""
        chances = share_chances(*weights)
        sku = self.items[row].sku
        turn = number(self.seed, "size", sku) % self.n_paths
        group = (np.arange(self.n_paths) + turn) % self.n_paths * SHARE_GROUPS // self.n_paths
        pieces = np.rint(path)
        drawn = parts(self.seed, f"size {sku}", self.n_paths, self.weeks)
        return Keeping(on_grid(chances)).kept(pieces, group[None, :], drawn)

    def paths(self, row: int, on_book: Paths | None) -> Paths | None:
        """What is still to come, shape (weeks, paths); None for an item that nothing drives.

        Args:
            on_book: What the path has on the book per week, or None for nothing.
        """
        total = self.total(row)
        if total is None:
            return None
        plain = total if on_book is None else np.maximum(total - on_book, 0)
        if self._keeping is None:
            return np.asarray(plain, np.float32)
        size = np.float32(max(self.order_size[row], 1e-9))
        orders = np.maximum(np.rint(total / size), 1)
        drawn = parts(self.seed, f"orders {self.items[row].sku}", self.n_paths, self.weeks)
        coming = self._keeping.kept(orders, self._week, drawn)
        coming *= total
        coming /= orders
        coming -= plain
        coming *= self._weight
        coming += plain
        return np.asarray(np.maximum(coming, 0), np.float32)


def share_chances(own: float, others: float) -> list[float]:
    """A size's chance in each of eight equal groups of paths; their mean is the expected share.

    The spread is that of the Dirichlet posterior; the groups stand at its normal quantiles, cut
    at a fifth of the mean and at 1.
    """
    total = own + others
    mean = own / total
    spread = (mean * (1 - mean) / (total + 1)) ** 0.5
    raw = [min(max(mean + score * spread, 0.2 * mean), 1.0) for score in _GROUP_SCORES]
    fit = mean * SHARE_GROUPS / sum(raw)
    return [min(chance * fit, 1.0) for chance in raw]

"""What series of one class say about each other's rare weeks.

A series' own past holds few rare weeks, so the distance from its median up to a high quantile is
poorly known. Over a class that distance follows the size of a use, how often there is one and the
median; each series keeps part of its own departure from that and drops the rest. And one odd week
of an erratic series says little about the next: what lies far above its usual use is pulled in
before any level is smoothed. Amounts are in each series' own unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from stock.demand.known import Floats
from stock.demand.quantile_tables import MEDIAN

KEPT: Final[Mapping[str, float]] = {"smooth": 0.4, "erratic": 0.4, "lumpy": 0.7}
"""Share of its own departure, in logs, that a series keeps where many are alike; others: all."""
_WORTH: Final = 20.0
"""Series alike at which half of what could be dropped is dropped."""
LEAST_ALIKE: Final = 8
_LEAST_WIDTH: Final = 1e-4
"""Least distance from the median, as a share of the mean."""

CALMED: Final = "erratic"
_FAR: Final = 7.0
"""Times the median use above which a week counts as odd."""


def calmed(values: Floats) -> Floats:
    """Weeks above 7 median uses drawn down to the geometric mean of that bound and themselves.

    Args:
        values: Use per week, shape (series, weeks); NaN before a series began.

    >>> import numpy as np
    >>> calmed(np.array([[1.0, 0, 1, 1, 28]])).tolist()
    [[1.0, 0.0, 1.0, 1.0, 14.0]]
    """
    used = np.where(values > 0, values, np.nan)
    some = ~np.isnan(used).all(axis=1)
    bound = np.full((len(values), 1), np.inf)
    bound[some, 0] = _FAR * np.nanmedian(used[some], axis=1)
    with np.errstate(invalid="ignore"):
        return np.where(values > bound, np.sqrt(values * bound), values)


def calm_rows(values: Floats, classes: npt.NDArray[np.str_]) -> Floats:
    """``values`` with the rows of the calmed class calmed."""
    rows = np.flatnonzero(classes == CALMED)
    if not len(rows):
        return values
    found = values.copy()
    found[rows] = calmed(values[rows])
    return found


@dataclass(frozen=True, eq=False)
class Alike:
    """Usual widths by class: coefficients of log width, shape (4, H × levels above the median)."""

    usual: Mapping[str, Floats] = field(default_factory=dict)
    kept: Mapping[str, float] = field(default_factory=dict)

    def settle(self, quantiles: Floats, values: Floats, classes: npt.NDArray[np.str_]) -> None:
        """Draw the upper quantiles of every row towards its class's, in place.

        Args:
            quantiles: Shape (series, H, levels), rising in level.
            values: Use per week, as the quantiles were found from.
        """
        for name, usual in self.usual.items():
            rows = np.flatnonzero(classes == name)
            if not len(rows):
                continue
            own, facts = _widths(quantiles[rows], values[rows])
            likely = facts @ usual
            width = np.exp(likely + self.kept[name] * (own - likely))
            middle = quantiles[rows, :, MEDIAN : MEDIAN + 1]
            shape = (len(rows), quantiles.shape[1], -1)
            quantiles[rows, :, MEDIAN + 1 :] = middle + width.reshape(shape)


def learn_alike(quantiles: Floats, values: Floats, classes: npt.NDArray[np.str_]) -> Alike:
    """Usual widths over these series, by least squares; arguments as :meth:`Alike.settle`."""
    usual: dict[str, Floats] = {}
    kept: dict[str, float] = {}
    for name, share in KEPT.items():
        rows = np.flatnonzero(classes == name)
        if len(rows) < LEAST_ALIKE:
            continue
        own, facts = _widths(quantiles[rows], values[rows])
        usual[name] = np.asarray(np.linalg.lstsq(facts, own, rcond=None)[0], np.float64)
        kept[name] = 1 - (1 - share) * len(rows) / (len(rows) + _WORTH)
    return Alike(usual, kept)


def _widths(quantiles: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Log distances from the median, (series, H × levels), and what they hang on, (series, 4)."""
    mean = np.nanmean(values, axis=1)
    root = np.nanmean(np.sqrt(values), axis=1) ** 2
    size = np.exp(np.nanmean(np.log(np.where(values > 0, values, np.nan)), axis=1))
    often = np.nanmean(np.where(np.isnan(values), np.nan, values > 0), axis=1)
    middle = np.maximum(quantiles[:, -1, MEDIAN], 1e-2 * root)
    facts = np.stack([np.ones(len(mean)), np.log(size), np.log(often), np.log(middle)], axis=1)
    away = quantiles[:, :, MEDIAN + 1 :] - quantiles[:, :, MEDIAN : MEDIAN + 1]
    least = _LEAST_WIDTH * mean[:, None, None]
    return np.log(np.maximum(away, least)).reshape(len(mean), -1), facts

"""What is believed of one channel's rates: a mean and a covariance over named coefficients.

Coefficients are one laydown per print mode (mL per cm² of full tone), then mL per print, per
start-up and per day. A belief turns a :class:`~stock.ink.interval.Use` into mL with a variance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from stock.ink.interval import Use
from stock.ink.mode import Rate

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

OVERHEADS: Final = ("per_print_ml", "per_start_ml", "per_day_ml")

MODE_CORRELATION: Final = 0.6
"""Correlation of the priors of two modes' laydown: the same heads drop the same volume.

Judgement, no source.
"""


@dataclass(frozen=True, eq=False)
class Belief:
    """Mean and covariance of a channel's coefficients: each mode's mL/cm², then overheads."""

    modes: tuple[str, ...]
    mean: Floats
    covariance: Floats

    def row(self, use: Use) -> Floats:
        """The quantities of ``use`` in the order of the coefficients.

        A mode the belief does not know counts with the mean of those it knows.
        """
        import numpy as np

        count = len(self.modes)
        row = np.zeros(count + len(OVERHEADS))
        for mode, area in use.covered_cm2.items():
            if mode in self.modes:
                row[self.modes.index(mode)] += area
            else:
                row[:count] += area / count
        row[count:] = use.prints, use.starts, use.days
        return row

    def expected_ml(self, use: Use) -> float:
        """mL that ``use`` is expected to take."""
        return float(self.row(use) @ self.mean)

    def variance_ml2(self, use: Use) -> float:
        """Variance of that expectation, mL²."""
        row = self.row(use)
        return float(row @ self.covariance @ row)


def prior_belief(rates: Mapping[str, Rate]) -> Belief:
    """The belief before any interval, from prior rates by mode.

    Overheads are the machine's, not the mode's: the first mode's are taken.
    """
    import numpy as np

    if not rates:
        raise ValueError("a belief needs the prior rate of at least one mode")
    modes = tuple(rates)
    first = rates[modes[0]]
    laydown = [rates[mode].per_cm2_ul / 1000 for mode in modes]
    laydown_sd = np.array([rates[mode].per_cm2_ul_sd / 1000 for mode in modes])
    overhead_sd = np.array([first.per_print_ml_sd, first.per_start_ml_sd, first.per_day_ml_sd])
    size = len(modes) + len(OVERHEADS)
    covariance = np.zeros((size, size))
    shared = np.full((len(modes), len(modes)), MODE_CORRELATION)
    np.fill_diagonal(shared, 1.0)
    covariance[: len(modes), : len(modes)] = shared * np.outer(laydown_sd, laydown_sd)
    covariance[len(modes) :, len(modes) :] = np.diag(overhead_sd**2)
    mean = [*laydown, first.per_print_ml, first.per_start_ml, first.per_day_ml]
    return Belief(modes, np.array(mean), covariance)


def design(belief: Belief, uses: Sequence[Use]) -> Floats:
    """One row per use, in the order of the belief's coefficients."""
    import numpy as np

    rows = [belief.row(use) for use in uses]
    return np.array(rows) if rows else np.zeros((0, len(belief.mean)))

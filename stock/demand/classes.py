"""Classes of demand by how often and how unevenly it comes.

Values are amounts per week in any one unit; the class does not depend on the unit. Nothing here
looks at a calendar.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from stock.demand.known import Floats

ADI_CUT: Final = 1.32
CV2_CUT: Final = 0.49
CLASSES: Final = ("smooth", "intermittent", "erratic", "lumpy", "none")


def interval_and_cv2(values: Floats) -> tuple[Floats, Floats]:
    """Average interval between demands and squared coefficient of variation of their sizes.

    The interval is weeks known / weeks with demand; the variation is that of the non-zero sizes,
    with divisor n (ddof 0). NaN weeks (before the item existed) do not count. A series without
    demand has an infinite interval and CV² 0.

    Args:
        values: Amount per week, shape (series, weeks).

    Source: Syntetos, Boylan and Croston (2005), "On the categorization of demand patterns",
    Journal of the Operational Research Society 56.
    """
    known = ~np.isnan(values)
    positive = known & (np.nan_to_num(values) > 0)
    demands = positive.sum(axis=1)
    sizes = np.where(positive, values, 0.0)
    scale = np.maximum(sizes.max(axis=1, initial=0.0), 1e-300)[:, None]
    shrunk = sizes / scale
    some = np.maximum(demands, 1)
    mean = shrunk.sum(axis=1) / some
    spread = (np.where(positive, shrunk - mean[:, None], 0.0) ** 2).sum(axis=1) / some
    with np.errstate(divide="ignore", invalid="ignore"):
        interval = np.where(demands > 0, known.sum(axis=1) / demands, np.inf)
        cv2 = np.where(demands > 0, spread / mean**2, 0.0)
    return interval, cv2


def classify(values: Floats) -> npt.NDArray[np.str_]:
    """Class of each series: smooth, intermittent, erratic, lumpy, or none (no demand at all).

    Cuts are an interval of 1.32 weeks and CV² of 0.49; a value on the cut counts as above it.

    Args:
        values: Amount per week, shape (series, weeks); NaN before an item existed.

    >>> import numpy as np
    >>> classify(np.array([[0.0, 0, 5, 0, 6, 0, 0, 5, 0, 6, 0, 0]])).tolist()
    ['intermittent']
    """
    interval, cv2 = interval_and_cv2(values)
    often, even = interval < ADI_CUT, cv2 < CV2_CUT
    return np.select(
        [~np.isfinite(interval), often & even, ~often & even, often & ~even],
        ["none", "smooth", "intermittent", "erratic"],
        default="lumpy",
    )

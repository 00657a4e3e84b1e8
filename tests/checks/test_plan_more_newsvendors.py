"""More newsvendors with normal need as limit cases of the planner: one review, lead time fixed.

Holding a unit too many costs its price less its salvage, missing one costs its margin; with a lead
time of L reviews the need of L + 1 is covered.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.checks.test_plan_level_values import normal_chances, policy


@pytest.mark.parametrize(
    ("hold", "short", "mean", "sd", "periods", "up_to", "step"),
    [
        # Nahmias, Production and Operations Analysis: sold at .75, bought at .25, salvage .10
        # (from memory, recomputed).
        (0.15, 0.50, 11.73, 4.74, 1, 15.2201374484, 0.05),
        # Cachon and Terwiesch, Matching Supply with Demand: 190, 110, 90 (from memory, recomputed).
        (20, 80, 3192, 1181, 1, 4185.95467685, 8.0),
        # Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., Example 4.4 (lead time
        # 4), as in stockpyl's tests.
        (0.18, 0.70, 50, 8, 5, 264.766894374, 0.5),
    ],
)
def test_the_level_is_the_newsvendors(hold, short, mean, sd, periods, up_to, step):
    need = normal_chances(mean, sd, step, 1024)
    covered = normal_chances(mean * periods, sd * np.sqrt(periods), step, 1024)
    found = policy(
        *(need, covered),
        hold=hold,
        short=short,
        order=0.0,
        mean=float(np.dot(np.arange(1024) * step, covered)),
        step=step,
    )
    assert found.later_up_to[0] == pytest.approx(up_to, abs=step)

"""Published and constructed examples of non-negative least squares, through our solver.

Sources: the scipy.optimize.nnls documentation examples; one example of our own (ink by dot class),
solved besides by enumerating active sets; ridge regression in closed form (Hoerl & Kennard 1970);
deleted residuals by refitting without the row.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from stock.ink.calibrate import Interval, _deleted_residuals, fit_channel
from stock.ink.least_squares import solve
from stock.ink.mode import Rate


@pytest.mark.parametrize(
    ("a", "b", "x", "norm"),
    [
        ([[1, 0], [1, 0], [0, 1]], [2, 1, 1], [1.5, 1.0], 0.7071067811865475),
        ([[1, 0], [1, 0], [0, 1]], [-1, -1, -1], [0.0, 0.0], 1.7320508075688772),
        (
            [[1200, 300, 80], [900, 450, 60], [1500, 100, 120], [400, 700, 20], [1000, 500, 90]],
            [11.9, 9.4, 15.2, 5.1, 11.2],
            [0.00726617688663, 0.00204126892056, 0.0331623551433],
            0.196417603919,
        ),
    ],
)
def test_solver_reproduces_the_examples(
    a: list[list[float]], b: list[float], x: list[float], norm: float
) -> None:
    rows, target = np.array(a, float), np.array(b, float)
    found = solve(rows, target, np.ones(len(target)))
    assert found.x == pytest.approx(x, rel=1e-6, abs=1e-9)
    assert np.linalg.norm(found.residual) == pytest.approx(norm, rel=1e-6)


def test_a_prior_row_is_ridge_regression() -> None:
    rng = np.random.default_rng(1)
    a, b = rng.uniform(1, 3, (8, 3)), rng.uniform(5, 9, 8)
    mean, variance = np.array([1.0, 0.8, 1.2]), 0.3
    found = solve(a, b, np.ones(8), prior_mean=mean, prior_covariance=variance * np.eye(3))
    normal = a.T @ a + np.eye(3) / variance
    assert found.x == pytest.approx(np.linalg.solve(normal, a.T @ b + mean / variance))
    assert found.covariance == pytest.approx(np.linalg.inv(normal))


def test_a_deleted_residual_is_that_of_the_fit_without_the_row() -> None:
    prior = Rate(
        per_cm2_ul=2.0, per_cm2_ul_sd=0.7, per_print_ml=0.05, per_print_ml_sd=0.03,
        per_day_ml=2.0, per_day_ml_sd=1.0,
    )  # fmt: skip
    rng = np.random.default_rng(2)
    intervals = [
        Interval(
            "P1", "K", "weigh", date(2025, 1, 1 + i), date(2025, 1, 1 + i),
            float(20 + rng.normal()), 1.0, {"standard": 5000.0 + 900 * i}, 30.0, 0.0, 7.0,
        )
        for i in range(6)
    ]  # fmt: skip
    whole = fit_channel(intervals, {"standard": prior})
    a = np.array([[5.0e3 + 900 * i, 30, 7] for i in range(6)])
    mean = np.array([2e-3, 0.05, 2.0])
    covariance = np.diag([0.7e-3, 0.03, 1.0]) ** 2
    b = np.array([interval.used_ml for interval in intervals])
    sd = np.full(6, whole.noise["weigh"])
    solution = solve(a, b, sd, prior_mean=mean, prior_covariance=covariance)
    for row, quick in enumerate(_deleted_residuals(solution, intervals, whole.noise)):
        rest = np.arange(6) != row
        without = solve(a[rest], b[rest], sd[rest], prior_mean=mean, prior_covariance=covariance)
        spread = np.sqrt(sd[row] ** 2 + a[row] @ without.covariance @ a[row])
        assert quick == pytest.approx((b[row] - a[row] @ without.x) / spread)

r"""Non-negative least squares with priors as extra rows.

.. math::
    \min_{x \ge 0} \sum_i \left(\frac{b_i - a_i x}{\sigma_i}\right)^2
    + (x - x_0)^\top P^{-1} (x - x_0)

Solved by the active-set method of Lawson & Hanson, Solving Least Squares Problems (1974), ch. 23,
as scipy has it. The covariance is that of the unbounded problem, :math:`(A^\top W A +
P^{-1})^{-1}`: where a coefficient rests on zero it is on the wide side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Solution:
    """Coefficients, their covariance, and each row's leverage and residual (data units)."""

    x: Floats
    covariance: Floats
    leverage: Floats
    residual: Floats


def solve(
    a: Floats,
    b: Floats,
    sd: Floats,
    *,
    prior_mean: Floats | None = None,
    prior_covariance: Floats | None = None,
) -> Solution:
    """Coefficients ``x ≥ 0`` with ``a @ x ≈ b``, each row known to ``sd``.

    A coefficient whose prior variance is zero stays at its prior mean. Without a prior the
    columns of ``a`` must be independent.

    >>> import numpy as np
    >>> solve(np.array([[1.0, 0], [1, 0], [0, 1]]), np.array([2.0, 1, 1]), np.ones(3)).x.tolist()
    [1.5, 1.0]
    """
    import numpy as np
    from scipy.optimize import nnls

    count = a.shape[1]
    mean = np.zeros(count) if prior_mean is None else prior_mean
    if prior_covariance is None:
        free = np.ones(count, bool)
        ridge = np.zeros((0, count))
        ridge_b = np.zeros(0)
    else:
        free = np.diag(prior_covariance) > 0
        inner = prior_covariance[np.ix_(free, free)]
        ridge = np.linalg.inv(np.linalg.cholesky(inner))
        ridge_b = ridge @ mean[free]
    known = a[:, ~free] @ mean[~free]
    weighted = a[:, free] / sd[:, None]
    rows = np.vstack([weighted, ridge])
    target = np.concatenate([(b - known) / sd, ridge_b])
    # Columns span cm² in thousands and days in ones: equal lengths keep the solver sound.
    scale = np.sqrt((rows**2).sum(axis=0))
    scale[scale == 0] = 1.0
    found, _ = nnls(rows / scale, target)
    inverse = np.linalg.pinv((rows / scale).T @ (rows / scale), hermitian=True)
    inverse /= np.outer(scale, scale)
    x = mean.astype(float).copy()
    x[free] = found / scale
    covariance = np.zeros((count, count))
    covariance[np.ix_(free, free)] = inverse
    leverage = np.einsum("ij,jk,ik->i", weighted, inverse, weighted)
    return Solution(x, covariance, np.clip(leverage, 0.0, 1.0), b - a @ x)

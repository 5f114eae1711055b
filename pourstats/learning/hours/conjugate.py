"""Linear regression with a conjugate prior (normal and inverse gamma), in closed form.

Solved by QR on the data stacked on the prior's root, never by normal equations, so that a
near-singular table loses no digits that it still has.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pourstats.learning.hours.features import Array


@dataclass(frozen=True)
class Regression:
    """Posterior of y = x b + e, e normal with variance s2: b given s2 is normal, s2 inverse gamma.

    ``mean`` of b; ``root`` is upper triangular with root' root = the posterior precision of b over
    1/s2; ``shape`` and ``scale`` of s2.
    """

    mean: Array
    root: Array
    shape: float
    scale: float

    @property
    def precision(self) -> Array:
        """Posterior precision of b in units of 1/s2."""
        return np.asarray(self.root.T @ self.root)

    def predictive(self, x: ArrayLike) -> tuple[Array, Array, float]:
        """Centre, scale and degrees of freedom of Student's t for a new y at rows ``x``."""
        rows = np.atleast_2d(np.asarray(x, dtype=float))
        from scipy.linalg import solve_triangular

        reach = solve_triangular(self.root, rows.T, trans="T", lower=False)
        spread = self.scale / self.shape * (1.0 + (reach**2).sum(axis=0))
        return rows @ self.mean, np.sqrt(spread), 2.0 * self.shape


def regression(
    x: ArrayLike,
    y: ArrayLike,
    mean: ArrayLike,
    precision_root: ArrayLike,
    shape: float,
    scale: float,
) -> Regression:
    """The posterior from rows ``x`` and outcomes ``y`` and a prior.

    ``precision_root`` is a root of the prior precision of b over 1/s2 (rows x columns of x; a
    diagonal one holds the roots of each coefficient's prior weight in observations; zeros for a
    flat prior). ``shape`` and ``scale`` are those of the inverse gamma of s2.
    """
    rows, outcome = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    prior, before = np.asarray(precision_root, dtype=float), np.asarray(mean, dtype=float)
    stacked = np.vstack([rows, prior])
    # About the prior mean, so that the prior rows ask for nothing.
    target = np.concatenate([outcome - rows @ before, np.zeros(prior.shape[0])])
    from scipy.linalg import qr, solve_triangular

    base, root = qr(stacked, mode="economic")
    step = solve_triangular(root, base.T @ target)
    # One step of iterative refinement wins back what an ill-conditioned table cost.
    step = step + solve_triangular(root, base.T @ (target - stacked @ step))
    left = target - stacked @ step
    return Regression(
        before + step, root, shape + outcome.size / 2.0, scale + float(left @ left) / 2.0
    )

"""How much the crew's level strays from pour to pour, chosen by rolling origin."""

from __future__ import annotations

import numpy as np

from pourstats.learning.hours.fit import Fit
from pourstats.learning.hours.structure import Design

STRAYS = (0.0, 0.006, 0.012, 0.025, 0.05)
"""Candidate strays of the crew's level a pour, on the log scale."""


def rolling_origin(fit: Fit, design: Design, last: int = 300) -> float:
    """The stray under which each pour was best foretold from those before it.

    ``fit`` and ``design`` are without drift.

    The structure is taken as linear about the fit; then every pour is forecast from the earlier
    ones only, the crew's level walking by `stray` a pour, and the log of the forecast density at
    what came is summed over the last pours, under a mild preference for little stray. The answer
    is the candidates' root mean square, weighed by how well each foretold.
    """
    jacobian, variance = fit.jacobian, fit.variance
    target = fit.residual + jacobian @ (fit.beta - design.mean)
    rows = target.size
    first = max(0, rows - last)
    prior = np.diag(1.0 / fit.spread**2)
    head = jacobian[:first]
    precision = prior + (head / variance[:first, None]).T @ head
    base = np.linalg.inv(precision)
    mean = base @ (head.T @ (target[:first] / variance[:first]))
    width = mean.size + 1
    strays = np.array(STRAYS)
    cov = np.zeros((strays.size, width, width))
    cov[:, :-1, :-1] = base
    state = np.tile(np.append(mean, 0.0), (strays.size, 1))
    score = -0.5 * (strays / 0.035) ** 2
    for row in range(first, rows):
        cov[:, -1, -1] += strays**2
        slope = np.append(jacobian[row], 1.0)
        reach = cov @ slope
        spread = reach @ slope + variance[row]
        error = target[row] - state @ slope
        score -= 0.5 * (np.log(spread) + error**2 / spread)
        gain = reach / spread[:, None]
        state += gain * error[:, None]
        cov -= gain[:, :, None] * reach[:, None, :]
    odds = np.exp(score - score.max())
    return float(np.sqrt((odds * strays**2).sum() / odds.sum()))

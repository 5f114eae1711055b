"""Fitting the structure to the record: penalised Gauss-Newton inside an EM for the noise.

Task hours enter as shares of the pour's own total, beside the total, so that nothing is counted
twice. Spreads of the pooled groups are re-estimated on the way, held by a few pours' worth of prior
(empirical Bayes; Efron and Morris 1975 is the idea).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pourstats.learning.hours.features import Array
from pourstats.learning.hours.noise import Errors, Noise, Record, days_of, noise_of, row_variance
from pourstats.learning.hours.structure import PARTS, Design

POOL_WORTH = 4.0
"""How many groups' worth of prior holds the spread of a pool. Common practice, no source."""

FAMILY_WORTH = 10.0
"""How many effects' worth of prior holds the common scale of those that are in no pool."""

MOST_ROUNDS = 40
TURNS = 8
"""Rounds after which a turn back is no longer taken for the way to the answer."""

CLOSE = 1e-4
"""Settled: no pour's expected log hours moves by more, or no effect by a hundredth of its doubt."""


@dataclass(frozen=True)
class Fit:
    """The effects' mean and covariance, the noise, and the working values at the end."""

    beta: Array
    covariance: Array
    noise: Noise
    spread: Array
    centre: float
    """Mean log expected hours of the record, about which `calm` turns."""
    residual: Array
    """Log hours less their expectation, less what the day's wreck explains."""
    variance: Array
    """The working variance of each row: 1 / its weight."""
    jacobian: Array
    wrecked: Array
    """Each pour's probability of having been a wrecked day."""


def slopes(design: Design, beta: Array) -> tuple[Array, Array, Array]:
    """Log expected hours, the parts' shares of it, and d log hours / d effect."""
    parts = design.parts(beta)
    total = parts.sum(axis=1)
    share = parts / total[:, None]
    lever = np.ones_like(design.x)
    inside = design.part >= 0
    lever[:, inside] = share[:, design.part[inside]]
    return np.log(total), share, design.x * lever


def fitted(
    design: Design, record: Record, noise: Noise | None = None, start: Array | None = None
) -> Fit:
    """The most probable effects and their covariance there (Laplace).

    ``start`` are effects to begin from; without it the crew's level is put right first, so that
    the first step is a small one.
    """
    noise = noise or Noise()
    beta = design.mean.copy() if start is None else start.copy()
    spread = design.spread.copy()
    log_mean, share, jacobian = slopes(design, beta)
    if start is None:
        gap = float(np.median(record.log_hours - log_mean))
        beta[design.names.index("crew")] += np.clip(gap, -1.5, 1.5)
        log_mean, share, jacobian = slopes(design, beta)
    told = ~np.isnan(record.shares).any(axis=1)
    own = [np.flatnonzero(design.part == k) for k in range(len(PARTS))]
    inside = np.flatnonzero(design.part >= 0)
    tasked = design.x[np.ix_(told, inside)]
    pace, last = 1.0, np.zeros(beta.size)
    centre = float(log_mean.mean())
    for count in range(MOST_ROUNDS):
        error = record.log_hours - log_mean
        normal = row_variance(noise, log_mean, record.headcount, centre)
        days = days_of(noise, error, normal, record)
        precision = (jacobian * days.weight[:, None]).T @ jacobian + np.diag(1.0 / spread**2)
        pull = jacobian.T @ (days.weight * (error - days.shift))
        pull -= (beta - design.mean) / spread**2
        tasks = task_information(record.shares[told], share[told], noise.task_sigma)
        pull[inside] += (tasked * tasks.force[:, design.part[inside]]).sum(axis=0)
        for b, columns in enumerate(own):
            weighed = tasked * tasks.inner[:, design.part[inside], b]
            reach = weighed.T @ tasked[:, np.searchsorted(inside, columns)]
            precision[np.ix_(inside, columns)] += reach
        covariance = np.asarray(np.linalg.inv(precision), dtype=float)
        step = covariance @ pull
        step *= min(1.0, 0.8 / max(float(np.abs(step).max()), 1e-9))
        # Rounds that undo each other would go on for ever: the halfway between them settles it.
        if count >= TURNS and step @ precision @ last < 0.0:
            pace = max(pace / 2.0, 0.25)
        last = pace * step
        beta = beta + last
        before = log_mean
        log_mean, share, jacobian = slopes(design, beta)
        doubt = np.einsum("ij,jk,ik->i", jacobian, covariance, jacobian, optimize=True)
        errors = Errors(log_mean, doubt, centre, tasks.squares, int(told.sum()))
        noise = noise_of(noise, record, days, errors)
        spread = _spread(design, beta, covariance, spread, jacobian)
        moved = np.abs(log_mean - before).max(initial=0.0)
        if count > 4 and (moved < CLOSE or (step**2 / np.diag(covariance)).max() < CLOSE):
            break
    return Fit(
        beta, covariance, noise, spread, centre, error - days.shift, 1.0 / days.weight, jacobian,
        days.wrecked,
    )  # fmt: skip


@dataclass(frozen=True)
class TaskInformation:
    """What logged task hours say of the parts' logs: force (rows x parts) and information."""

    force: Array
    inner: Array
    squares: float


def task_information(seen: Array, share: Array, sigma: float) -> TaskInformation:
    """Information of the task shares, rows x PARTS, where shares scatter by sigma.

    A share's slope on the log of part l is share_k ((k = l) - share_l). Shares add up to one, so of
    five only four are free: their weight is cut by 4/5. A pour whose split is far off counts less
    (Student's t on 5 degrees of freedom).
    """
    free = len(PARTS) - 1
    miss = seen - share
    turn = share[:, :, None] * (np.eye(len(PARTS))[None] - share[:, None, :])
    squares = (miss**2).sum(axis=1) / free
    trust = 6.0 / (5.0 + squares / sigma**2)
    weight = trust / sigma**2 * free / len(PARTS)
    return TaskInformation(
        np.einsum("nkl,nk,n->nl", turn, miss, weight, optimize=True),
        np.einsum("nkl,nkm,n->nlm", turn, turn, weight, optimize=True),
        float((trust * squares).sum()),
    )


def pooled_spread(effects: Array, variance: Array, first: float, worth: float) -> float:
    """Spread of a group of effects, given each one's estimate and the variance of its doubt.

    The EM step for normal effects about zero, held by ``worth`` effects of spread ``first``.
    Repeated with effects shrunk by it, it settles on the empirical-Bayes spread (Morris 1983).
    """
    squares = float((effects**2 + variance).sum())
    return float(np.sqrt((worth * first**2 + squares) / (worth + effects.size)))


def _spread(
    design: Design, beta: Array, covariance: Array, spread: Array, jacobian: Array
) -> Array:
    """Spreads of the pooled groups: mean square of their effects, held by the prior's worth."""
    found = spread.copy()
    met = (jacobian != 0).any(axis=0)
    variance = np.diag(covariance)
    for pool in {name for name in design.pool if name is not None}:
        own = np.array([name == pool for name in design.pool])
        counted = own & met
        first = float(design.spread[own][0])
        found[own] = pooled_spread(beta[counted], variance[counted], first, POOL_WORTH)
    # The other effects are one family: if this crew's lie near their prior means, so may the rest.
    rest = np.array(
        [pool is None and not name.startswith("drift") and name != "crew"
         for pool, name in zip(design.pool, design.names, strict=True)]
    )  # fmt: skip
    own = rest & met
    scaled = ((beta - design.mean) ** 2 + np.diag(covariance))[own] / design.spread[own] ** 2
    scale = (FAMILY_WORTH + scaled.sum()) / (FAMILY_WORTH + own.sum())
    found[rest] = design.spread[rest] * np.sqrt(scale)
    return found

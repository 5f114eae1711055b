"""Fitting the structure to the record: penalised Gauss-Newton inside an EM for the noise.

The noise of a pour is a mixture: most days scatter about what was to be expected, a few are wrecked
and run well over. Each day's share in the two is worked out, so that a wrecked day neither steers
the rates nor is thrown out. Task hours enter as shares of the pour's own total, beside the total,
so that nothing is counted twice. Spreads of the pooled groups are re-estimated on the way, held by
a few pours' worth of prior (empirical Bayes; Efron and Morris 1975 is the idea).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.hours.features import Array
from pourstats.learning.hours.structure import PARTS, Design


@dataclass(frozen=True)
class Noise:
    """Scatter of a pour's log hours.

    ``sigma`` is that of a normal day logged by crew time at the record's middle size; a day of
    headcount only has ``rough`` times its variance; ``calm`` is the power by which bigger floors
    scatter less. A share ``wreck_share`` of days (``wreck_share_troubled`` where trouble was
    logged) runs over by ``wreck`` on the log scale, give or take ``wreck_spread``; a share
    ``loose_share`` scatters LOOSE times as wide as a normal day, either way. ``worth`` is
    the pours' worth of knowledge of sigma.
    """

    sigma: float = 0.18
    rough: float = 1.5
    calm: float = 0.1
    wreck_share: float = 0.06
    wreck_share_troubled: float = 0.25
    wreck_share_ahead: float = 0.08
    wreck: float = 0.45
    wreck_spread: float = 0.25
    loose_share: float = 0.08
    task_sigma: float = 0.08
    worth: float = 6.0


LOOSE = 2.2

SIGMA_WORTH, ROUGH_WORTH, WRECK_WORTH, TASK_WORTH = 6.0, 8.0, 4.0, 20.0
"""How many pours' worth of record the starting values above stand for. Common practice, no source:
held wide enough that a season decides."""

POOL_WORTH = 4.0


@dataclass(frozen=True)
class Record:
    """What was observed: log hours, whether by headcount, trouble, and the shares of the tasks."""

    log_hours: Array
    headcount: Array
    troubled: NDArray[np.bool_]
    shares: Array
    """Rows x PARTS; a row of NaN where tasks weren't logged."""


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


def row_variance(noise: Noise, log_mean: Array, headcount: Array, centre: float) -> Array:
    """Variance of a normal day's log hours, by size and by how the hours were logged."""
    size = np.exp(-2.0 * noise.calm * np.clip(log_mean - centre, -2.5, 2.5))
    return np.asarray(noise.sigma**2 * size * np.where(headcount > 0, noise.rough, 1.0))


@dataclass(frozen=True)
class Days:
    """What kind of day each pour had, as shares that add up to one, and what follows for its row."""

    normal: Array
    loose: Array
    wrecked: Array
    weight: Array
    """Working precision of the row."""
    shift: Array
    """What the day's wreck explains of its error."""


def _days(noise: Noise, error: Array, variance: Array, record: Record) -> Days:
    """Each row's shares in the three kinds of day, given its error and a normal day's variance."""
    wreck = np.where(record.troubled, noise.wreck_share_troubled, noise.wreck_share)
    loose, wide = variance * LOOSE**2, variance + noise.wreck_spread**2
    log_odds = np.stack(
        [
            np.log(1.0 - wreck) + np.log(1.0 - noise.loose_share) - _half(error, variance),
            np.log(1.0 - wreck) + np.log(noise.loose_share) - _half(error, loose),
            np.log(wreck) - _half(error - noise.wreck, wide),
        ]
    )
    odds = np.exp(log_odds - log_odds.max(axis=0))
    odds /= odds.sum(axis=0)
    weight = odds[0] / variance + odds[1] / loose + odds[2] / wide
    return Days(odds[0], odds[1], odds[2], weight, odds[2] * noise.wreck / wide / weight)


def _half(error: Array, variance: Array) -> Array:
    return np.asarray(0.5 * (np.log(variance) + error**2 / variance))


def fitted(design: Design, record: Record, noise: Noise | None = None, start: Array | None = None,
           rounds: int = 40) -> Fit:
    """The most probable effects and their covariance there (Laplace)."""
    noise = noise or Noise()
    beta = design.mean.copy() if start is None else start.copy()
    spread = design.spread.copy()
    log_mean, share, jacobian = slopes(design, beta)
    told = ~np.isnan(record.shares).any(axis=1)
    if start is None:  # put the crew's level right first, so that the first step is a small one
        whole = design.names.index("crew")
        gap = np.median(record.log_hours - log_mean)
        beta[whole] += np.clip(gap, -1.5, 1.5)
        log_mean, share, jacobian = slopes(design, beta)
    covariance = np.diag(spread**2)
    centre = float(log_mean.mean())
    for count in range(rounds):
        error = record.log_hours - log_mean
        normal = row_variance(noise, log_mean, record.headcount, centre)
        days = _days(noise, error, normal, record)
        weight, shift = days.weight, days.shift
        precision = (jacobian * weight[:, None]).T @ jacobian + np.diag(1.0 / spread**2)
        pull = jacobian.T @ (weight * (error - shift)) - (beta - design.mean) / spread**2
        task_error = _add_tasks(design, record.shares[told], share[told], told, noise,
                                precision, pull)
        covariance = np.linalg.inv(precision)
        step = covariance @ pull
        step *= min(1.0, 0.8 / max(float(np.abs(step).max()), 1e-9))
        beta = beta + step
        log_mean, share, jacobian = slopes(design, beta)
        doubt = np.einsum("ij,jk,ik->i", jacobian, covariance, jacobian, optimize=True)
        noise = _noise(noise, record, log_mean, doubt, days, task_error, int(told.sum()), centre)
        spread = _spread(design, beta, covariance, spread, jacobian)
        if count > 4 and float((step**2 / np.diag(covariance)).max()) < 1e-4:
            break
    return Fit(beta, covariance, noise, spread, centre, error - shift, 1.0 / weight, jacobian,
               days.wrecked)


def _add_tasks(design: Design, seen: Array, share: Array, told: NDArray[np.bool_], noise: Noise,
               precision: Array, pull: Array) -> float:
    """Adds the task shares' information in place; returns their weighted sum of squares.

    A share's slope on an effect of part l is share_k ((k = l) - share_l) x. Shares add up to one,
    so of five only four are free: their weight is cut by 4/5.
    """
    if not told.any():
        return 0.0
    miss = seen - share
    turn = share[:, :, None] * (np.eye(len(PARTS))[None] - share[:, None, :])
    squares = (miss**2).sum(axis=1) / (len(PARTS) - 1)
    calm = 6.0 / (5.0 + squares / noise.task_sigma**2)
    weight = calm / noise.task_sigma**2 * (len(PARTS) - 1) / len(PARTS)
    inner = np.einsum("nkl,nkm,n->nlm", turn, turn, weight, optimize=True)
    force = np.einsum("nkl,nk,n->nl", turn, miss, weight, optimize=True)
    x = design.x[told]
    own = [np.flatnonzero(design.part == k) for k in range(len(PARTS))]
    for a, rows in enumerate(own):
        pull[rows] += x[:, rows].T @ force[:, a]
        for b, columns in enumerate(own):
            block = (x[:, rows] * inner[:, a, b][:, None]).T @ x[:, columns]
            precision[np.ix_(rows, columns)] += block
    return float((calm * squares).sum())


def _noise(noise: Noise, record: Record, log_mean: Array, doubt: Array, days: Days,
           task_error: float, tasks: int, centre: float) -> Noise:
    """The noise that fits the errors best, held by its starting values' worth."""
    first = Noise()
    error = record.log_hours - log_mean
    squares = error**2 + doubt
    wrecked, clean = days.wrecked, 1.0 - days.wrecked
    tight = days.normal + days.loose / LOOSE**2
    rough = record.headcount > 0
    unit = row_variance(replace(noise, sigma=1.0, rough=1.0), log_mean, record.headcount, centre)
    scaled = tight * squares / unit
    lift = np.where(rough, noise.rough, 1.0)
    sigma2 = (SIGMA_WORTH * first.sigma**2 + (scaled / lift).sum()) / (SIGMA_WORTH + clean.sum())
    rough_now = (ROUGH_WORTH * first.rough + scaled[rough].sum() / sigma2) / (
        ROUGH_WORTH + clean[rough].sum()
    )
    off, on = ~record.troubled, record.troubled
    share = (WRECK_WORTH * 4 * first.wreck_share + wrecked[off].sum()) / (WRECK_WORTH * 4 + off.sum())
    share_on = (WRECK_WORTH * 2 * first.wreck_share_troubled + wrecked[on].sum()) / (
        WRECK_WORTH * 2 + on.sum()
    )
    ahead = (WRECK_WORTH * 4 * first.wreck_share_ahead + wrecked.sum()) / (
        WRECK_WORTH * 4 + wrecked.size
    )
    loose = (WRECK_WORTH * 4 * first.loose_share + days.loose.sum()) / (
        WRECK_WORTH * 4 + clean.sum()
    )
    over = (WRECK_WORTH * first.wreck + (wrecked * error).sum()) / (WRECK_WORTH + wrecked.sum())
    away = wrecked * (error - over) ** 2
    over_spread2 = (WRECK_WORTH * 2 * first.wreck_spread**2 + away.sum()) / (
        WRECK_WORTH * 2 + wrecked.sum()
    )
    task = noise.task_sigma
    if tasks:
        task2 = (TASK_WORTH * first.task_sigma**2 + task_error) / (TASK_WORTH + tasks)
        task = float(np.sqrt(task2))
    return replace(
        noise,
        sigma=float(np.sqrt(sigma2)),
        rough=float(np.clip(rough_now, 1.0, 6.0)),
        calm=_calm(first.calm, clean, tight * squares / sigma2 / lift, log_mean - centre),
        loose_share=float(loose),
        wreck_share=float(share),
        wreck_share_troubled=float(share_on),
        wreck_share_ahead=float(ahead),
        wreck=float(np.clip(over, 0.2, 1.2)),
        wreck_spread=float(np.sqrt(over_spread2)),
        task_sigma=task,
        worth=SIGMA_WORTH + float(clean.sum()),
    )


def _calm(first: float, clean: Array, squares: Array, size: Array) -> float:
    """The power by which bigger floors scatter less: best of a grid, under a prior about first."""
    grid = np.linspace(-0.2, 0.5, 15)
    size = np.clip(size, -2.5, 2.5)
    lift = 2.0 * grid[:, None] * size[None]
    fit = -0.5 * (squares * np.exp(lift) - clean * lift).sum(axis=1)
    return float(grid[np.argmax(fit - 0.5 * ((grid - first) / 0.1) ** 2)])


def _spread(design: Design, beta: Array, covariance: Array, spread: Array, jacobian: Array) -> Array:
    """Spreads of the pooled groups: mean square of their effects, held by the prior's worth."""
    found = spread.copy()
    met = (jacobian != 0).any(axis=0)
    for pool in {name for name in design.pool if name is not None}:
        own = np.array([name == pool for name in design.pool])
        counted = own & met
        first = float(design.spread[own][0])
        squares = beta[counted] ** 2 + np.diag(covariance)[counted]
        value = (POOL_WORTH * first**2 + squares.sum()) / (POOL_WORTH + counted.sum())
        found[own] = np.sqrt(value)
    return found


STRAYS = (0.0, 0.006, 0.012, 0.025, 0.05)
"""Candidate strays of the crew's level a pour, on the log scale."""


def rolling_origin(fit: Fit, design: Design, drifting: NDArray[np.bool_], last: int = 300
                   ) -> tuple[float, Array]:
    """The stray under which each pour was best foretold from those before it, and all scores.

    The structure is taken as linear about the fit; then every pour is forecast from the earlier
    ones only, the crew's level walking by `stray` a pour, and the log of the forecast density at
    what came is summed over the last pours, under a mild preference for little stray. The answer is the
    candidates' root mean square, weighed by how well each foretold.
    """
    keep = ~drifting
    jacobian, variance = fit.jacobian[:, keep], fit.variance
    away = (fit.beta - design.mean)[keep]
    target = fit.residual + jacobian @ away
    if drifting.any():
        target = target + fit.jacobian[:, drifting] @ fit.beta[drifting]
    rows = target.size
    first = max(0, rows - last)
    prior = np.diag(1.0 / fit.spread[keep] ** 2)
    head = jacobian[:first]
    precision = prior + (head / variance[:first, None]).T @ head
    base = np.linalg.inv(precision)
    mean = base @ (head.T @ (target[:first] / variance[:first]))
    width = mean.size + 1
    strays = np.array(STRAYS)
    cov = np.zeros((strays.size, width, width))
    cov[:, :-1, :-1] = base
    state = np.tile(np.append(mean, 0.0), (strays.size, 1))
    score = -0.5 * (strays / 0.025) ** 2
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
    return float(np.sqrt((odds * strays**2).sum() / odds.sum())), score

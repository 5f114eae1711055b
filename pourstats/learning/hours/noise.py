"""How a pour's hours scatter about what was to be expected: three kinds of day, and slips.

Most days scatter a little, some scatter wide, and a few are wrecked and run well over. Each pour's
share in the three is worked out from its error, so that a wrecked day neither steers the rates nor
is thrown out (expectation and maximisation; Dempster, Laird and Rubin 1977).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.hours.features import Array


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

    sigma: float = 0.145
    rough: float = 1.5
    calm: float = 0.1
    wreck_share: float = 0.06
    wreck_share_troubled: float = 0.25
    wreck_share_ahead: float = 0.07
    wreck: float = 0.45
    wreck_spread: float = 0.25
    loose_share: float = 0.06
    task_sigma: float = 0.08
    worth: float = 5.0


LOOSE = 2.2

SLIP_SHARE, SLIP_SPREAD = 0.002, 1.5
"""Rows whose hours are a slip of the pen, and how far they may be off on the log scale. They count
for next to nothing, and no day ahead is one. Common practice, no source."""

SIGMA_WORTH, ROUGH_WORTH, WRECK_WORTH, TASK_WORTH = 5.0, 8.0, 4.0, 20.0
"""How many pours' worth of record the starting values above stand for. Common practice, no source:
held wide enough that a season decides."""


@dataclass(frozen=True)
class Record:
    """What was observed: log hours, whether by headcount, trouble, and the shares of the tasks."""

    log_hours: Array
    headcount: Array
    troubled: NDArray[np.bool_]
    shares: Array
    """Rows x PARTS; a row of NaN where tasks weren't logged."""


def row_variance(noise: Noise, log_mean: Array, headcount: Array, centre: float) -> Array:
    """Variance of a normal day's log hours, by size and by how the hours were logged."""
    size = np.exp(-2.0 * noise.calm * np.clip(log_mean - centre, -2.5, 2.5))
    return np.asarray(noise.sigma**2 * size * np.where(headcount > 0, noise.rough, 1.0))


@dataclass(frozen=True)
class Days:
    """What kind of day each pour had, as shares that add up to one, what follows for its row."""

    normal: Array
    loose: Array
    wrecked: Array
    slip: Array
    weight: Array
    """Working precision of the row."""
    shift: Array
    """What the day's wreck explains of its error."""


def days_of(noise: Noise, error: Array, variance: Array, record: Record) -> Days:
    """Each row's shares in the kinds of day, given its error and a normal day's variance."""
    wreck = np.where(record.troubled, noise.wreck_share_troubled, noise.wreck_share)
    loose, wide = variance * LOOSE**2, variance + noise.wreck_spread**2
    log_odds = np.stack(
        [
            np.log(1.0 - wreck) + np.log(1.0 - noise.loose_share) - _half(error, variance),
            np.log(1.0 - wreck) + np.log(noise.loose_share) - _half(error, loose),
            np.log(wreck) - _half(error - noise.wreck, wide),
            np.log(SLIP_SHARE) - _half(error, np.full_like(error, SLIP_SPREAD**2)),
        ]
    )
    odds = np.exp(log_odds - log_odds.max(axis=0))
    odds /= odds.sum(axis=0)
    weight = odds[0] / variance + odds[1] / loose + odds[2] / wide + odds[3] / SLIP_SPREAD**2
    shift = odds[2] * noise.wreck / wide / weight
    return Days(odds[0], odds[1], odds[2], odds[3], weight, shift)


def _half(error: Array, variance: Array) -> Array:
    return np.asarray(0.5 * (np.log(variance) + error**2 / variance))


@dataclass(frozen=True)
class Errors:
    """Where the fit stands: what the noise is re-estimated from."""

    log_mean: Array
    doubt: Array
    """Variance of log_mean from not knowing the effects."""
    centre: float
    task_squares: float
    """Weighted sum of squares of the task shares' errors, over ``tasks`` pours."""
    tasks: int


def noise_of(noise: Noise, record: Record, days: Days, errors: Errors) -> Noise:
    """The noise that fits the errors best, held by its starting values' worth."""
    first = Noise()
    error = record.log_hours - errors.log_mean
    squares = error**2 + errors.doubt
    wrecked, clean = days.wrecked, days.normal + days.loose
    tight = days.normal + days.loose / LOOSE**2
    rough = record.headcount > 0
    unit = row_variance(
        replace(noise, sigma=1.0, rough=1.0), errors.log_mean, record.headcount, errors.centre
    )
    scaled = tight * squares / unit
    lift = np.where(rough, noise.rough, 1.0)
    sigma2 = (SIGMA_WORTH * first.sigma**2 + (scaled / lift).sum()) / (SIGMA_WORTH + clean.sum())
    rough_now = (ROUGH_WORTH * first.rough + scaled[rough].sum() / sigma2) / (
        ROUGH_WORTH + clean[rough].sum()
    )
    off, on = ~record.troubled, record.troubled
    share = (WRECK_WORTH * 4 * first.wreck_share + wrecked[off].sum()) / (
        WRECK_WORTH * 4 + off.sum()
    )
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
    if errors.tasks:
        task2 = (TASK_WORTH * first.task_sigma**2 + errors.task_squares) / (
            TASK_WORTH + errors.tasks
        )
        task = float(np.sqrt(task2))
    return replace(
        noise,
        sigma=float(np.sqrt(sigma2)),
        rough=float(np.clip(rough_now, 1.0, 6.0)),
        calm=_calm(
            first.calm, clean, tight * squares / sigma2 / lift, errors.log_mean - errors.centre
        ),
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

"""How good a forecast was: pinball loss, CRPS, coverage, and paired differences with intervals.

Outcomes of one season share its crew and its weather, so an interval over several seasons is
clustered: the season is the unit that repeats, not the pour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pourstats.learning.draws import LEVELS

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Share:
    """A share or a mean with its interval and the counts behind it."""

    value: float
    low: float
    high: float
    count: int
    clusters: int


def pinball(y: ArrayLike, q: ArrayLike, tau: ArrayLike) -> Array:
    """Pinball (quantile) loss in the unit of y; shapes broadcast.

    tau (y - q) where y lies above q, (1 - tau)(q - y) where below. Koenker and Bassett 1978.
    """
    miss = np.asarray(y, dtype=float) - np.asarray(q, dtype=float)
    level = np.asarray(tau, dtype=float)
    return np.asarray(np.maximum(level * miss, (level - 1.0) * miss))


def mean_pinball(y: ArrayLike, quantiles: Mapping[str, ArrayLike] | ArrayLike) -> Array:
    """Mean pinball loss over the seven levels, one value an outcome, in the unit of y.

    ``quantiles`` is what `draws.quantiles` gives, or an array (outcome x 7) in that order.
    """
    if isinstance(quantiles, Mapping):
        stacked = np.stack([np.asarray(quantiles[name], dtype=float) for name in LEVELS], axis=-1)
    else:
        stacked = np.asarray(quantiles, dtype=float)
    levels = np.array(list(LEVELS.values()))
    return np.asarray(pinball(np.asarray(y, dtype=float)[..., None], stacked, levels).mean(axis=-1))


def crps_ensemble(y: ArrayLike, draws: ArrayLike) -> Array:
    """Continuous ranked probability score of draws (last axis), in the unit of y.

    E|X - y| - E|X - X'| / 2 over the draws as they stand (not the "fair" form that corrects for
    their number). Gneiting and Raftery 2007, eq. 21.
    """
    values = np.sort(np.asarray(draws, dtype=float), axis=-1)
    n = values.shape[-1]
    error = np.abs(values - np.asarray(y, dtype=float)[..., None]).mean(axis=-1)
    weight = 2.0 * np.arange(1, n + 1) - n - 1.0
    return np.asarray(error - (values * weight).sum(axis=-1) / n**2)


def coverage(
    y: ArrayLike, low: ArrayLike, high: ArrayLike, cluster: ArrayLike | None = None
) -> Share:
    """Share of outcomes within [low, high], with a 95 % interval.

    Without clusters the interval is Wilson's (1927); with them it is that of a ratio of sums over
    clusters, Student's t on their number less one. Outcomes that are NaN don't count.
    """
    values = np.asarray(y, dtype=float)
    known = ~np.isnan(values)
    inside = ((values >= np.asarray(low)) & (values <= np.asarray(high)))[known].astype(float)
    if cluster is not None:
        return mean_interval(inside, np.asarray(cluster)[known])
    n = inside.size
    if n == 0:
        return Share(np.nan, np.nan, np.nan, 0, 0)
    share, z = float(inside.mean()), 1.959964
    centre = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
    return Share(share, float(centre - half), float(centre + half), n, n)


def mean_interval(values: ArrayLike, cluster: ArrayLike | None = None) -> Share:
    """Mean of values with a 95 % interval that allows for clusters of different size.

    Use it on the differences of two losses for a paired comparison. With fewer than two clusters
    the interval is unknown (NaN).
    """
    numbers = np.asarray(values, dtype=float)
    n = numbers.size
    if n == 0:
        return Share(np.nan, np.nan, np.nan, 0, 0)
    labels = np.arange(n) if cluster is None else np.asarray(cluster)
    _, group = np.unique(labels, return_inverse=True)
    sizes = np.bincount(group).astype(float)
    mean = float(numbers.mean())
    k = sizes.size
    if k < 2:
        return Share(mean, np.nan, np.nan, n, k)
    residual = np.bincount(group, weights=numbers) - mean * sizes
    error = np.sqrt(k / (k - 1) * np.sum(residual**2)) / n
    from scipy.special import stdtrit

    reach = float(stdtrit(k - 1, 0.975) * error)
    return Share(mean, mean - reach, mean + reach, n, k)

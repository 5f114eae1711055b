"""Intervals for shares and for counts of rare events.

Closed forms where they are short; the exact ones take their quantiles from scipy.special, imported
when called, so that a command that needs none starts fast.
"""

from __future__ import annotations

from math import sqrt
from statistics import NormalDist


def _checked(count: float, trials: float | None, level: float) -> None:
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, not {level!r}")
    if count < 0 or (trials is not None and (trials <= 0 or count > trials)):
        raise ValueError(f"impossible count: {count!r} of {trials!r}")


def score_interval(count: float, trials: float, level: float = 0.95) -> tuple[float, float]:
    """The score interval of a share (Wilson 1927; method 3 of Newcombe 1998).

    ``count`` of ``trials`` (trials > 0); ``level`` two-sided, 0.9 gives the 5 and 95 percent ends.
    Returns (low, high), shares from 0 to 1. Raises ValueError for an impossible count or level.
    """
    _checked(count, trials, level)
    z = NormalDist().inv_cdf(0.5 + level / 2.0)
    share = count / trials
    middle = (share + z * z / (2.0 * trials)) / (1.0 + z * z / trials)
    half = (
        z * sqrt(share * (1.0 - share) / trials + z * z / (4.0 * trials * trials))
    ) / (1.0 + z * z / trials)  # fmt: skip
    # At the two ends the closed form is exactly 0 or 1 but for rounding.
    low = 0.0 if count == 0 else max(0.0, middle - half)
    high = 1.0 if count == trials else min(1.0, middle + half)
    return low, high


def exact_share_interval(count: int, trials: int, level: float = 0.95) -> tuple[float, float]:
    """The exact interval of a share (Clopper and Pearson 1934; method 5 of Newcombe 1998).

    Wider than the score interval: it covers at least ``level`` whatever the true share.
    Returns (low, high), shares from 0 to 1. Raises ValueError as :func:`score_interval` does.
    """
    from scipy.special import betaincinv

    _checked(count, trials, level)
    tail = (1.0 - level) / 2.0
    low = 0.0 if count == 0 else float(betaincinv(count, trials - count + 1, tail))
    high = 1.0 if count == trials else float(betaincinv(count + 1, trials - count, 1.0 - tail))
    return low, high


def exact_count_interval(count: int, level: float = 0.95) -> tuple[float, float]:
    """The exact interval of a Poisson mean (Garwood 1936), given one count.

    Divide both ends by the exposure (weeks, pours, yards) for a rate. Returns (low, high).
    Raises ValueError for a negative count or an impossible level.
    """
    from scipy.special import gammaincinv

    _checked(count, None, level)
    tail = (1.0 - level) / 2.0
    # Half a chi-square quantile with 2k degrees of freedom is a gamma quantile with shape k.
    low = 0.0 if count == 0 else float(gammaincinv(count, tail))
    return low, float(gammaincinv(count + 1, 1.0 - tail))

"""Whether the latest floors took fewer hours, against their usual ones, than those before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

LATEST = 10
"""Floors that count as lately, at the least. Common practice, no source."""
LEAST_BEFORE = 10
"""Floors before them that it takes to compare. Common practice, no source."""


@dataclass(frozen=True)
class Trend:
    """``change``: hours over usual of the ``latest`` floors, as a factor of the ``before`` floors'.

    ``low`` and ``high`` hold the true factor eight times in ten, ``sure_low`` and ``sure_high``
    nineteen times in twenty.
    """

    latest: int
    before: int
    change: float
    low: float
    high: float
    sure_low: float
    sure_high: float


def trend(ratios: ArrayLike, latest: int = LATEST) -> Trend | None:
    """The change between the last ``latest`` ratios (at least ten) and all before them.

    ``ratios`` of spent over usual hours, 1-D, > 0, in time order. Welch's t interval on logarithms
    (NIST/SEMATECH e-Handbook 7.3.1), so that twice and half weigh alike. None with fewer than ten
    before them.
    """
    logs = np.log(np.asarray(ratios, dtype=float))
    latest = max(LATEST, latest)
    if logs.size < latest + LEAST_BEFORE:
        return None
    gap, near, far = _welch(logs[-latest:], logs[:-latest])
    change, *ends = (
        float(np.exp(end)) for end in (gap, gap - near, gap + near, gap - far, gap + far)
    )
    return Trend(latest, logs.size - latest, change, *ends)


def _welch(now: NDArray[np.float64], before: NDArray[np.float64]) -> tuple[float, float, float]:
    """Difference of means, and how far its 80 % and its 95 % interval reach to each side."""
    from scipy.special import stdtrit

    parts = [now.var(ddof=1) / now.size, before.var(ddof=1) / before.size]
    error = float(np.sqrt(sum(parts)))
    gap = float(now.mean() - before.mean())
    if error == 0.0:
        # Floors that never differ are no measure of luck: nothing is said of them.
        return gap, abs(gap), abs(gap)
    freedom = sum(parts) ** 2 / (parts[0] ** 2 / (now.size - 1) + parts[1] ** 2 / (before.size - 1))
    return gap, float(stdtrit(freedom, 0.9)) * error, float(stdtrit(freedom, 0.975)) * error

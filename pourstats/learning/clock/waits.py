"""A scale for waits: the log of minutes, bent straight near zero and below."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BEND_MIN = 12.0
"""Below some such minutes the log of a wait bends into a straight line: a negative one, where
the machine went on before the placing was done, is told as well as any."""


def soft_log(minutes: Array) -> Array:
    """Log of minutes, made straight below :data:`BEND_MIN`: log(b softplus(x / b))."""
    x = np.asarray(minutes, dtype=float) / BEND_MIN
    with np.errstate(invalid="ignore"):
        bent = np.where(x < -30.0, x, np.log(np.logaddexp(0.0, np.maximum(x, -30.0))))
    return np.asarray(np.log(BEND_MIN) + bent)


def soft_exp(log_minutes: Array) -> Array:
    """Minutes from their :func:`soft_log`."""
    y = np.exp(np.clip(np.asarray(log_minutes, dtype=float) - np.log(BEND_MIN), -30.0, 30.0))
    return np.asarray(BEND_MIN * (y + np.log(-np.expm1(-y))))


def soft_slope(minutes: Array) -> Array:
    """Slope of :func:`soft_log`, a minute."""
    x = np.clip(np.asarray(minutes, dtype=float) / BEND_MIN, -30.0, None)
    return np.asarray(1.0 / ((1.0 + np.exp(-x)) * np.logaddexp(0.0, x) * BEND_MIN))

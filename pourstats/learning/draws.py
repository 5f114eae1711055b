"""Estimates as draws: an array whose last axis is the draw, and the quantiles taken at the end.

Draw k is the same morning in every model: whoever needs the error of a forecast or the effect of a
crew asks :func:`stream` with the same seed and the same name, and gets the same numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from zlib import crc32

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

LEVELS: dict[str, float] = {
    "p05": 0.05,
    "p10": 0.10,
    "p25": 0.25,
    "p50": 0.50,
    "p75": 0.75,
    "p90": 0.90,
    "p95": 0.95,
}
"""The quantiles that stand for a distribution wherever one is printed."""


def stream(seed: int, *names: object) -> np.random.Generator:
    """A random stream of its own for each seed and name: the same on every machine.

    ``names`` say what it is for, as ``stream(seed, "weather", site, date)``.
    """
    words = [crc32(str(name).encode()) for name in names]
    return np.random.default_rng(np.random.SeedSequence([seed & 0xFFFFFFFF, *words]))


def quantiles(draws: ArrayLike, axis: int = -1) -> dict[str, Array]:
    """The quantiles :data:`LEVELS` over an axis of draws, by name; the axis goes.

    Draws that are NaN are left out (a pass that a draw doesn't have); all NaN gives NaN.
    """
    values = np.asarray(draws, dtype=float)
    ordered = np.sort(np.moveaxis(values, axis, -1), axis=-1)
    known = np.sum(~np.isnan(ordered), axis=-1)
    found: dict[str, Array] = {}
    for name, level in LEVELS.items():
        place = np.maximum(known - 1, 0) * level
        below = np.floor(place).astype(int)
        above = np.minimum(below + 1, np.maximum(known - 1, 0))
        low = np.take_along_axis(ordered, below[..., None], axis=-1)[..., 0]
        high = np.take_along_axis(ordered, above[..., None], axis=-1)[..., 0]
        found[name] = np.where(known > 0, low + (high - low) * (place - below), np.nan)
    return found


def plain(distribution: Mapping[str, ArrayLike], digits: int = 4) -> dict[str, float | None]:
    """A distribution of one quantity as JSON takes it: rounded floats, None where unknown."""
    result: dict[str, float | None] = {}
    for name, value in distribution.items():
        number = float(np.asarray(value))
        result[name] = round(number, digits) if np.isfinite(number) else None
    return result

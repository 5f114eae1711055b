"""Levels over the mornings drawn: a day is played thousands of times, so these are kept short."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def mean(draws: NDArray[Any]) -> float:
    """Mean of draws, or the share that is true."""
    return float(np.add.reduce(draws)) / draws.size


def level(draws: Array, share: float) -> float:
    """The value below which this share of draws lies, in proportion between two."""
    ordered = np.sort(draws)
    place = share * (ordered.size - 1)
    below = int(place)
    low = float(ordered[below])
    if below + 1 >= ordered.size:
        return low
    return low + (float(ordered[below + 1]) - low) * (place - below)


def middle(draws: Array) -> float:
    """Median of draws."""
    return level(draws, 0.5)


def clock_text(hour: float) -> str:
    """An hour of the day as people write it."""
    minutes = round(hour * 60.0)
    return f"{minutes // 60 % 24}:{minutes % 60:02d}"

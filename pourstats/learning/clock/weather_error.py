"""What the errors of a weather forecast do to the first pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.clock import physics
from pourstats.learning.clock.conditions import Conditions
from pourstats.learning.draws import stream

Array = NDArray[np.float64]

WEATHER_ERROR = {"air_f": 1.6, "humidity_pct": 6.0, "wind_log": 0.20, "sun_log": 0.15}
"""Errors of a forecast a day ahead, one standard deviation, beyond what a station differs from the
site anyway (the record's own noise has that). Common practice, no source."""


def weather_shift(
    found: Conditions, science: physics.Ready, names: list[str], k: int, seed: int
) -> Array:
    """Log time that the forecast's own errors add (job x draw), the same for a site and day."""
    errors = {
        "air_f": replace(found, air_f=found.air_f + WEATHER_ERROR["air_f"]),
        "humidity_pct": replace(
            found, humidity_pct=np.minimum(found.humidity_pct + WEATHER_ERROR["humidity_pct"], 100)
        ),
        "wind_log": replace(found, wind_mph=found.wind_mph * np.exp(WEATHER_ERROR["wind_log"])),
        "sun_log": replace(found, sun_w_m2=found.sun_w_m2 * np.exp(WEATHER_ERROR["sun_log"])),
    }
    total = np.zeros((found.count, k))
    for name, moved in errors.items():
        effect = physics.log_hours(moved) - science.log_h
        shock = {day: stream(seed, "weather", name, day).normal(size=k) for day in set(names)}
        # Unknown weather is several times as doubtful as a forecast.
        width = 1.0 + 7.0 * (1.0 - found.told)
        total += (effect * width)[:, None] * np.stack([shock[day] for day in names])
    return total

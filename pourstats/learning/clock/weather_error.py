"""What the errors of a weather forecast do to the first pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.clock import physics
from pourstats.learning.clock.conditions import Conditions, number
from pourstats.learning.draws import stream

Array = NDArray[np.float64]

WEATHER_ERROR = {"air_f": 1.6, "humidity_pct": 6.0, "wind_log": 0.20, "sun_log": 0.15}
"""Errors of a forecast a day ahead, one standard deviation, beyond what a station differs from the
site anyway (the record's own noise has that). Common practice, no source."""
UNTOLD = 8.0
"""How many times as doubtful weather is that nobody told."""
CONCRETE_F = 3.0
"""How far concrete of unknown temperature may be off what is usual for the air, one sd, degF."""


def weather_shift(
    found: Conditions, science: physics.Ready, names: list[str], k: int, seed: int
) -> Array:
    """Log time that the forecast's own errors add (job x draw), the same for a site and day."""
    blank = np.isnan(number(found.frame, "concrete_temp"))
    untold = 1.0 - found.told
    air_f = WEATHER_ERROR["air_f"]
    errors = {
        # Unknown air leaves ground and concrete unknown too.
        "air_f": replace(
            found,
            air_f=found.air_f + air_f,
            ground_f=found.ground_f + air_f * untold,
            concrete_f=found.concrete_f + 0.85 * air_f * untold * blank,
        ),
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
        width = 1.0 + (UNTOLD - 1.0) * untold
        total += (effect * width)[:, None] * np.stack([shock[day] for day in names])
    if blank.any():
        warmer = replace(found, concrete_f=found.concrete_f + CONCRETE_F * blank)
        effect = physics.log_hours(warmer) - science.log_h
        shock = {day: stream(seed, "concrete", day).normal(size=k) for day in set(names)}
        total += effect[:, None] * np.stack([shock[day] for day in names])
    return total

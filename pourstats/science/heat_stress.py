"""What heat and cold do to people. A guide: local rules and a competent person go before it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SCREEN_F = 85.0
"""Heat index at which to screen: deaths began below 91 (CDC MMWR 67(26), 2018)."""
HIGH_F = 90.0
"""OSHA's 2024 proposal: 15 minutes' paid rest in two hours from here (a proposal; check)."""
SUN_ADDS_F = 15.0
"""Full sun adds up to this to the index (NWS)."""


def heat_index_f(air_f: ArrayLike, humidity_pct: ArrayLike) -> Array:
    """Heat index in degF, in the shade, by the NWS algorithm; +-1.3 degF against its model.

    Rothfusz 1990 with the WPC's two adjustments; below 80 the simple form. For 40 to 112 degF;
    below 40 degF it is the air temperature.
    """
    t = np.asarray(air_f, dtype=float)
    r = np.asarray(humidity_pct, dtype=float)
    simple = (0.5 * (t + 61.0 + (t - 68.0) * 1.2 + r * 0.094) + t) / 2.0
    full = (
        -42.379
        + 2.04901523 * t
        + 10.14333127 * r
        - 0.22475541 * t * r
        - 6.83783e-3 * t**2
        - 5.481717e-2 * r**2
        + 1.22874e-3 * t**2 * r
        + 8.5282e-4 * t * r**2
        - 1.99e-6 * t**2 * r**2
    )
    dry = (13.0 - r) / 4.0 * np.sqrt(np.maximum(17.0 - np.abs(t - 95.0), 0.0) / 17.0)
    wet = (r - 85.0) / 10.0 * (87.0 - t) / 5.0
    full = full - np.where((r < 13) & (t >= 80) & (t <= 112), dry, 0.0)
    full = full + np.where((r > 85) & (t >= 80) & (t <= 87), wet, 0.0)
    index = np.where(simple >= 80.0, full, simple)
    return np.asarray(np.where(t < 40.0, t, index))


def heat_band(index_f: float) -> str:
    """OSHA's guide band of a heat index: lower, moderate (91), high (103), extreme (over 115)."""
    if index_f > 115.0:
        return "extreme"
    if index_f >= 103.0:
        return "high"
    return "moderate" if index_f >= 91.0 else "lower"


def wind_chill_f(air_f: ArrayLike, wind_mph: ArrayLike) -> Array:
    """Wind chill in degF, NWS 2001, wind at 10 m; above 50 degF or to 3 mph, the air's."""
    t = np.asarray(air_f, dtype=float)
    v = np.maximum(np.asarray(wind_mph, dtype=float), 0.0)
    power = v**0.16
    chill = 35.74 + 0.6215 * t - 35.75 * power + 0.4275 * t * power
    return np.asarray(np.where((t <= 50.0) & (v > 3.0), chill, t))

"""Moist air and wind near the ground. Arrays in, arrays out; shapes broadcast."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

PA_PER_PSI = 6894.757
MPS_PER_MPH = 0.44704

SHELTER: dict[str, float] = {"sun": 1.0, "mixed": 0.8, "shade": 0.65, "indoors": 0.12}
"""Share of the open-field wind that reaches a slab, by exposure. Common practice, no source: walls
and trees that shade a slab also shelter it; a closed building leaves a draught."""


def celsius(temp_f: ArrayLike) -> Array:
    """Temperature in degrees Celsius from Fahrenheit."""
    return np.asarray((np.asarray(temp_f, dtype=float) - 32.0) / 1.8)


def fahrenheit(temp_c: ArrayLike) -> Array:
    """Temperature in degrees Fahrenheit from Celsius."""
    return np.asarray(np.asarray(temp_c, dtype=float) * 1.8 + 32.0)


def saturation_pressure_pa(temp_c: ArrayLike) -> Array:
    """Saturation pressure of water vapour, Pa; over ice below 0.01 degC.

    Valid -100 to 200 degC, NaN outside; within 0.03 % of the ASHRAE table.
    Source: ASHRAE Handbook of Fundamentals 2017, ch. 1, eq. 5 and 6 (Hyland and Wexler 1983).
    """
    c = np.asarray(temp_c, dtype=float)
    k = np.where((c >= -100) & (c <= 200), c + 273.15, np.nan)
    log_pa = np.asarray(
        -5.8002206e3 / k
        + 1.3914993
        + k * (-4.8640239e-2 + k * (4.1764768e-5 - k * 1.4452093e-8))
        + 6.5459673 * np.log(k)
    )
    cold = c < 0.01
    if cold.any():
        k = k[cold]
        log_pa[cold] = (
            -5.6745359e3 / k
            + 6.3925247
            + k * (-9.677843e-3 + k * (6.2215701e-7 + k * (2.0747825e-9 - k * 9.484024e-13)))
            + 4.1635019 * np.log(k)
        )
    return np.asarray(np.exp(log_pa))


def vapor_pressure_pa(temp_c: ArrayLike, humidity_pct: ArrayLike) -> Array:
    """Partial pressure of water vapour, Pa, from air temperature and relative humidity 0 to 100."""
    return np.asarray(
        saturation_pressure_pa(temp_c) * np.asarray(humidity_pct, dtype=float) / 100.0
    )


def dew_point_c(temp_c: ArrayLike, humidity_pct: ArrayLike) -> Array:
    """Dew point, degC, over water (frost point below 0.01 degC); NaN at 0 % humidity.

    Found by Newton's method on :func:`saturation_pressure_pa`, to 1e-6 K; valid -60 to 100 degC.
    """
    pressure = vapor_pressure_pa(temp_c, humidity_pct)
    wanted = np.log(np.where(pressure > 0, pressure, np.nan))
    # Magnus form (Alduchov and Eskridge 1996) as a first guess, 0.3 % near room temperature.
    reduced = wanted - np.log(610.94)
    guess = 243.04 * reduced / (17.625 - reduced)
    for _ in range(8):
        here = np.log(saturation_pressure_pa(guess))
        slope = (np.log(saturation_pressure_pa(guess + 0.01)) - here) / 0.01
        guess = guess - (here - wanted) / slope
    return np.asarray(guess)


def wind_at_slab_mph(
    wind_mph: ArrayLike,
    height_m: ArrayLike = 10.0,
    to_height_m: float = 0.5,
    roughness_m: float = 0.03,
) -> Array:
    """Wind in mph brought from the height of reading down to the slab (0.5 m).

    Logarithmic profile over open grass (roughness 0.03 m), neutral air; 0.484 from 10 m. NaN
    height counts as 10 m; heights at or below 0.5 m stay as they are. A basement is no field:
    see :data:`SHELTER`. Source: WMO-No. 8 (2018), part I ch. 5; ACI 305 wants 0.5 m (20 in).
    """
    height = np.asarray(height_m, dtype=float)
    height = np.where(np.isnan(height), 10.0, height)
    height = np.maximum(height, to_height_m)
    factor = np.log(to_height_m / roughness_m) / np.log(height / roughness_m)
    return np.asarray(np.asarray(wind_mph, dtype=float) * factor)

"""Sun on the slab: position and clear sky by pvlib, then cloud and shade.

pvlib takes a second to import, so it is imported where it is used.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SEEN: dict[str, float] = {"sun": 0.85, "mixed": 0.55, "shade": 0.18, "indoors": 0.0}
"""Share of the horizontal irradiance that reaches a slab, by exposure. Common practice, no source:
open shade keeps most of the diffuse part, which is about a fifth of a clear sky's total; houses,
trees and forms take some of a low sun from a slab that is called sunny."""


def zenith_deg(times_utc: Any, latitude: float, longitude: float) -> Array:
    """Apparent zenith of the sun in degrees; more than 90 is night.

    ``times_utc`` is anything a pandas DatetimeIndex takes, in UTC without a zone; degrees north and
    east. NREL SPA (Reda and Andreas 2008, TP-560-34302) through pvlib, good to 0.0003 degrees.
    """
    import pandas as pd
    from pvlib import solarposition

    times = pd.DatetimeIndex(times_utc).tz_localize("UTC")
    found = solarposition.spa_python(times, latitude, longitude)
    return np.asarray(found["apparent_zenith"], dtype=float)


def clear_sky_w_m2(zenith: ArrayLike) -> Array:
    """Global horizontal irradiance of a clear sky, W/m2, from the zenith in degrees.

    Haurwitz 1945 through pvlib; mean bias a few percent in temperate summers (Reno et al. 2012).
    """
    from pvlib import clearsky

    frame = clearsky.haurwitz(_series(zenith))
    return np.asarray(frame["ghi"], dtype=float)


def cloudy_w_m2(clear_w_m2: ArrayLike, cloud_pct: ArrayLike) -> Array:
    """Global irradiance under cloud, W/m2: clear x (1 - 0.75 N^3.4), N the share of sky covered.

    Kasten and Czeplak 1980 (Solar Energy 24:177-189), Hamburg; single hours scatter by a third.
    """
    covered = np.clip(np.asarray(cloud_pct, dtype=float) / 100.0, 0.0, 1.0)
    return np.asarray(np.asarray(clear_w_m2, dtype=float) * (1.0 - 0.75 * covered**3.4))


def on_slab_w_m2(horizontal_w_m2: ArrayLike, exposure: str) -> Array:
    """What reaches the slab of the horizontal irradiance, W/m2, by exposure (:data:`SEEN`)."""
    return np.asarray(np.asarray(horizontal_w_m2, dtype=float) * SEEN[exposure])


def _series(values: ArrayLike) -> Any:
    import pandas as pd

    return pd.Series(np.asarray(values, dtype=float))

"""Sunrise and sunset at a site, in its own clock."""

from __future__ import annotations

from functools import lru_cache

import pandas as pd


@lru_cache(maxsize=256)
def daylight(
    day: pd.Timestamp, latitude: float, longitude: float, zone: str
) -> tuple[float, float]:
    """Sunrise and sunset of a date, hours of the site's clock; 0 and 24 where it doesn't set.

    NREL SPA (Reda and Andreas 2008) through pvlib, good to a minute at middle latitudes.
    """
    from pvlib import solarposition

    noon = pd.DatetimeIndex([day.normalize() + pd.Timedelta(hours=12)]).tz_localize(zone)
    found = solarposition.sun_rise_set_transit_spa(noon, latitude, longitude)
    rise, fall = found["sunrise"].iloc[0], found["sunset"].iloc[0]
    if pd.isna(rise) or pd.isna(fall):
        return 0.0, 24.0
    return _hour(rise, day), _hour(fall, day)


def _hour(moment: pd.Timestamp, day: pd.Timestamp) -> float:
    return float((moment.tz_localize(None) - day.normalize()).total_seconds() / 3600.0)

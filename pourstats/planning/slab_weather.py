"""What a slab ahead meets: drying, rain, heat and cold, as the cautions look at them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning import clock
from pourstats.learning.clock.conditions import Conditions, conditions, hours, number, words
from pourstats.planning.cautions import Slab
from pourstats.science import evaporation, heat_stress
from pourstats.science.air import wind_at_slab_mph

Array = NDArray[np.float64]

RAIN_AFTER_H = 2.0
"""Rain spoils a surface until some hours after the last pass. Common practice, no source."""


def drying(
    jobs: pd.DataFrame,
    weather: pd.DataFrame | None,
    cast: clock.Forecast,
    house: Mapping[str, Any],
    sites: pd.DataFrame | None,
) -> tuple[Array, Array, Conditions]:
    """Mean and greatest evaporation, lb/ft2/h, from first concrete to the first pass (a job each).

    As the measure `pour_weather` has it (Uno 1998); unknown indoors and without a forecast.
    """
    whole = jobs.assign(place_end=jobs["place_start"])
    found = conditions(whole, weather, sites, house, plant=cast.clock.plant)
    inside = np.array([word == "indoors" for word in words(jobs, "exposure")])
    rate = evaporation.uno_lb_ft2_h(
        found.concrete_f[:, None], found.air_f, found.humidity_pct, found.wind_mph
    )
    until = (np.median(cast.first_h, axis=1) - hours(jobs["place_start"])) * 3.0
    counts = np.arange(rate.shape[1])[None, :] < np.maximum(until, 1.0)[:, None]
    rate = np.where(counts & (found.told > 0)[:, None] & ~inside[:, None], rate, np.nan)
    known = ~np.isnan(rate).all(axis=1)
    mean, most = np.full(len(jobs), np.nan), np.full(len(jobs), np.nan)
    mean[known], most[known] = np.nanmean(rate[known], axis=1), np.nanmax(rate[known], axis=1)
    return mean, most, found


def slab_met(
    cast: clock.Forecast,
    row: int,
    dried: tuple[Array, Array, Conditions],
    sawn: str,
    house: Mapping[str, Any],
    weather: pd.DataFrame | None,
) -> tuple[Slab, float]:
    """What the cautions look at, and the greatest heat index of the day."""
    jobs, (mean, most, found) = cast.jobs, dried
    one = jobs.iloc[[row]]
    until = int(np.clip((np.median(cast.last_h[row]) - found.start_h[row]) * 3 + 1, 1, 36))
    index = float(
        np.max(heat_stress.heat_index_f(found.air_f[row, :until], found.humidity_pct[row, :until]))
    )
    told = found.told[row] > 0
    # Wind chill wants the wind at 10 m; the slab's is brought down from there.
    wind_mph = found.wind_mph[row, :until] / wind_at_slab_mph(1.0)
    chill = float(np.min(heat_stress.wind_chill_f(found.air_f[row, :until], wind_mph)))
    outdoors = words(one, "exposure")[0] != "indoors"
    sites, latitude = cast.clock.sites, house.get("latitude")
    if sites is not None and len(sites):
        own = sites[sites["site"].astype(str) == str(one["site"].iloc[0])]
        if len(own) and pd.notna(own["latitude"].iloc[0]):
            latitude = own["latitude"].iloc[0]
    unknown = float("nan")
    until_h = float(np.median(cast.last_h[row])) + RAIN_AFTER_H
    rain_in, rain_from = rain(one, weather, until_h) if outdoors else (0.0, "")
    return (
        Slab(
            slab_type=words(one, "slab_type")[0],
            exposure=words(one, "exposure")[0],
            finish=words(one, "finish")[0],
            saw=sawn or "none",
            thickness_in=float(number(one, "thickness", 4.0)[0]),
            slump_in=float(number(one, "slump")[0]),
            concrete_f=float(number(one, "concrete_temp")[0]),
            slab_f=float(cast.science.slab_f[row]),
            air_low_f=float(found.air_f[row].min()) if told else unknown,
            air_high_f=float(found.air_f[row, :until].max()) if told else unknown,
            heat_index_f=index if told else unknown,
            evaporation_lb_ft2_h=float(mean[row]),
            evaporation_max_lb_ft2_h=float(most[row]),
            latitude=unknown if latitude is None else float(latitude),
            wind_chill_f=chill if told and outdoors else unknown,
            rain_in=rain_in,
            rain_from=rain_from,
            crust=bool(cast.science.crust[row]) and told,
            wet=bool(cast.science.wet[row] > 0.1),
            base=frozenset(w.strip() for w in words(one, "base")[0].split(";") if w.strip()),
            admixtures=frozenset(
                w.strip() for w in words(one, "admixtures")[0].split(";") if w.strip()
            ),
        ),
        index,
    )


def rain(job: pd.DataFrame, weather: pd.DataFrame | None, until_h: float) -> tuple[float, str]:
    """Inches of rain forecast from first concrete until a moment (hours since 1970), and its start.

    ``job`` is one row. 0 and an empty text where none is forecast, or nobody says.
    """
    if weather is None or "rain" not in weather:
        return 0.0, ""
    own = weather[np.array(words(weather, "site")) == words(job, "site")[0]].sort_values("time")
    time, fallen = hours(own["time"]), number(own, "rain", 0.0)
    begun = float(hours(job["place_start"])[0])
    wet = (time > begun) & (time <= until_h) & (fallen > 0.0)
    if not wet.any():
        return 0.0, ""
    return float(fallen[wet].sum()), f"{pd.Timestamp(own['time'].to_numpy()[wet][0]):%H:%M}"

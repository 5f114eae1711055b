"""What a forecast says of the jobs to bid: the air of their hours, and how fast the slab dries."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from pourstats.learning.clock.conditions import STEP_H, Plant, conditions
from pourstats.learning.hours import air_of
from pourstats.learning.hours.features import Array, numbers, words
from pourstats.science import evaporation

WORK_H = 6.0
"""How much of the day's forecast counts for the air of a job, from its start."""

EARLY_H = 3.0
"""From first concrete to about the first pass: how long drying tells of callbacks. The measure
`pour_weather` ends there too. Common practice, no source."""


def with_air(jobs: pd.DataFrame, forecast: pd.DataFrame | None) -> tuple[pd.DataFrame, list[str]]:
    """The jobs with the air temperature that the forecast has for them, and what to say of it."""
    if forecast is None:
        return jobs, []
    air, lacking = [], []
    for row, start in enumerate(starts(jobs)):
        value = air_of(forecast, jobs["site"].iloc[row], start, WORK_H)
        air.append(value)
        if np.isnan(value):
            lacking.append(str(jobs["pour_id"].iloc[row]))
    notes = []
    if lacking:
        notes.append(
            f"the forecast has nothing for {', '.join(lacking)} on its day and site; the season's"
            " usual weather stands in"
        )
    return jobs.assign(air_temp_f=air), notes


def starts(jobs: pd.DataFrame) -> list[pd.Timestamp]:
    """Of each job the agreed start, the earliest, or seven in the morning of its date."""
    found = []
    for row in range(len(jobs)):
        start = pd.Timestamp(jobs["date"].iloc[row]) + pd.Timedelta(hours=7)
        for name in ("earliest_start", "place_start"):
            if name in jobs and not pd.isna(jobs[name].iloc[row]):
                start = pd.Timestamp(jobs[name].iloc[row])
        found.append(start)
    return found


def early_evaporation_lb_ft2_h(
    jobs: pd.DataFrame,
    forecast: pd.DataFrame | None,
    sites: pd.DataFrame | None,
    house: Mapping[str, object],
) -> Array | None:
    """Mean evaporation of each job over its first hours (Uno 1998); None without a forecast.

    NaN indoors, and where the forecast has nothing for the job's day and site (``air_temp_f`` of
    `with_air` is blank). Without a concrete temperature the air's stands in, as a plant's would.
    """
    if forecast is None:
        return None
    begun = pd.to_datetime(pd.Series(starts(jobs), index=jobs.index)).astype("datetime64[s]")
    whole = jobs.assign(place_start=begun, place_end=begun)
    found = Plant().fills(conditions(whole, forecast, sites, house))
    rate = evaporation.uno_lb_ft2_h(
        found.concrete_f[:, None], found.air_f, found.humidity_pct, found.wind_mph
    )
    mean = rate[:, : round(EARLY_H / STEP_H)].mean(axis=1)
    unknown = np.isnan(numbers(jobs, "air_temp_f")) | (words(jobs, "exposure") == "indoors")
    return np.asarray(np.where(unknown, np.nan, mean))

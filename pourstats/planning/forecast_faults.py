"""What a forecast lacks for the jobs it is asked about, in words for the owner."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock.conditions import hours, number, words

Array = NDArray[np.float64]

NEAR_H = 24.0
"""A forecast that begins later than this after the pour says nothing of it."""
COARSE_H = 6.0
"""A forecast's readings may lie this far apart (log format)."""


def forecast_faults(
    jobs: pd.DataFrame, forecast: pd.DataFrame | None, first_h: Array, last_h: Array, told: Array
) -> list[list[str]]:
    """What to say of the forecast, one list a job; empty where it does.

    ``first_h`` and ``last_h`` are draws (job x draw), hours since 1970; ``told`` (job) is the share
    of the first hours that readings reach.
    """
    return [
        _faults(jobs.iloc[[row]], forecast, float(np.median(first_h[row])),
                float(np.quantile(last_h[row], 0.9)), bool(told[row] > 0))
        for row in range(len(jobs))
    ]  # fmt: skip


def near(forecast: pd.DataFrame | None, starts: pd.Series) -> pd.DataFrame | None:
    """The forecast's rows that lie near any of the jobs; None where none does."""
    if forecast is None or not len(forecast):
        return forecast
    time, begun = hours(forecast["time"]), hours(starts)
    known = begun[~np.isnan(begun)]
    if not known.size:
        return forecast
    # From days before the first job, since the base is cold or warm from them, to after the last.
    kept = forecast[(time >= known.min() - 240.0) & (time <= known.max() + 72.0)]
    late = len(kept) and hours(kept["time"]).min() > known.max() + NEAR_H
    return None if late or not len(kept) else kept


def lender(forecast: pd.DataFrame) -> str:
    """The site whose forecast stands in for one that has none: the one with the most rows."""
    return str(pd.Series(words(forecast, "site")).value_counts().index[0])


def _faults(
    job: pd.DataFrame, forecast: pd.DataFrame | None, first: float, last: float, reached: bool
) -> list[str]:
    site, start = words(job, "site")[0], float(hours(job["place_start"])[0])
    if forecast is None or not len(forecast):
        return ["No forecast is given: a mild day is assumed, and the doubt is wide."]
    named = words(forecast, "site")
    said = []
    if site not in named:
        lent = lender(forecast)
        said.append(f"The forecast has no rows for site {site}: that of {lent} stands in.")
        site = lent
    own = forecast[[name == site for name in named]].sort_values("time")
    time = hours(own["time"])
    if (time[-1] < start and not reached) or time[0] > start + NEAR_H:
        day = f"{pd.Timestamp(round(time[0] * 60.0), unit='m'):%b %d, %Y}"
        end = f"{pd.Timestamp(round(time[-1] * 60.0), unit='m'):%b %d %H:%M}"
        misses = (
            f"The forecast ends {end}, before the pour begins"
            if time[-1] < start
            else f"The forecast is for {day} and later, not for the pour's day"
        )
        return [*said, f"{misses}: a mild day is assumed, and the doubt is wide."]
    if time[0] > start + 1.0:
        said.append(
            f"The forecast begins {_clock(time[0])}, after the pour: its first reading stands for"
            " what came before."
        )
    if time[-1] < last - 1.0:
        part = "the later passes and the saw"
        if time[-1] < first:
            part = "the first pass" if time[-1] >= start else "the pour"
        said.append(
            f"The forecast ends {_clock(time[-1])}, too early for {part}: its last reading is"
            " carried on."
        )
    inside = (time >= start - COARSE_H) & (time <= last + COARSE_H)
    gaps = np.diff(time[inside])
    if gaps.size and gaps.max() > COARSE_H:
        said.append(f"Between two readings of the forecast lie {gaps.max():.0f} hours.")
    outdoors = words(job, "exposure")[0] != "indoors"
    if outdoors and np.isnan(number(own, "sun")[inside]).all():
        if np.isnan(number(own, "cloud")[inside]).all():
            said.append(
                "The forecast has neither sun nor cloud: a sky 40 percent covered is assumed."
            )
        else:
            said.append("The forecast has no sun: it is reckoned from the cloud.")
    return said


def _clock(hour: float) -> str:
    stamp = pd.Timestamp(round(hour * 60.0), unit="m")
    return f"{stamp:%a %H:%M}"

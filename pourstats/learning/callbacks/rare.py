"""A watch on rare events: floors between calls (g chart), days between them (t chart)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

LEAST_GAPS = 5
"""Fewer gaps than this give no chart. Common practice, no source."""
RUN = 5
"""The latest gaps that are set against all earlier ones."""
ALARM = 0.005
"""A run is told of where luck makes one as bad this often at a look."""
T_UPPER, T_LOWER = 6.6077, 0.00135
"""Limits of an exponential gap in mean gaps: -log 0.00135 and -log 0.99865 (Borror, Keats and
Montgomery 2003)."""
MEDIAN_SHARE = 0.693
"""The median of such gaps in mean gaps (log 2), which the chart shows as its middle."""


def g_limits(gaps: ArrayLike) -> dict[str, float]:
    """Centre, median and upper limit of counts between events (Benneyan 2001): mean and three of
    the geometric distribution's spreads, sqrt(mean (mean + 1)). There is no lower limit."""
    mean = float(np.mean(np.asarray(gaps, dtype=float)))
    return {
        "mean": mean,
        "median": MEDIAN_SHARE * mean,
        "upper": mean + 3.0 * float(np.sqrt(mean * (mean + 1.0))),
    }


def t_limits(gaps: ArrayLike) -> dict[str, float]:
    """Centre, median and probability limits of times between events, exponential; same unit."""
    mean = float(np.mean(np.asarray(gaps, dtype=float)))
    return {
        "mean": mean,
        "median": MEDIAN_SHARE * mean,
        "lower": T_LOWER * mean,
        "upper": T_UPPER * mean,
    }


def run_chance(latest: float, count: int, earlier: float, earlier_count: int) -> float:
    """Chance that ``count`` exponential gaps sum to ``latest`` or less, by the earlier ones.

    ``earlier`` is the sum of ``earlier_count`` gaps: the ratio of the two means follows F with
    2 count and 2 earlier_count degrees of freedom, so few earlier gaps make it slow to alarm.
    """
    from scipy.special import fdtr

    if earlier <= 0.0:
        return 1.0
    return float(fdtr(2 * count, 2 * earlier_count, (latest / count) / (earlier / earlier_count)))


def watch(pours: pd.DataFrame) -> dict[str, Any] | None:
    """The two charts of a crew's pours (pours_record's rows), and whether the latest run is bad.

    ``g``: pours old enough in order of date, floors between one called back and the next. ``t``:
    days between the first reports of floors, young ones too; seen earlier, but a crew that pours
    more gets more calls. ``bad_run`` sets the latest five gaps of the g chart against all earlier
    ones. None with fewer than five gaps.
    """
    old = pours[pours["old_enough"]]
    places = np.flatnonzero(old["called_back"].to_numpy(bool))
    floors = np.diff(places) - 1.0
    report = (pours["date"] + pd.to_timedelta(pours["first_call_days"], unit="D")).dropna()
    days = np.diff(np.sort(report.to_numpy())) / np.timedelta64(1, "D")
    if len(floors) < LEAST_GAPS or len(days) < LEAST_GAPS:
        return None
    found: dict[str, Any] = {
        "g": {**g_limits(floors), "gaps": [float(gap) for gap in floors]},
        "t": {**t_limits(days), "gaps": [float(gap) for gap in days]},
        "bad_run": None,
    }
    ends = [str(each) for each in old["pour_id"].to_numpy()[places[1:]]]
    found["g"]["pour_ids"] = ends
    if len(floors) >= RUN + LEAST_GAPS:
        # A gap of whole floors, half a floor added at either end, is near enough exponential.
        now, before = floors[-RUN:] + 0.5, floors[:-RUN] + 0.5
        chance = run_chance(float(now.sum()), RUN, float(before.sum()), len(before))
        found["bad_run"] = {
            "calls": RUN,
            "floors": int(floors[-RUN:].sum()) + RUN,
            "usual_floors": float(floors[:-RUN].mean() * RUN) + RUN,
            "chance": chance,
            "told": chance <= ALARM,
        }
    return found

"""A watch on rare events: floors between calls (g chart), days between them (t chart)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from pourstats.learning.callbacks.waiting import share_shown

LEAST_GAPS = 5
"""Fewer gaps than this give no chart. Common practice, no source."""
RUN = 5
"""The shortest run of latest gaps that is set against all earlier ones."""
ALARM = 0.001
"""A run is told of where luck makes one of its length as bad this often. All lengths are looked at,
at every call: how often a steady crew is told so, DEVELOPERS.md says (bench_callbacks.py watch)."""
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

    ``g``: pours in order of date, good floors between one called back and the next, and ``since``
    the latest. A floor too young to count, not called back, counts by the share of its calls that
    come by its age (share_shown), so that a run is seen before its floors are old; ``in_part`` is
    how many do. The limits are those of the gaps before a bad run. ``t``: days between the first
    reports of floors. It has no alarm of its own: a crew that pours more gets calls closer
    together. ``bad_run`` is that of g (:func:`latest_run`). None with fewer than five gaps.
    """
    called = pours["called_back"].to_numpy(bool)
    places = np.flatnonzero(called)
    if len(places) <= LEAST_GAPS:
        return None
    good = np.cumsum(np.where(called, 0.0, share_shown(pours)))
    floors, since = np.diff(good[places]), float(good[-1] - good[places[-1]])
    report = (pours["date"] + pd.to_timedelta(pours["first_call_days"], unit="D")).dropna()
    days = np.diff(np.sort(report.to_numpy())) / np.timedelta64(1, "D")
    run = latest_run(floors, since)
    return {
        "g": {
            **g_limits(floors[: -run["calls"]] if run and run["told"] else floors),
            "gaps": [float(gap) for gap in floors],
            "pour_ids": [str(each) for each in pours["pour_id"].to_numpy()[places[1:]]],
            "since": since,
            "in_part": int((~called & ~pours["old_enough"].to_numpy(bool)).sum()),
        },
        "t": {**t_limits(days), "gaps": [float(gap) for gap in days]},
        "bad_run": run,
    }


def latest_run(gaps: ArrayLike, since: float = 0.0) -> dict[str, Any] | None:
    """The latest calls against all earlier ones, by the good floors between them (1-D, in order).

    ``since`` is the good floors after the latest call. Runs of five gaps and more are looked at,
    five or more left to set them against; the least likely is given where it is told of, else the
    latest five: ``calls``, ``floors`` that they are among, ``usual_floors`` for so many before,
    ``chance`` that luck brings a run of that length as close, ``told``; and in good floors a call
    ``apart``, ``usual_apart`` and ``told_under``, under which it would be told of. None with fewer
    than ten gaps.
    """
    from scipy.special import fdtri

    # A gap of whole floors, half a floor added at either end, is near enough exponential.
    each = np.asarray(gaps, dtype=float) + 0.5
    count, total = len(each), np.concatenate([[0.0], np.cumsum(each)])
    if count < RUN + LEAST_GAPS:
        return None
    chances = {
        run: run_chance(total[-1] - total[-1 - run] + since, run, total[-1 - run], count - run)
        for run in range(RUN, count - LEAST_GAPS + 1)
    }
    run = min(chances, key=lambda length: chances[length])
    told = chances[run] <= ALARM
    run = run if told else RUN
    earlier = total[-1 - run] / (count - run)
    latest = total[-1] - total[-1 - run] - 0.5 * run + since
    return {
        "calls": run,
        "floors": round(latest) + run,
        "usual_floors": float((earlier + 0.5) * run),
        "chance": chances[run],
        "told": told,
        "apart": float(latest / run),
        "usual_apart": float(earlier - 0.5),
        "told_under": max(0.0, float(fdtri(2 * run, 2 * (count - run), ALARM) * earlier) - 0.5),
    }

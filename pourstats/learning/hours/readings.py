"""What a pour's logged hours say of the hours that crew time would have logged.

Crew time is taken as it is. A headcount is too, as a rougher reading of the same thing. The short
log, though, has neither the finishers' number nor when the crew came, so its headcount takes
everyone for the whole stay and leaves the set-up out: that is mended from the crew's own habit.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pourstats.learning.hours.features import Array, Habit, numbers, words

SET_UP_H = 1.0
"""Clock hours from the first of the crew on site to first concrete: common practice, no source."""

_WORTH = 5.0


def moments(frame: pd.DataFrame, name: str) -> Array:
    """A time column as hours since 1970, NaN where blank or missing."""
    if name not in frame:
        return np.full(len(frame), np.nan)
    since = pd.to_datetime(frame[name], errors="coerce") - pd.Timestamp("1970-01-01")
    return np.asarray(since / pd.Timedelta(hours=1), dtype=float)


def usual_set_up_h(frame: pd.DataFrame) -> float:
    """This crew's mean hours on site before first concrete, leaning on SET_UP_H."""
    early = moments(frame, "place_start") - moments(frame, "crew_in")
    known = early[(early >= 0) & (early <= 8)]
    return float((_WORTH * SET_UP_H + known.sum()) / (_WORTH + known.size))


def read_h(frame: pd.DataFrame, habit: Habit) -> Array:
    """Labor-hours to learn from, one a pour; NaN where nothing is known.

    For headcount_part: hands over set-up and placing, and the usual share of them (or the logged
    finishers) from then until gone. Without the times that takes, `labor_h` as it stands.
    """
    hours = numbers(frame, "labor_h").copy()
    partial = words(frame, "hours_from").astype(str) == "headcount_part"
    if not partial.any():
        return hours
    start, end = moments(frame, "place_start"), moments(frame, "place_end")
    gone = moments(frame, "crew_out")
    for name in ("passes_done", "saw_end"):
        gone = np.where(np.isnan(gone), moments(frame, name), gone)
    came = moments(frame, "crew_in")
    came = np.where(np.isnan(came), start - usual_set_up_h(frame), came)
    hands, finishers = numbers(frame, "hands"), numbers(frame, "finish_hands")
    usual = np.minimum(hands, np.maximum(1.0, habit.finisher_share * hands))
    finishers = np.where(finishers > 0, finishers, usual)
    mended = hands * (end - came) + finishers * np.maximum(gone - end, 0.0)
    return np.where(partial & (mended > 0), mended, hours)

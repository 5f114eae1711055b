"""Mean hands: labor-hours to a crew-hour, so that hours of people turn into hours of the clock.

Set-up and placing are done by all hands, finishing and waiting by those who stayed, sawing by one
with a helper part of the time: that gives the mean hands which the crew's own record then corrects.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pourstats.learning.hours.conjugate import Regression, regression
from pourstats.learning.hours.features import AREA_CENTRE_FT2, Array, Features, numbers, words

SAW_HANDS = 1.4
SCATTER = 0.15
"""Scatter of log mean hands between pours before any record; both common practice, no source."""

LEVEL_WORTH, SIZE_WORTH, SCATTER_WORTH = 2.0, 20.0, 5.0
"""How many pours' worth the prior of each is."""

UNKNOWN_HANDS_SPREAD = 0.25
"""Log spread of the hands themselves where the job doesn't say: common practice, no source."""

ENOUGH_TIMED = 8
"""Pours with crew time from which headcounts are left out, as their hours are rough."""


@dataclass(frozen=True)
class CrewClock:
    """log(mean hands / mean hands by parts) as a line in log area, with its doubt and scatter."""

    line: Regression
    pours: int

    def hands(
        self, f: Features, share: Array, job: int, rng: np.random.Generator, count: int
    ) -> Array:
        """Draws of mean hands for one job, never under one person; ``share`` is rows x parts."""
        size = np.log(f.area_ft2[job] / AREA_CENTRE_FT2)
        centre, spread, freedom = self.line.predictive([1.0, size])
        drawn = centre[0] + spread[0] * rng.standard_t(freedom, count)
        if not f.hands_known[job]:
            drawn = drawn + UNKNOWN_HANDS_SPREAD * rng.standard_normal(count)
        return np.asarray(np.maximum(1.0, hands_by_parts(f, share)[job] * np.exp(drawn)))


def hands_by_parts(f: Features, share: Array) -> Array:
    """Mean hands of rows whose labor splits as ``share`` (fixed, place, finish, wait, saw)."""
    clock = (
        (share[:, 0] + share[:, 1]) / f.hands
        + (share[:, 2] + share[:, 3]) / f.finish_hands
        + share[:, 4] / SAW_HANDS
    )
    return np.asarray(1.0 / clock)


def crew_clock(frame: pd.DataFrame, f: Features, share: Array) -> CrewClock:
    """Learned from pours with read_h and crew_h, by conjugate regression.

    ``f`` and ``share`` belong to the frame's rows.
    """
    labor, crew = numbers(frame, "read_h"), numbers(frame, "crew_h")
    seen = (labor > 0) & (crew > 0) & f.hands_known
    timed = seen & (words(frame, "hours_from").astype(str) == "crew_time")
    if timed.sum() >= ENOUGH_TIMED:
        seen = timed
    ratio = np.log(labor[seen] / crew[seen] / hands_by_parts(f, share)[seen])
    x = np.column_stack([np.ones(ratio.size), np.log(f.area_ft2[seen] / AREA_CENTRE_FT2)])
    line = regression(
        x,
        ratio,
        [0.0, 0.0],
        np.diag(np.sqrt([LEVEL_WORTH, SIZE_WORTH])),
        SCATTER_WORTH / 2.0,
        SCATTER_WORTH / 2.0 * SCATTER**2,
    )
    return CrewClock(line, int(ratio.size))

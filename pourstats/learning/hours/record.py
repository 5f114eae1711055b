"""The pours as the hours model takes them: the log beside what was counted from it."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from pourstats.learning.hours.features import habit_of
from pourstats.learning.hours.readings import read_h

COUNTED = (
    "placed_yd3", "plan_yd3", "labor_h", "place_labor_h", "finish_labor_h", "saw_labor_h",
    "wait_labor_h", "other_labor_h", "travel_h", "return_h", "paid_h", "crew_h", "hours_from",
    "labor_cost_usd", "cost_from",
)  # fmt: skip
"""What comes from the measure `pour_output`."""

FELT = ("air_temp_f",)
"""What comes from the measure `pour_weather`."""


def hours_frame(frames: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """One row a pour: `pours` with the hours of `pour_output` and the air of `pour_weather`.

    ``frames`` by name, as the store reads them; a missing one leaves its columns out. Empty
    without `pours` or `pour_output`. ``read_h`` are the hours to learn and compare by: `labor_h`,
    mended where it comes from part of a headcount.
    """
    pours, output = frames.get("pours"), frames.get("pour_output")
    if pours is None or output is None or not len(pours) or not len(output):
        return pd.DataFrame()
    own = [name for name in COUNTED if name in output]
    joined = pours.merge(output[["pour_id", *own]], on="pour_id", how="left")
    weather = frames.get("pour_weather")
    if weather is not None and len(weather):
        felt = [name for name in FELT if name in weather]
        joined = joined.merge(weather[["pour_id", *felt]], on="pour_id", how="left")
    return joined.assign(read_h=read_h(joined, habit_of(joined)))

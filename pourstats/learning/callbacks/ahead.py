"""Jobs ahead as callbacks see them, and what a floor that comes back costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.callbacks.features import beside, features
from pourstats.learning.callbacks.rates import UNSEEN_TIMES, mean_cost_spread
from pourstats.logs.tables import OUTDOOR_TYPES, POURS

Array = NDArray[np.float64]

LOADS = ("pour_id", "ticket", "called", "water_added", "concrete_temp", "age_min", "starved_min")
FIRST = ("pour_id", "first_pass", "machine", "held_up", "ready", "start", "footprint_in")


def job_features(
    jobs: pd.DataFrame, age_limit_min: float, evaporation_lb_ft2_h: Sequence[float] | None = None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Features of jobs (rows of `jobs`), and what stands beside them, as risk takes them.

    ``evaporation_lb_ft2_h``, one a job, is the forecast's mean over the early hours; without it,
    and for all that only the day will tell, a job counts as usual.
    """
    ids = jobs["pour_id"].astype(str).reset_index(drop=True)
    logged = jobs.reset_index(drop=True).assign(pour_id=ids).reindex(columns=list(POURS.names))
    logged["date"] = jobs["date"].to_numpy() if "date" in jobs else None
    logged["place_end"], logged["saw_start"] = pd.NaT, pd.NaT
    drying = np.full(len(ids), np.nan) if evaporation_lb_ft2_h is None else evaporation_lb_ft2_h
    frames = {
        "pours": logged,
        "trucks": pd.DataFrame(columns=list(LOADS)),
        "truck_times": pd.DataFrame(columns=list(LOADS)),
        "pass_intervals": pd.DataFrame(columns=list(FIRST)),
        "pour_weather": pd.DataFrame(
            {"pour_id": ids, "evaporation_lb_ft2_h": np.asarray(drying), "air_temp_f": np.nan}
        ),
    }
    found = features(frames, pd.DataFrame({"pour_id": ids}), age_limit_min)
    kinds = logged[["date", "finish"]].assign(outdoors=logged["slab_type"].isin(OUTDOOR_TYPES))
    return found, beside(kinds).assign(later=1.0)


@dataclass(frozen=True)
class CallCost:
    """All-in cost of a floor that comes back, USD: its ``mean``, redrawn means, and the ``floors``
    behind it whose hours, cost and pay are known."""

    mean: float
    draws: Array
    floors: int


def call_cost(pours: pd.DataFrame, draws: int = 1000, seed: int = 6) -> CallCost | None:
    """What a called-back floor costs (pours_record's rows, young ones too); None if none is priced.

    Means are redrawn around the seen one by t on the log scale, as the cost a yard is (rates), so
    that two or three calls aren't taken as certain.
    """
    known = pours["called_back"] & (pours["unpriced"] == 0)
    known &= (pours["without_hours"] == 0) & (pours["without_cost"] == 0)
    spent = (pours["cost_usd"] + pours["labor_usd"])[known].to_numpy(float)
    if not spent.size:
        return None
    mean = float(spent.mean())
    if mean <= 0.0:
        return CallCost(0.0, np.zeros(draws), int(spent.size))
    error, freedom = mean_cost_spread(spent)
    drawn = np.random.default_rng(seed).standard_t(freedom, draws)
    unseen = np.where(drawn > 0.0, 1.0 + UNSEEN_TIMES / spent.size, 1.0)
    return CallCost(mean, mean * unseen * np.exp(error * drawn), int(spent.size))

"""What callback rates are grouped by."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.callbacks.features import first_passes, loads_of, saw_delay
from pourstats.learning.callbacks.rates import rates
from pourstats.learning.callbacks.record import with_calls

TIMING = ("early third", "middle third", "late third")


def groupings(
    frames: Mapping[str, pd.DataFrame], pours: pd.DataFrame, age_limit_min: float
) -> dict[str, pd.Series]:
    """The group of every pour, by grouping; aligned with ``pours`` (pours_record's), blank unknown.

    slab_type, finish, base, cure, lead, month (YYYY-MM), evaporation_class, first_pass_timing and
    saw_delay (thirds of the crew's own), mix, water_added, truck_age (against the age limit).
    """
    logged = frames["pours"].set_index("pour_id").reindex(pours["pour_id"])
    weather = frames["pour_weather"].set_index("pour_id").reindex(pours["pour_id"])
    loads = loads_of(frames, pours)
    first = first_passes(frames, pours)
    oldest = loads["age_min"].to_numpy(float)
    water = loads["water_gal"].to_numpy(float)
    found = {
        "slab_type": pours["slab_type"],
        "finish": pours["finish"],
        "base": _aligned(logged, "base"),
        "cure": _aligned(logged, "cure"),
        "lead": pours["lead"],
        "month": pours["date"].dt.strftime("%Y-%m"),
        "evaporation_class": _aligned(weather, "evaporation_class"),
        "first_pass_timing": thirds(first["since_placed_min"].to_numpy(float)),
        "saw_delay": thirds(saw_delay(frames, pours)),
        "mix": _aligned(logged, "mix"),
        "water_added": either(water > 0, ~np.isnan(water), "water added", "none added"),
        "truck_age": either(
            oldest > age_limit_min,
            ~np.isnan(oldest),
            f"over {age_limit_min:g} min",
            "within the limit",
        ),
    }
    return {name: series.reset_index(drop=True) for name, series in found.items()}


def either(so: np.ndarray, known: np.ndarray, yes: str, no: str) -> pd.Series:
    """``yes`` where it is so, ``no`` where it isn't, blank where that isn't known."""
    return pd.Series(np.where(so, yes, no), dtype="object").where(known)


def thirds(values: np.ndarray) -> pd.Series:
    """The third of the known values that each falls in, by its place among them; NaN is blank."""
    known = ~np.isnan(values)
    names = np.full(len(values), None, dtype=object)
    if known.sum() >= 3:
        edges = np.quantile(values[known], [1 / 3, 2 / 3])
        names[known] = np.array(TIMING, dtype=object)[np.searchsorted(edges, values[known])]
    return pd.Series(names)


def fault_rates(pours: pd.DataFrame, calls: pd.DataFrame) -> list[dict[str, Any]]:
    """One row a ``fault`` that calls name, as group_rates has them, most first, unknown last.

    ``pours`` as pours_record, ``calls`` as priced_calls give them. Every pour is at risk of each
    fault, so the rows' pours are all the pours, and a pour may be called back for several.
    """
    words = calls["fault"] if "fault" in calls else pd.Series(index=calls.index, dtype=object)
    words = words.where(words.notna(), "unknown").astype(str)
    rows = [
        {"group": word, **rates(with_calls(pours, calls[words == word]))}
        for word in sorted(words.unique())
    ]
    return sorted(
        rows, key=lambda row: (row["group"] == "unknown", -row["callbacks"], row["group"])
    )


def defect_counts(pours: pd.DataFrame, calls: pd.DataFrame) -> pd.Series[int]:
    """Pours called back for each ``defect``, young ones too, most first; one may have several."""
    own = calls[calls["pour_id"].isin(pours["pour_id"])]
    counts = own.groupby("defect")["pour_id"].nunique().sort_index()
    return counts.sort_values(ascending=False, kind="stable")


def _aligned(frame: pd.DataFrame, column: str) -> pd.Series:
    if column not in frame:
        return pd.Series([None] * len(frame))
    return frame[column].reset_index(drop=True)

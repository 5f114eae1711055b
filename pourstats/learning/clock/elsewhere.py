"""Starts that were late because the finish people were on another slab.

Read from the passes' workers, and from the crew's time: who finished here, and where they were
until then.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock.conditions import hours, words

Array = NDArray[np.float64]

BUSY_H = 0.3
"""A finisher whose pass on another slab ended within this before the start came late for it."""
DRIVE_H = 0.75
"""The same by crew time, which tells when he left there, with the drive between."""
JOINS_H = 0.25
"""Whoever begins to finish within this of the first pass is one of those that it waited for."""
SHIFT_H = 3.0
"""A working day begins at three, so that a stretch past midnight stays on it."""


def by_passes(table: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether each pass's worker came straight from a pass on another pour.

    ``table`` has row (of the pour), worker, start and end in hours, a pass each.
    """
    busy = np.zeros(len(table), bool)
    named = table[table["worker"] != ""]
    for _, own in named.groupby("worker"):
        if own["row"].nunique() < 2:
            continue
        own = own.sort_values("start")
        rows, start, end = (own[c].to_numpy() for c in ("row", "start", "end"))
        place = own.index.to_numpy()
        for i in range(1, len(own)):
            if rows[i - 1] != rows[i] and 0 <= start[i] - end[i - 1] <= BUSY_H:
                busy[place[i]] = True
    return busy


def by_crew_time(
    pour_ids: list[str], start_h: Array, crew_time: pd.DataFrame | None
) -> NDArray[np.bool_]:
    """Whether a pour's finish people were all on another pour until its first pass (pour).

    ``start_h`` is when the first pass began, hours since 1970, NaN where unknown. Whoever was on
    this slab already, waiting for the set too, could have begun; then nothing was late for people.
    """
    late = np.zeros(len(pour_ids), bool)
    if crew_time is None or not len(crew_time) or np.isnan(start_h).all():
        return late
    place = {pid: row for row, pid in enumerate(pour_ids)}
    whole = pd.DataFrame(
        {
            "pour": words(crew_time, "pour_id"),
            "worker": words(crew_time, "worker"),
            "task": words(crew_time, "task"),
            "start": hours(crew_time["start"]),
            "end": hours(crew_time["end"]),
        }
    )
    whole = whole[(whole["task"] != "travel") & (whole["worker"] != "")].dropna()
    whole["day"] = np.floor((whole["start"] - SHIFT_H) / 24.0)
    finish = whole[whole["task"] == "finish"]
    row = finish["pour"].map(place)
    finish = finish[row.notna()].assign(row=row.dropna().astype(int))
    finish["first"] = start_h[finish["row"].to_numpy(dtype=int)]
    here = (finish["start"] <= finish["first"] + JOINS_H) & (finish["end"] > finish["first"])
    people = finish.loc[here, ["row", "pour", "worker", "day", "first"]].drop_duplicates()
    met = people.merge(whole, on=["worker", "day"], suffixes=("", "_at"))
    # Where each of them was in the time just before: on this slab, or on another.
    before = (met["start"] < met["first"] - 0.05) & (met["end"] >= met["first"] - DRIVE_H)
    same = met["pour_at"] == met["pour"]
    on_hand = before & same & (met["end"] >= met["first"] - BUSY_H)
    ready = set(met.loc[on_hand, "row"])
    away = set(met.loc[before & ~same, "row"])
    late[sorted(away - ready)] = True
    return late

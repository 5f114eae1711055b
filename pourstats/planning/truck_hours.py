"""Whether a job's loads fit the plant's hours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

LOADED_MIN = 10.0
"""Water in to on the road. Common practice, no source."""
PLANT_TRAVEL_MIN = 25.0
OPEN, CLOSE = "06:00", "17:00"


def outside_hours(
    order: Sequence[Mapping[str, Any]], plant_travel_min: float, house: Mapping[str, Any]
) -> str | None:
    """What to say of loads that the plant would have to load before it opens or after it closes.

    ``order`` has `load_no` and `due` (local times) of each load; None where all fit.
    """
    way = pd.Timedelta(minutes=LOADED_MIN + plant_travel_min)
    day = pd.Timestamp(str(order[0]["due"])).normalize()
    opens = day + pd.Timedelta(f"{house.get('plant_open') or OPEN}:00")
    closes = day + pd.Timedelta(f"{house.get('plant_close') or CLOSE}:00")
    loaded = [pd.Timestamp(str(load["due"])) - way for load in order]
    late = [load["load_no"] for load, at in zip(order, loaded, strict=True) if at > closes]
    if late:
        which = f"load {late[0]}" if len(late) == 1 else f"loads {late[0]} to {late[-1]}"
        return (
            f"The plant closes at {closes:%H:%M} (setting plant_close): {which} would be loaded"
            " after that. Start earlier, ask the plant to stay open, or pour it in parts."
        )
    if loaded[0] < opens:
        return (
            f"The plant opens at {opens:%H:%M} (setting plant_open): the first load is there at"
            f" {opens + way:%H:%M} at the soonest; ask whether it loads earlier."
        )
    return None

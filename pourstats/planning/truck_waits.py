"""What the log says of past waits: by plant, hour, weekday and load, and the dollars lost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pourstats.planning.bid_price import hour_cost

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
FEW = 3
"""Groups of fewer loads are not shown."""


def past_waits(
    frames: Mapping[str, pd.DataFrame], house: Mapping[str, Any], rate_usd_min: float
) -> dict[str, Any] | None:
    """Waits of the loads logged; None without any.

    A group has `loads`, mean `wait_min` with its 90 % interval, `starved_min` (mean of the loads
    that know it, the balance load left out) and `over_min` (sum of billable minutes). `billed_usd`
    is what was charged, `logged_usd` what the logged minutes beyond the free ones come to at
    ``rate_usd_min``; `idle_usd` what the crew's standing cost, where hands and pay are known.
    """
    times = frames.get("truck_times")
    if times is None or not len(times) or not times["wait_min"].notna().any():
        return None
    loads = times.copy()
    pours, trucks = frames.get("pours"), frames.get("trucks")
    if trucks is not None and len(trucks):
        loads = loads.merge(trucks[["pour_id", "ticket", "arrived"]], on=["pour_id", "ticket"])
    else:
        loads["arrived"] = pd.Series(pd.NaT, index=loads.index)
    arrived = pd.to_datetime(loads["arrived"])
    loads["hour"] = [None if pd.isna(t) else f"{t:%H}:00" for t in arrived]
    loads["weekday"] = [WEEKDAYS[pd.Timestamp(day).weekday()] for day in loads["date"]]
    ordered = loads["called"].astype(object) != "balance"
    billed = float(pd.to_numeric(loads["wait_charge_usd"]).sum())
    over = float(pd.to_numeric(loads["over_min"]).sum())
    return {
        "loads": int(loads["wait_min"].notna().sum()),
        "wait_min": _mean(loads["wait_min"]),
        "late_min": _mean(loads["late_min"]),
        "starved_min": _mean(loads.loc[ordered, "starved_min"]),
        "starved_total_min": round(float(loads.loc[ordered, "starved_min"].sum()), 1),
        "over_min": round(over, 1),
        "logged_usd": round(over * rate_usd_min, 2),
        "billed_usd": round(billed, 2),
        "billed_loads": int((pd.to_numeric(loads["wait_charge_usd"]) > 0).sum()),
        "idle_usd": _idle(loads[ordered], pours, frames, house),
        "by_plant": _groups(loads, "plant"),
        "by_hour": _groups(loads, "hour"),
        "by_weekday": _groups(loads, "weekday", WEEKDAYS),
        "by_load_no": _groups(loads, "load_no"),
    }


def _mean(values: pd.Series) -> dict[str, float | int] | None:
    known = pd.to_numeric(values).dropna().to_numpy(float)
    if not known.size:
        return None
    half = 1.645 * known.std(ddof=1) / np.sqrt(known.size) if known.size > 1 else np.nan
    found: dict[str, float | int] = {"mean": round(float(known.mean()), 1), "count": known.size}
    if np.isfinite(half):
        low = float(known.mean() - half)
        # Waits are never below none, however wide the doubt of their mean.
        found["low"] = round(max(low, 0.0) if known.min() >= 0.0 else low, 1)
        found["high"] = round(float(known.mean() + half), 1)
    return found


def _groups(
    loads: pd.DataFrame, by: str, order: tuple[str, ...] | None = None
) -> list[dict[str, Any]]:
    found = []
    for name, own in loads.dropna(subset=[by]).groupby(by):
        if own["wait_min"].notna().sum() < FEW:
            continue
        ordered = own["called"].astype(object) != "balance"
        label = str(int(float(str(name)))) if by == "load_no" else str(name)
        found.append(
            {
                by: label,
                "loads": int(own["wait_min"].notna().sum()),
                "wait_min": _mean(own["wait_min"]),
                "late_min": _mean(own["late_min"]),
                "starved_min": _mean(own.loc[ordered, "starved_min"]),
                "over_min": round(float(pd.to_numeric(own["over_min"]).sum()), 1),
            }
        )
    return sorted(found, key=lambda row: order.index(row[by])) if order else found


def _idle(
    loads: pd.DataFrame,
    pours: pd.DataFrame | None,
    frames: Mapping[str, pd.DataFrame],
    house: Mapping[str, Any],
) -> float | None:
    """Dollars of people standing without concrete: minutes x hands x an hour's cost."""
    cost = hour_cost(frames, house).usd_h
    if cost is None or pours is None or not len(pours):
        return None
    hands = loads.merge(pours[["pour_id", "hands"]], on="pour_id", how="left")
    spent = pd.to_numeric(hands["starved_min"]) * pd.to_numeric(hands["hands"])
    return round(float(spent.sum()) / 60.0 * cost, 2)

"""Hours and dollars lost to slow finishing, and in which conditions to start earlier.

Slow is what runs over the crew's own median stay for that slab type and finish: hours that a
foreman can add up, not a model's.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock.conditions import Conditions, number, words

Array = NDArray[np.float64]

WINDOW = slice(0, 6)
"""Two hours in steps of twenty minutes."""
FEWEST_EACH = 5
"""Pours of a group below which its mean has no interval."""
FEWEST_TO_ADVISE = 8
BANDS = (
    (50.0, "under 50 °F"),
    (60.0, "50 to 60 °F"),
    (70.0, "60 to 70 °F"),
    (80.0, "70 to 80 °F"),
)


def slow_finishing(
    pours: pd.DataFrame,
    stay_h: Array,
    found: Conditions,
    frames: Mapping[str, pd.DataFrame],
    house: Mapping[str, Any] | None,
) -> dict[str, Any]:
    """Hours and dollars over the crew's own middle by month and hour of start, and advice."""
    usable = ~np.isnan(stay_h) & (stay_h > 0) & (stay_h < 24)
    kind = np.array(
        [f"{a}/{b}" for a, b in zip(words(pours, "slab_type"), words(pours, "finish"), strict=True)]
    )
    par = np.full(len(pours), np.nan)
    whole = float(np.median(stay_h[usable])) if usable.any() else np.nan
    for name in np.unique(kind):
        own = usable & (kind == name)
        count = int(own.sum())
        if count:
            # A handful of one kind leans on the crew's middle.
            par[kind == name] = (count * np.median(stay_h[own]) + 3 * whole) / (count + 3)
    over = stay_h - par
    hands = number(pours, "finish_hands")
    hands = np.where(np.isnan(hands), number(pours, "hands", 2.0), hands)
    lost = over * hands
    pay = _pay(frames, house)
    start = pd.to_datetime(pours["place_start"])
    month = start.dt.strftime("%Y-%m").to_numpy(dtype=str)
    clock_h = start.dt.strftime("%H").to_numpy(dtype=str)
    air = found.air_f[:, WINDOW].mean(axis=1)
    band = np.array([_band(a, t) for a, t in zip(air, found.told, strict=True)])
    exposure = np.array([word or "exposure unknown" for word in words(pours, "exposure")])
    cell = np.array([f"{b}, {e}" if b else "" for b, e in zip(band, exposure, strict=True)])
    return {
        "slow_finishing": {
            "by_month": _groups(month, lost, over, usable, pay),
            "by_start_hour": _groups(clock_h, lost, over, usable, pay),
            "against": "the crew's own median stay for that slab type and finish",
        },
        "start_earlier": _earlier(cell, over, usable),
    }


def _groups(
    label: NDArray[np.str_], lost: Array, over: Array, usable: NDArray[np.bool_], pay: float | None
) -> list[dict[str, Any]]:
    rows = []
    for name in sorted(set(label[usable])):
        own = usable & (label == name)
        low, high = _interval(over[own])
        total = float(lost[own].sum())
        rows.append(
            {
                "group": str(name),
                "pours": int(own.sum()),
                "lost_labor_h": round(total, 1),
                "lost_usd": None if pay is None else round(total * pay, 0),
                "over_h_mean": round(float(over[own].mean()), 2),
                "over_h_low": low,
                "over_h_high": high,
            }
        )
    return rows


def _earlier(
    cell: NDArray[np.str_], over: Array, usable: NDArray[np.bool_]
) -> list[dict[str, Any]]:
    """Conditions in which finishing clearly ran over: start earlier by so much."""
    advice = []
    for name in sorted(set(cell[usable]) - {""}):
        own = usable & (cell == name)
        low, high = _interval(over[own])
        if own.sum() < FEWEST_TO_ADVISE or low is None or low <= 0.1:
            continue
        minutes = round(float(over[own].mean()) * 60 / 15) * 15
        advice.append(
            {
                "do": f"Start {minutes} minutes earlier at {name}.",
                "because": f"Finishing ran {float(over[own].mean()):.1f} h over the crew's middle"
                f" ({low:.1f} to {high:.1f}, {int(own.sum())} pours).",
                "source": "the crew's own log",
            }
        )
    return advice


def _interval(values: Array) -> tuple[float | None, float | None]:
    """95 % interval of a mean by Student's t; unknown under five values."""
    from scipy.special import stdtrit

    n = values.size
    if n < FEWEST_EACH:
        return None, None
    reach = float(stdtrit(n - 1, 0.975)) * float(values.std(ddof=1)) / np.sqrt(n)
    return round(float(values.mean()) - reach, 2), round(float(values.mean()) + reach, 2)


def _band(air_f: float, told: float) -> str:
    if told < 0.7:
        return ""
    for top, name in BANDS:
        if air_f < top:
            return name
    return "80 °F and over"


def _pay(frames: Mapping[str, pd.DataFrame], house: Mapping[str, Any] | None) -> float | None:
    """Burdened dollars an hour: the mean pay of the crew, else the house's, else None."""
    rules = house or {}
    burden = float(rules.get("burden") or 0.35)
    crew = frames.get("crew")
    if crew is not None and len(crew) and "pay" in crew:
        mean = pd.to_numeric(crew["pay"], errors="coerce").mean()
        if pd.notna(mean):
            return float(mean) * (1 + burden)
    default = rules.get("default_pay")
    return None if default is None else float(default) * (1 + burden)

"""How well the clock has done: kept forecasts against what was then logged."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock.conditions import hours, words
from pourstats.learning.clock.record import record
from pourstats.learning.draws import LEVELS
from pourstats.learning.scoring import Share, coverage, mean_interval, mean_pinball

Array = NDArray[np.float64]

COMMAND = "finishing"
TARGETS = {
    "since_placed_min": "first pass after the end of placing",
    "first_pass_min": "first pass",
    "last_pass_end_min": "last pass off",
}
RECENT = 10
"""How many pours "lately" is."""
FEWEST = 5
"""Pours below which no word on the clock is said."""


def clock_score(
    forecasts: pd.DataFrame | None, pours: pd.DataFrame | None, passes: pd.DataFrame | None
) -> dict[str, Any]:
    """Coverage, error and bias of each target, over all scored pours and lately.

    ``forecasts`` are rows of the table of that name. Of a pour's forecasts the last one issued
    before place_start counts. First passes that were held up for people are left out and counted.
    Errors are minutes, logged less foretold; intervals are 95 %.
    """
    scored = told_and_logged(forecasts, pours, passes)
    result: dict[str, Any] = {
        "pours": int(scored["pour_id"].nunique()) if len(scored) else 0,
        "held_up_left_out": int(scored.attrs.get("held", 0)),
        "targets": {},
    }
    for target, what in TARGETS.items():
        own = scored[scored["target"] == target] if len(scored) else scored
        if len(own):
            result["targets"][target] = {
                "what": what,
                "all": _scores(own),
                "lately": _scores(own.tail(RECENT)),
            }
    result["says"] = _sentence(result)
    return result


def told_and_logged(
    forecasts: pd.DataFrame | None, pours: pd.DataFrame | None, passes: pd.DataFrame | None
) -> pd.DataFrame:
    """One row a pour and target in order of place_start: foretold (p05 to p95) and `logged`."""
    columns = ["pour_id", "target", "place_start", "logged", *LEVELS]
    empty = pd.DataFrame(columns=columns)
    if forecasts is None or pours is None or not len(forecasts) or not len(pours):
        return empty
    if "place_start" not in pours or "place_end" not in pours:
        return empty
    kept = record(pours, passes)
    start, end = hours(kept.pours["place_start"]), hours(kept.pours["place_end"])
    midnight = np.floor(start / 24.0) * 24.0
    logged = {
        "since_placed_min": (kept.start_h - end) * 60.0,
        "first_pass_min": (kept.start_h - midnight) * 60.0,
        "last_pass_end_min": (kept.last_h - midnight) * 60.0,
    }
    place = {pid: i for i, pid in enumerate(words(kept.pours, "pour_id"))}
    own = forecasts[(forecasts["command"] == COMMAND) & forecasts["quantile"].notna()].copy()
    own["row"] = [place.get(pid, -1) for pid in words(own, "pour_id")]
    own = own[own["row"] >= 0]
    own["issued_h"] = hours(own["issued_at"])
    own = own[own["issued_h"] < start[own["row"].to_numpy()]]
    own = own[own["target"].isin(list(TARGETS))]
    if not len(own):
        return empty
    last = own.groupby(["row", "target"])["issued_h"].transform("max")
    own = own[own["issued_h"] == last]
    rows, held = [], set()
    for (row, target), group in own.groupby(["row", "target"]):
        i = int(row)
        value = float(logged[str(target)][i])
        if kept.held[i]:
            held.add(i)
            continue
        levels = group["quantile"].to_numpy(dtype=float)
        told = {
            name: group["value"].to_numpy(dtype=float)[np.isclose(levels, level)]
            for name, level in LEVELS.items()
        }
        if np.isnan(value) or any(found.size == 0 for found in told.values()):
            continue
        rows.append(
            {
                "pour_id": str(group["pour_id"].iloc[0]),
                "target": target,
                "place_start": start[i],
                "logged": value,
                **{name: float(found[-1]) for name, found in told.items()},
            }
        )
    frame = pd.DataFrame(rows, columns=columns).sort_values("place_start", kind="stable")
    frame.attrs["held"] = len(held)
    return frame.reset_index(drop=True)


def _scores(own: pd.DataFrame) -> dict[str, Any]:
    y = own["logged"].to_numpy(dtype=float)
    q = {name: own[name].to_numpy(dtype=float) for name in LEVELS}
    error = y - q["p50"]
    return {
        "pours": len(own),
        "inside_80": _share(coverage(y, q["p10"], q["p90"])),
        "inside_90": _share(coverage(y, q["p05"], q["p95"])),
        "error_min": round(float(np.mean(np.abs(error))), 1),
        "bias_min": _share(mean_interval(error), 1),
        "pinball_min": round(float(np.mean(mean_pinball(y, q))), 2),
    }


def _share(found: Share, digits: int = 3) -> dict[str, Any]:
    def number(value: float) -> float | None:
        return round(value, digits) if np.isfinite(value) else None

    return {"value": number(found.value), "low": number(found.low), "high": number(found.high)}


def _sentence(result: dict[str, Any]) -> str:
    """How well the clock has done lately, in the owner's words."""
    target = result["targets"].get("first_pass_min") or result["targets"].get("since_placed_min")
    if target is None or target["lately"]["pours"] < FEWEST:
        told = 0 if target is None else target["lately"]["pours"]
        return (
            f"{told} pours were timed ahead and then logged; with {FEWEST} there is something to"
            " say of the clock."
        )
    lately = target["lately"]
    n = lately["pours"]
    inside = round(lately["inside_80"]["value"] * n)
    bias = lately["bias_min"]
    lean = "as often early as late"
    if bias["low"] is not None and bias["low"] > 0:
        lean = f"you got on it {bias['value']:.0f} minutes later than told on average"
    if bias["high"] is not None and bias["high"] < 0:
        lean = f"you got on it {-bias['value']:.0f} minutes earlier than told on average"
    return (
        f"Of the last {n} pours timed ahead, {inside} began within the range told (8 in 10 should);"
        f" off by {lately['error_min']:.0f} minutes in the middle, {lean}."
    )

"""Callbacks: the whole picture, what to do about it, and what a job ahead may cost in them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from pourstats.learning.callbacks.groups import fault_counts, groupings
from pourstats.learning.callbacks.rates import LEVEL, cost_interval, group_rates, rates
from pourstats.learning.callbacks.record import counting_ages, pours_record, rule
from pourstats.learning.callbacks.waiting import still_to_come
from pourstats.learning.callbacks.year import luck_limits, this_year, time_to_call
from pourstats.planning.defects import DEFECTS

PEOPLE = ("lead",)
"""Groupings by person: counts and intervals only, in the order of the alphabet, never marked."""


def callback_picture(
    frames: Mapping[str, pd.DataFrame], house: Mapping[str, object]
) -> dict[str, Any]:
    """What `pourstats callbacks --json` prints, and what page and sheet draw.

    ``frames`` are the log tables and measures of learning.callbacks.record.FRAMES by name, in house
    units; ``house`` the house rules that are set. Pure: the same log gives the same picture. Money
    is in USD; shares are 0 to 1; unknown is None.
    """
    pours = pours_record(frames, house)
    if not len(pours):
        return {"state": "no_pours"}
    age_limit = rule(house, "age_limit_min") or 90.0
    whole = rates(pours)
    picture: dict[str, Any] = {
        "state": _state(whole),
        "level": LEVEL,
        "counts_at_days": dict(zip(("indoors", "outdoors"), counting_ages(house), strict=True)),
        "whole": whole,
        "cost_per_yd3": cost_interval(pours),
        "still_to_come": still_to_come(pours),
        "time_to_call": time_to_call(pours),
        "this_year": this_year(pours),
        "by": _by(frames, pours, age_limit, whole["rate"]),
        "defects": _defects(frames, pours),
        "faults": _faults(frames, pours),
    }
    return {name: plain(part) for name, part in picture.items()}


def _state(whole: Mapping[str, Any]) -> str:
    if not whole["pours"]:
        return "too_young"
    return "no_calls" if not whole["callbacks"] else "calls"


def _by(
    frames: Mapping[str, pd.DataFrame], pours: pd.DataFrame, age_limit: float, share: float | None
) -> dict[str, list[dict[str, Any]]]:
    found = {}
    for name, groups in groupings(frames, pours, age_limit).items():
        rows = group_rates(pours, groups)
        if name in PEOPLE or name == "month":
            rows.sort(key=lambda row: (row["group"] == "unknown", row["group"]))
        if name not in PEOPLE:
            luck_limits(rows, share)
        found[name] = rows
    return found


def _defects(frames: Mapping[str, pd.DataFrame], pours: pd.DataFrame) -> list[dict[str, Any]]:
    counts = fault_counts(frames["callbacks"], pours, "defect")
    ordered = sorted(counts.items(), key=lambda item: (-item[1], str(item[0])))
    return [
        {
            "defect": word,
            "pours": int(count),
            "name": DEFECTS[str(word)].name,
            "looks": DEFECTS[str(word)].looks,
            "causes": DEFECTS[str(word)].causes,
            "source": DEFECTS[str(word)].reference,
        }
        for word, count in ordered
        if word in DEFECTS
    ]


def _faults(frames: Mapping[str, pd.DataFrame], pours: pd.DataFrame) -> list[dict[str, Any]]:
    """Rates by fault: pours with a call of that fault over all pours old enough."""
    from pourstats.learning.intervals import score_interval

    at_risk = int(pours["old_enough"].sum())
    rows = []
    for word, count in fault_counts(frames["callbacks"], pours, "fault").items():
        low, high = score_interval(int(count), at_risk, LEVEL)
        rows.append(
            {"fault": str(word), "pours": at_risk, "pours_called_back": int(count),
             "rate": int(count) / at_risk, "rate_p05": low, "rate_p95": high}
        )  # fmt: skip
    return sorted(rows, key=lambda row: -row["pours_called_back"])


def plain(value: Any) -> Any:
    """The same in what JSON knows: no NaN, no infinity, no numpy."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return None
    return value

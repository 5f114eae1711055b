"""What stood out in the week, worst first, each with its evidence and its reason.

Everything is weighed in labor-hours, so that a late truck, an overrun and a slow floor can stand in
one list. The weights of what is not hours are our own choices, named below.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.control import UsualRange, usual_range
from pourstats.reporting.week_figures import TASK_HOURS, column
from pourstats.reporting.week_hours import Hours

MOST, LEAST = 5, 3

# What an hour of something else weighs, in labor-hours (own choices).
TRUCK_HOUR_WEIGHS = 2.0
OVERRUN_YARD_WEIGHS = 3.0
BID_HOUR_WEIGHS = 0.5
CALLBACK_WEIGHS = 8.0
CAUTION_WEIGHS = 2.0
TROUBLE_WEIGHS = 0.5

CAUTION_EVAPORATION = 0.2
"""lb/ft2/h from which precautions against drying cracks are advised (ACI 305R)."""
COLD_F, HOT_F = 50.0, 90.0
"""Air that slows or hurries the set enough to be named as a likely reason (common practice)."""
EXPLAINS = 0.2
"""An inferred reason must account for at least this share of the hours over."""
LATE_ON_MIN = 15.0
OVERRUN_PCT = 10.0
OVER_BID = 1.15


def stands_out(
    wide: pd.DataFrame,
    hours: Hours,
    base: pd.DataFrame,
    week: pd.Timestamp,
    callbacks: list[dict[str, Any]],
    age_limit_min: float | None,
) -> list[dict[str, Any]]:
    """Three to five things of the week, worst first; one floor that went well may close the list.

    Fewer only where the week has fewer floors and callbacks. Each: ``kind`` (floor, callback,
    went_well), ``unusual``, ``weight_h``, ``pour_id``, ``site``, ``date``, ``evidence`` (a list of
    ``measure``, ``value``, ``usual_low``, ``usual_middle``, ``usual_high``) and ``reason`` (``words``,
    ``source``: log, likely or None).
    """
    usual = _pour_ranges(base)
    floors = [
        _floor(wide.loc[pour_id], hours.pours.loc[pour_id], usual, base, hours, age_limit_min)
        for pour_id in hours.pours.index
    ]
    calls = [_call(call) for call in callbacks]
    bad = [item for item in floors if item["kind"] == "floor"]
    good = [item for item in floors if item["kind"] == "went_well"]
    bad = sorted(bad + calls, key=lambda item: (not item["unusual"], -item["weight_h"]))
    good = sorted(good, key=lambda item: -item["weight_h"])
    told = [item for item in bad if item["unusual"]][: MOST - (1 if good else 0)] + good[:1]
    if len(told) < LEAST:
        rest = [item for item in (*bad, *good[1:]) if item not in told]
        told = [*told, *rest[: LEAST - len(told)]]
    order = {"floor": 0, "callback": 0, "went_well": 1}
    return sorted(
        told, key=lambda item: (order[item["kind"]], not item["unusual"], -item["weight_h"])
    )


def _pour_ranges(base: pd.DataFrame) -> dict[str, UsualRange | None]:
    """What single pours usually show, from the earlier ones."""
    overrun = column(base, "overrun_pct")
    return {
        "first_pass_min": usual_range(column(base, "first_pass_min")),
        "passes": usual_range(column(base, "passes")),
        "starved_min": usual_range(column(base, "starved_min")),
        "over_min": usual_range(column(base, "over_min")),
        "late_min": usual_range(column(base, "late_min")),
        "overrun_pct": usual_range(overrun),
        "wait_share_pct": usual_range(100.0 * base["wait_labor_h"] / base["task_h"]),
    }


def _fact(measure: str, value: float, usual: UsualRange | None = None) -> dict[str, Any]:
    return {
        "measure": measure,
        "value": float(value),
        "usual_low": None if usual is None else usual.low,
        "usual_middle": None if usual is None else usual.middle,
        "usual_high": None if usual is None else usual.high,
    }


def _number(pour: pd.Series[Any], name: str) -> float:
    value = pour.get(name, np.nan)
    return float(value) if pd.notna(value) else float("nan")


def _known(value: float) -> float:
    return value if np.isfinite(value) else 0.0


def _beyond(value: float, usual: UsualRange | None, least: float) -> bool:
    """Above most pours, and enough to matter; without a usual range only ``least`` counts twice."""
    if not np.isfinite(value) or value < least:
        return False
    return value > usual.high if usual is not None else value >= 2.0 * least


def _floor(
    pour: pd.Series[Any],
    judged: pd.Series[Any],
    usual: Mapping[str, UsualRange | None],
    base: pd.DataFrame,
    hours: Hours,
    age_limit_min: float | None,
) -> dict[str, Any]:
    facts: list[dict[str, Any]] = []
    weights = [0.0]
    verdict = judged["verdict"]
    over_h = _known(judged["labor_h"] - judged["usual_h"])
    if np.isfinite(judged["ratio"]):
        known = UsualRange(judged["low_h"], judged["usual_h"], judged["high_h"], hours.earlier)
        facts.append(_fact("labor_h", judged["labor_h"], known if verdict else None))
    slow = verdict in ("slow", "far_slow")
    if slow:
        weights.append(over_h)
        facts += _where_it_went(pour, judged["usual_h"], base)
    people = _known(_number(pour, "hands")) or 1.0
    finishers = _known(_number(pour, "finish_hands")) or people
    starved, over, late = (_number(pour, n) for n in ("starved_min", "over_min", "late_min"))
    odd = slow
    if _beyond(starved, usual["starved_min"], 20.0):
        odd = True
        weights.append(starved / 60.0 * people)
        facts.append(_fact("starved_min", starved, usual["starved_min"]))
    if _beyond(late, usual["late_min"], 30.0):
        odd = True
        facts.append(_fact("late_min", late, usual["late_min"]))
    if _beyond(over, usual["over_min"], 20.0):
        odd = True
        weights.append(over / 60.0 * TRUCK_HOUR_WEIGHS)
        facts.append(_fact("over_min", over, usual["over_min"]))
    on_late = _number(pour, "on_late_min")
    if on_late >= LATE_ON_MIN:
        odd = True
        weights.append(on_late / 60.0 * finishers)
        facts.append(_fact("on_late_min", on_late))
    first = _number(pour, "first_pass_min")
    if _beyond(first, usual["first_pass_min"], 60.0) and usual["first_pass_min"] is not None:
        odd = True
        weights.append((first - usual["first_pass_min"].middle) / 60.0 * finishers)
        facts.append(_fact("first_pass_min", first, usual["first_pass_min"]))
    passes = _number(pour, "passes")
    if slow and _beyond(passes, usual["passes"], 2.0) and usual["passes"] is not None:
        facts.append(_fact("passes", passes, usual["passes"]))
    overrun = _number(pour, "overrun_pct")
    if _beyond(overrun, usual["overrun_pct"], OVERRUN_PCT):
        odd = True
        spilled = overrun / (100.0 + overrun) * _known(_number(pour, "placed_yd3"))
        weights.append(spilled * OVERRUN_YARD_WEIGHS)
        facts.append(_fact("overrun_pct", overrun, usual["overrun_pct"]))
    bid, spent = _number(pour, "bid_h"), _number(pour, "bid_spent_h")
    if spent > OVER_BID * bid:
        odd = True
        weights.append((spent - bid) * BID_HOUR_WEIGHS)
        facts.append(_fact("over_bid_h", spent - bid) | {"bid_h": bid})
    oldest = _number(pour, "oldest_min")
    if age_limit_min is not None and oldest > age_limit_min:
        odd = True
        weights.append(CAUTION_WEIGHS)
        facts.append(_fact("oldest_min", oldest) | {"limit_min": age_limit_min})
    drying = _number(pour, "evaporation_max_lb_ft2_h")
    if drying >= CAUTION_EVAPORATION and pour.get("tc_from") != "air":
        odd = True
        weights.append(CAUTION_WEIGHS)
        facts.append(_fact("evaporation_max_lb_ft2_h", drying))
    trouble = _words(pour.get("trouble"))
    if trouble:
        odd = True
        weights.append(TROUBLE_WEIGHS)
    well = verdict in ("fast", "far_fast") and max(weights) <= TROUBLE_WEIGHS
    return {
        "kind": "went_well" if well else "floor",
        "unusual": bool(odd or well),
        "beyond_natural_limits": verdict in ("far_slow", "far_fast"),
        # Of two readings of the same lost time the larger counts; they are not added up.
        "weight_h": float(-over_h if well else max(max(weights), 0.0 if odd else over_h)),
        "over_h": float(over_h),
        "pour_id": pour["pour_id"],
        "site": _plain(pour.get("site")),
        "slab_type": _plain(pour.get("slab_type")),
        "date": pour["date"].strftime("%Y-%m-%d"),
        "evidence": facts,
        "reason": _reason(pour, judged, usual, trouble, over_h if slow else 0.0),
        "note": _plain(pour.get("notes")),
    }


def _where_it_went(
    pour: pd.Series[Any], usual_h: float, base: pd.DataFrame
) -> list[dict[str, Any]]:
    """The task that took most more than its usual share of the usual hours."""
    tasked = base[base["task_h"] > 0.0]
    same = tasked[tasked["finish"] == pour.get("finish")] if "finish" in tasked else tasked
    shares = (same if len(same) >= 5 else tasked)[[*TASK_HOURS, "task_h"]].sum()
    if not np.isfinite(_number(pour, "task_h")) or shares["task_h"] <= 0.0:
        return []
    more = {
        task: _number(pour, task) - usual_h * shares[task] / shares["task_h"] for task in TASK_HOURS
    }
    worst = max(more, key=lambda task: more[task])
    if more[worst] < 1.0:
        return []
    usual_part = usual_h * shares[worst] / shares["task_h"]
    return [_fact(worst, _number(pour, worst)) | {"usual_middle": float(usual_part)}]


def _words(cell: object) -> list[str]:
    return [w.strip() for w in cell.split(";") if w.strip()] if isinstance(cell, str) else []


def _plain(cell: object) -> str | None:
    return str(cell) if isinstance(cell, str) and cell.strip() else None


def _reason(
    pour: pd.Series[Any],
    judged: pd.Series[Any],
    usual: Mapping[str, UsualRange | None],
    trouble: list[str],
    over_h: float,
) -> dict[str, Any]:
    """The log's own word first; else what accounts for most of the hours over, called likely."""
    if trouble:
        return {"source": "log", "words": trouble, "hours": None, "value": None}
    held_up = _words(pour.get("held_up"))
    if held_up and _number(pour, "on_late_min") >= LATE_ON_MIN:
        said = [f"held_up_{word}" for word in held_up]
        return {"source": "log", "words": said, "hours": None, "value": None}
    accounted = _accounted(pour, judged, usual)
    word, (explained, value) = max(accounted.items(), key=lambda item: item[1][0])
    if over_h > 0.0 and explained >= max(1.0, EXPLAINS * over_h):
        return {
            "source": "likely",
            "words": [word],
            "hours": float(min(explained, over_h)),
            "value": None if value is None else float(value),
        }
    return {"source": None, "words": [], "hours": None, "value": None}


def _accounted(
    pour: pd.Series[Any], judged: pd.Series[Any], usual: Mapping[str, UsualRange | None]
) -> dict[str, tuple[float, float | None]]:
    """Labor-hours that each thing seen in the log can account for, and the number that shows it."""
    people = _known(_number(pour, "hands")) or 1.0
    finishers = _known(_number(pour, "finish_hands")) or people
    starved = _known(_number(pour, "starved_min"))
    concrete = _known(_number(pour, "wait_concrete_h"))
    found: dict[str, tuple[float, float | None]] = {
        "waiting_on_concrete": (max(starved / 60.0 * people, concrete), starved or None),
        "waiting_on_others": (_known(_number(pour, "wait_others_h")), None),
        "waiting_on_weather": (_known(_number(pour, "wait_weather_h")), None),
    }
    spread = usual["first_pass_min"]
    first = _number(pour, "first_pass_min")
    if spread is not None and first > spread.high:
        slow_set = (first - spread.middle) / 60.0 * finishers
        air = _number(pour, "air_temp_f")
        found["cold_set" if air < COLD_F else "slow_set"] = (
            slow_set,
            air if air < COLD_F else None,
        )
    more_passes = usual["passes"]
    passes = _number(pour, "passes")
    if more_passes is not None and passes > more_passes.high:
        finish_h = _known(_number(pour, "finish_labor_h")) or judged["labor_h"] / 2.0
        extra = passes - more_passes.middle
        found["more_passes"] = (finish_h * extra / passes, passes)
    overrun = _number(pour, "overrun_pct")
    if overrun >= OVERRUN_PCT:
        placing = _known(_number(pour, "place_labor_h")) or judged["labor_h"] / 3.0
        found["more_concrete"] = (placing * overrun / (100.0 + overrun), overrun)
    air = _number(pour, "air_temp_f")
    if air >= HOT_F:
        found["heat"] = (0.15 * judged["usual_h"], air)
    if _number(pour, "day_pours") >= 2.0:
        found["two_pours_that_day"] = (0.1 * judged["usual_h"], _number(pour, "day_pours"))
    return found


def _call(call: Mapping[str, Any]) -> dict[str, Any]:
    logged = call.get("hours")
    return {
        "kind": "callback",
        "unusual": True,
        "beyond_natural_limits": False,
        "weight_h": float(logged) if logged is not None else CALLBACK_WEIGHS,
        "over_h": None,
        "pour_id": call["pour_id"],
        "site": call["site"],
        "slab_type": call["slab_type"],
        "date": call["reported"],
        "evidence": [{"measure": "callback", "defect": call["defect"], "fault": call["fault"],
                      "poured": call["poured"], "hours": logged}],
        "reason": {"source": "log" if call["fault"] else None,
                   "words": [call["fault"]] if call["fault"] else [], "hours": None, "value": None},
        "note": call.get("notes"),
    }  # fmt: skip

"""The weekly review: one pass builds what text, JSON, page and sheet show.

Monday to Sunday. Nothing here reads a file or a store; frames come in, plain values go out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from pourstats.logs.defects import defect_help
from pourstats.reporting.week_figures import Frames, figures, held_up, ledger, monday, table, weekly
from pourstats.reporting.week_hours import (
    LEAST_TO_JUDGE,
    LEAST_TO_TRUST,
    Hours,
    add_bids,
    judged_hours,
    judging_pours,
    pars,
)
from pourstats.reporting.week_sentences import headline_text, reason_text, standout_text
from pourstats.reporting.week_standouts import stands_out
from pourstats.reporting.week_text import week_text
from pourstats.reporting.week_trend import changes_told, trend_told

PRIVATE_KEYS: tuple[str, ...] = (
    "labor_cost_usd", "labor_cost_usd_per_yd3", "billed_usd_per_paid_h", "cost_from",
)  # fmt: skip
"""Keys, at any depth, that give pay away: :func:`without_private` drops them."""

__all__ = ["PRIVATE_KEYS", "week_review", "week_text", "without_private"]


def without_private(review: Any) -> Any:
    """The review without :data:`PRIVATE_KEYS`, for pages that the crew may see."""
    if isinstance(review, dict):
        return {k: without_private(v) for k, v in review.items() if k not in PRIVATE_KEYS}
    if isinstance(review, list):
        return [without_private(item) for item in review]
    return review


def week_review(
    frames: Frames,
    house: Mapping[str, Any],
    ending: date | None = None,
    *,
    open_pours: pd.DataFrame | Sequence[Mapping[str, Any]] = (),
    set_aside: pd.DataFrame | Sequence[Mapping[str, Any]] = (),
    lately: Sequence[str | Mapping[str, Any]] = (),
) -> dict[str, Any]:
    """The review of one week, as plain values that JSON takes (unknown is None, never NaN).

    ``frames`` are log tables and measures by name, in house units: pours, trucks, passes,
    crew_time, callbacks, bids, settings; pour_output, day_output, truck_times, pass_intervals,
    pour_weather. Missing ones and missing columns leave their figures unknown. ``house`` are the
    house rules in force. ``ending`` names a day of the week wanted (None: the week of the latest
    pour). ``open_pours`` are unfinished pours, ``set_aside`` rows that wait for mending, and
    ``lately`` lines on how well forecasts did.

    Keys: week, state (no_pours, quiet_week, early, rough, full), headline, trend, changes,
    stands_out, figures, pours, days, control, par, bids, callbacks, unfinished, set_aside, assumed,
    missing, cannot_tell, lately, look_at (floors to look at while they are young).
    """
    wide = ledger(frames)
    start = _start(wide, ending)
    review: dict[str, Any] = {
        "week": _week(wide, start),
        "state": "no_pours",
        "headline": {},
        "trend": None,
        "changes": [],
        "stands_out": [],
        "figures": {},
        "pours": [],
        "days": [],
        "control": None,
        "par": [],
        "bids": {},
        "callbacks": [],
        "unfinished": _rows(open_pours),
        "set_aside": _aside(set_aside),
        "assumed": [],
        "missing": [],
        "cannot_tell": [],
        "lately": [{"text": x} if isinstance(x, str) else dict(x) for x in lately],
        "look_at": [],
    }
    if wide.empty or start is None:
        review["missing"] = _missing_at_all(frames)
        return _finished(review)
    wide = add_bids(wide, frames)
    wide["held_up"] = held_up(frames, wide.index[wide["week"] == start]).reindex(wide.index)
    hours = judged_hours(wide, start)
    base, _ = judging_pours(wide, start)
    week = wide[wide["week"] == start]
    review["state"] = _state(week, hours)
    review["headline"] = _headline(week, hours)
    review["callbacks"] = _callbacks(frames, wide, start)
    review["figures"] = figures(wide, weekly(wide, frames), start, base.index)
    review["pours"] = [_pour(week.loc[i], hours.pours.loc[i]) for i in week.index]
    review["days"] = _days(frames, start)
    review["control"] = _control(wide, hours)
    review["par"] = pars(wide, start)
    review["bids"] = _bids(week)
    review["stands_out"] = stands_out(
        wide, hours, base, review["callbacks"], review["figures"], house.get("age_limit_min")
    )
    review["missing"] = _missing(frames, week)
    review["assumed"] = _assumed(frames, house, week)
    review["cannot_tell"] = _cannot_tell(hours, review["figures"], week)
    return _finished(review)


def _finished(review: dict[str, Any]) -> dict[str, Any]:
    review = _json(review)
    review["headline"]["sentence"] = headline_text(review)
    for item in review["stands_out"]:
        item["sentence"] = standout_text(item)
        item["because"] = reason_text(item)
    if review["pours"]:
        review["trend"] = trend_told(review)
        review["changes"] = changes_told(review)
    return review


def _start(wide: pd.DataFrame, ending: date | None) -> pd.Timestamp | None:
    if ending is not None:
        return pd.Timestamp(monday(pd.Series([pd.Timestamp(ending)])).iloc[0])
    return None if wide.empty else pd.Timestamp(wide["week"].max())


def _week(wide: pd.DataFrame, start: pd.Timestamp | None) -> dict[str, Any]:
    if start is None:
        return {"start": None, "end": None, "latest_pour": None, "pours_in_log": len(wide)}
    latest = None if wide.empty else _day(wide["date"].max())
    end = _day(start + pd.Timedelta(days=6))
    return {
        "start": _day(start), "end": end, "latest_pour": latest, "pours_in_log": len(wide)
    }  # fmt: skip


def _state(week: pd.DataFrame, hours: Hours) -> str:
    if week.empty:
        return "quiet_week"
    if hours.earlier < LEAST_TO_JUDGE:
        return "early"
    return "rough" if hours.earlier < LEAST_TO_TRUST else "full"


def _headline(week: pd.DataFrame, hours: Hours) -> dict[str, Any]:
    far = hours.pours["verdict"].isin(["far_slow", "far_fast"])
    judged = hours.earlier >= LEAST_TO_JUDGE
    return {
        "pours": len(week),
        "pours_with_hours": int(week["labor_h"].notna().sum()),
        "spent_h": hours.spent_h,
        "usual_h": hours.usual_h if judged else None,
        "usual_low_h": hours.low_h if judged else None,
        "usual_high_h": hours.high_h if judged else None,
        "published_h": None if judged else hours.usual_h,
        "ratio": hours.ratio if judged else None,
        "verdict": hours.verdict,
        "earlier_pours": hours.earlier,
        "basis": hours.basis,
        "most_over": _most_over(week, hours) if judged else None,
        "far_out": [str(pour_id) for pour_id in hours.pours.index[far]],
    }


def _most_over(week: pd.DataFrame, hours: Hours) -> dict[str, Any] | None:
    """The floor that took most hours over its usual ones, if any took more than half an hour."""
    over = (hours.pours["labor_h"] - hours.pours["usual_h"]).fillna(0.0).to_numpy()
    if not over.size or over.max() < 0.5:
        return None
    place = int(np.argmax(over))
    pour = week.iloc[place]
    return {
        "pour_id": str(pour["pour_id"]),
        "site": pour.get("site"),
        "slab_type": pour.get("slab_type"),
        "labor_h": float(hours.pours["labor_h"].to_numpy()[place]),
        "usual_h": float(hours.pours["usual_h"].to_numpy()[place]),
    }


_SHOWN = (
    "pour_id", "site", "slab_type", "finish", "placement", "area", "thickness", "placed_yd3",
    "placed_from", "overrun_pct", "labor_h", "hours_from", "paid_h", "crew_h", "place_labor_h",
    "finish_labor_h", "saw_labor_h", "wait_labor_h", "other_labor_h", "yd3_per_crew_h",
    "yd3_per_labor_h", "ft2_per_labor_h", "labor_cost_usd", "cost_from", "loads", "over_min",
    "late_min", "starved_min", "passes", "first_pass_min", "on_late_min", "bid_h", "bid_spent_h",
    "bid_why_not", "air_temp_f", "evaporation_max_lb_ft2_h", "trouble", "lead", "notes",
)  # fmt: skip
_WITH_UNIT = {"area": "area_ft2", "thickness": "thickness_in"}


def _pour(row: pd.Series[Any], judged: pd.Series[Any]) -> dict[str, Any]:
    shown = {_WITH_UNIT.get(name, name): row.get(name) for name in _SHOWN}
    return {
        "date": _day(row["date"]),
        **shown,
        "usual_h": judged["usual_h"] if judged["verdict"] else None,
        "usual_low_h": judged["low_h"] if judged["verdict"] else None,
        "usual_high_h": judged["high_h"] if judged["verdict"] else None,
        "ratio": judged["ratio"] if judged["verdict"] else None,
        "verdict": judged["verdict"],
    }


def _days(frames: Frames, start: pd.Timestamp) -> list[dict[str, Any]]:
    days = table(frames, "day_output", "date")
    days = days[monday(days["date"]) == start].sort_values("date")
    return [
        {str(k): _day(pd.Timestamp(v)) if k == "date" else v for k, v in row.items()}
        for row in days.to_dict("records")
    ]


def _control(wide: pd.DataFrame, hours: Hours) -> dict[str, Any] | None:
    """The chart of spent over usual, earlier pours and this week's, with its natural limits."""
    if hours.chart is None:
        return None
    now = hours.pours["ratio"].dropna()
    points = [
        {"pour_id": str(i), "date": _day(wide["date"][i]), "ratio": float(r), "in_week": inside}
        for ratios, inside in ((hours.past_ratios, False), (now, True))
        for i, r in zip(ratios.index, ratios, strict=True)
    ]
    chart = hours.chart
    return {
        "centre": chart.centre, "lower": chart.lower, "upper": chart.upper, "pours": chart.count,
        "points": points,
    }  # fmt: skip


def _bids(week: pd.DataFrame) -> dict[str, Any]:
    compared = week[week["bid_spent_h"].notna() & week["bid_h"].notna()]
    told_why = week[week["bid_why_not"].notna()]
    return {
        "compared": len(compared),
        "bid_h": float(compared["bid_h"].sum()) if len(compared) else None,
        "spent_h": float(compared["bid_spent_h"].sum()) if len(compared) else None,
        "not_compared": [
            {"pour_id": str(i), "why": why} for i, why in told_why["bid_why_not"].items()
        ],
        "without_bid": [str(i) for i in week.index[week["bid_full_h"].isna()]],
    }


def _callbacks(frames: Frames, wide: pd.DataFrame, start: pd.Timestamp) -> list[dict[str, Any]]:
    calls = table(frames, "callbacks", "pour_id", "reported")
    calls = calls[monday(calls["reported"]) == start].sort_values("reported")
    found = []
    for call in calls.to_dict("records"):
        pour_id = call["pour_id"]
        pour = wide.loc[pour_id] if pour_id in wide.index else pd.Series(dtype=object)
        found.append(
            {
                "callback_id": call.get("callback_id"),
                "pour_id": pour_id,
                "site": _or_none(pour.get("site")),
                "slab_type": _or_none(pour.get("slab_type")),
                "poured": _day(pour["date"]) if "date" in pour else None,
                "reported": _day(pd.Timestamp(call["reported"])),
                "defect": _or_none(call.get("defect")),
                "help": defect_help(str(call.get("defect"))) or None,
                "fault": _or_none(call.get("fault")),
                "hours": _or_none(call.get("hours")),
                "notes": _or_none(call.get("notes")),
            }
        )
    return found


def _assumed(frames: Frames, house: Mapping[str, Any], week: pd.DataFrame) -> list[dict[str, Any]]:
    """House rules that enter a figure of this week and were never set."""
    named = set(table(frames, "settings", "name")["name"])
    entered = {
        "free_min_per_yd3": week["over_min"].notna().any(),
        "burden": week["labor_cost_usd"].notna().any(),
    }
    return [
        {"name": name, "value": house.get(name)}
        for name, enters in entered.items()
        if enters and name not in named and house.get(name) is not None
    ]


def _missing_at_all(frames: Frames) -> list[dict[str, Any]]:
    have = {name for name, frame in frames.items() if len(frame)}
    return [
        {"what": name, "pours": []}
        for name in ("pours", "crew_time", "trucks", "passes", "bids")
        if name not in have
    ]


def _missing(frames: Frames, week: pd.DataFrame) -> list[dict[str, Any]]:
    """What the week's pours lack, and which of them, so that the next log can have it."""
    lacks = {
        "hours": week["labor_h"].isna(),
        "tasks": week["labor_h"].notna() & week["task_h"].isna(),
        "loads": week["loads"].isna(),
        "first_pass": week["first_pass_min"].isna(),
        "pay": week["labor_h"].notna() & week["labor_cost_usd"].isna(),
    }
    if len(table(frames, "bids", "pour_id")):
        lacks["bid"] = week["bid_full_h"].isna()
    return [
        {"what": what, "pours": [str(i) for i in week.index[lacking]]}
        for what, lacking in lacks.items()
        if lacking.any()
    ]


def _cannot_tell(
    hours: Hours, shown: Mapping[str, Mapping[str, Any]], week: pd.DataFrame
) -> list[dict[str, Any]]:
    """What the record is still too short for."""
    found: list[dict[str, Any]] = []
    if week.empty:
        return found
    if hours.earlier < LEAST_TO_TRUST:
        needs = LEAST_TO_JUDGE if hours.earlier < LEAST_TO_JUDGE else LEAST_TO_TRUST
        what = "usual_hours" if hours.earlier < LEAST_TO_JUDGE else "natural_limits"
        found.append({"what": what, "pours": hours.earlier, "needs": needs})
    if all(figure["usual_low"] is None for figure in shown.values()):
        found.append({"what": "usual_ranges", "pours": hours.earlier, "needs": LEAST_TO_TRUST})
    return found


def _rows(rows: pd.DataFrame | Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    records = rows.to_dict("records") if isinstance(rows, pd.DataFrame) else rows
    return [{str(k): v for k, v in row.items()} for row in records]


_SHOWN_ASIDE = 5


def _aside(rows: pd.DataFrame | Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Rows set aside: entries, distinct rows, by file, and the first few in full."""
    entries = [row for row in _rows(rows) if row.get("state") in (None, "open")]
    files: dict[str, set[Any]] = {}
    for entry in entries:
        place = (entry.get("sheet"), entry.get("line"))
        files.setdefault(str(entry.get("file")), set()).add(place)
    return {
        "rows": sum(len(places) for places in files.values()),
        "files": [{"file": name, "rows": len(places)} for name, places in files.items()],
        "first": entries[:_SHOWN_ASIDE],
    }


def _day(when: pd.Timestamp) -> str:
    return str(when.strftime("%Y-%m-%d"))


def _or_none(value: Any) -> Any:
    return None if value is None or (np.ndim(value) == 0 and pd.isna(value)) else value


def _json(value: Any) -> Any:
    """Plain Python values: no NaN, no numpy, times as local YYYY-MM-DDTHH:MM."""
    if isinstance(value, Mapping):
        return {str(k): _json(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_json(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or (np.ndim(value) == 0 and pd.isna(value)):
        return None
    if isinstance(value, pd.Timestamp) or hasattr(value, "hour"):
        return value.strftime("%Y-%m-%dT%H:%M")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    return value

"""After the day: what was planned beside what the log says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.draws import LEVELS
from pourstats.learning.scoring import coverage, mean_interval

FRAMES = ("forecasts", "pours", "passes", "pour_output")
"""What the store must read, by name."""

TIMES: dict[str, str] = {
    "place_start": "first concrete",
    "place_end": "placed",
    "first_pass": "first pass",
    "last_pass_end": "last pass off",
    "saw_done": "sawn",
}
"""A pour's moments, as planned and as logged."""

DAY_TOLD = "plan_day"
"""The target under which the day planned is kept, in days since 1970."""
EPOCH = pd.Timestamp("1970-01-01")


def kept_numbers(result: Mapping[str, Any]) -> list[tuple[str, str, float | None, float]]:
    """What a plan says, for the table `forecasts`: pour, target, quantile, value.

    Times are minutes since midnight of the day planned, which is kept as days since 1970. Beside
    the time that the first load is ordered for (no quantile) stands when its concrete is likely
    out. What is the whole day's stands with each of its pours.
    """
    rows: list[tuple[str, str, float | None, float]] = []
    for day in result["days"]:
        midnight = pd.Timestamp(day["date"])
        hours = sum(float(spread["p50"]) for spread in day.get("paid_h", {}).values())
        for pour in day["pours"]:
            name = str(pour["pour_id"])
            for key in TIMES:
                told = pour[key]
                if isinstance(told, str):
                    rows.append((name, f"plan_{key}_min", None, _minutes(told, midnight)))
                    told = pour.get("first_concrete")
                for level, time in (told or {}).items():
                    if time is not None:
                        rows.append(
                            (name, f"plan_{key}_min", LEVELS[level], _minutes(time, midnight))
                        )
            rows += [
                (name, "plan_chance_done", None, float(pour["chance_done"])),
                (name, "plan_done_by_min", None, _minutes(pour["done_by"], midnight)),
                (name, "plan_to_saw", None, float(pour["saw"] is not None)),
                (name, DAY_TOLD, None, float((midnight - EPOCH).days)),
                (name, "plan_day_chance_done", None, float(day["chance_done_in_day"])),
                (name, "plan_day_labor_usd", None, float(day["labor_cost_usd"]["mean"])),
                (name, "plan_day_paid_h", None, hours),
                (name, "plan_day_overtime_h", None, float(day.get("overtime_h", 0.0))),
            ]
    return rows


def plans_and_log(frames: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    """Plans that were kept (:func:`kept_numbers`) against the pours logged since.

    Of each pour the last plan before its place_start counts (before its day, without one).
    ``frames`` are :data:`FRAMES`. ``pours`` has a row a pour: `planned`, `low`, `high` (eight days
    in ten), `happened` as clock times `HH:MM` and `off_min` for each of :data:`TIMES`,
    `chance_done` and `done` (None: the log doesn't say). ``moved`` has the pours that were placed
    on another day than planned; their times are compared with nothing. ``days`` has paid hours and
    labor dollars, planned before the day began and logged; logged dollars are at each pour's mean
    rate, without overtime. ``summary`` has of each moment the pours, the mean of minutes late with
    its 95 % interval, and how many came within the range; and of the chances the mean told and the
    share done.
    """
    every = _told(frames)
    if not len(every):
        return {"pours": [], "moved": [], "days": [], "summary": {}}
    before = every[every["issued_at"] < every["begun"]]
    newest = before.groupby("pour_id")["issued_at"].transform("max")
    last = before[before["issued_at"] == newest].sort_values(["begun", "pour_id"])
    told = last[last["day"] == last["date"]]
    moved = last[last["day"] != last["date"]].drop_duplicates("pour_id")
    happened = _happened(frames)
    pours = [
        _pour(
            str(name),
            rows,
            dict(zip(TIMES, happened.loc[[name], list(TIMES)].to_numpy()[0], strict=True)),
        )
        for name, rows in told.groupby("pour_id", sort=False)
        if name in happened.index
    ]
    return {
        "pours": pours,
        "moved": [
            {"pour_id": str(name), "planned": f"{day:%Y-%m-%d}", "date": f"{date:%Y-%m-%d}"}
            for name, day, date in zip(moved["pour_id"], moved["day"], moved["date"], strict=True)
        ],
        "days": _days(every, frames),
        "summary": _summary(pours),
    }


def _told(frames: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """All that plans told, with `day` (planned), and the pour's `date` and `begun` as logged.

    A pour that isn't logged has neither; where a plan didn't keep its day it is the pour's date.
    """
    rows, pours = frames["forecasts"], frames["pours"]
    rows = rows[rows["target"].astype(str).str.startswith("plan_")] if len(rows) else rows
    if not len(rows) or not len(pours):
        return pd.DataFrame()
    begun = pours[["pour_id", "date", "place_start"]].copy()
    begun["date"] = pd.to_datetime(begun["date"]).dt.normalize()
    begun["begun"] = pd.to_datetime(begun["place_start"]).fillna(begun["date"])
    rows = rows.merge(begun[["pour_id", "date", "begun"]], on="pour_id", how="left")
    rows = rows.assign(issued_at=pd.to_datetime(rows["issued_at"]))
    keys = ["issued_at", "pour_id"]
    days = rows[rows["target"] == DAY_TOLD].drop_duplicates(keys, keep="last").set_index(keys)
    own = days["value"].reindex(pd.MultiIndex.from_frame(rows[keys])).to_numpy(dtype=float)
    planned = EPOCH + pd.to_timedelta(pd.Series(own, index=rows.index), unit="D")
    return rows.assign(day=planned.fillna(rows["date"]))


def _happened(frames: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """A row a pour: the moments of :data:`TIMES` as logged, minutes since the day's midnight."""
    pours, passes = frames["pours"].set_index("pour_id"), frames["passes"]
    midnight = pd.to_datetime(pours["date"]).dt.normalize()
    whole = passes[passes["part"].astype(object) != "edges"] if "part" in passes else passes
    turned = pd.to_datetime(whole.groupby("pour_id")["start"].min())
    off = pd.to_datetime(passes.groupby("pour_id")["end"].max())
    moments = {
        "place_start": pd.to_datetime(pours["place_start"]),
        "place_end": pd.to_datetime(pours["place_end"]),
        "first_pass": turned.reindex(pours.index).fillna(pd.to_datetime(pours["machine_on"])),
        "last_pass_end": off.reindex(pours.index).fillna(pd.to_datetime(pours["passes_done"])),
        "saw_done": pd.to_datetime(pours["saw_end"]),
    }
    return pd.DataFrame(
        {name: (times - midnight).dt.total_seconds() / 60.0 for name, times in moments.items()}
    )


def _pour(name: str, rows: pd.DataFrame, happened: Mapping[str, float]) -> dict[str, Any]:
    values = {
        (str(target), None if pd.isna(level) else float(level)): float(value)
        for target, level, value in zip(
            rows["target"], rows["quantile"], rows["value"], strict=True
        )
    }
    found: dict[str, Any] = {
        "pour_id": name, "date": f"{rows['date'].iloc[0]:%Y-%m-%d}", "moments": {},
    }  # fmt: skip
    for key, words in TIMES.items():
        target = f"plan_{key}_min"
        planned = values.get((target, 0.5), values.get((target, None)))
        logged = float(happened[key])
        if planned is None:
            continue
        known = np.isfinite(logged)
        found["moments"][key] = {
            "what": words,
            "planned": _clock(planned),
            "low": _clock(values.get((target, 0.1))),
            "high": _clock(values.get((target, 0.9))),
            "happened": _clock(logged) if known else None,
            "off_min": round(logged - planned) if known else None,
            "within": (
                bool(values[target, 0.1] <= logged <= values[target, 0.9])
                if known and (target, 0.1) in values
                else None
            ),
        }
    found["chance_done"] = values.get(("plan_chance_done", None))
    found["done"] = _done(values, happened)
    return found


def _done(
    values: Mapping[tuple[str, float | None], float], happened: Mapping[str, float]
) -> bool | None:
    """Whether a pour was finished, and cut, by the end that the plan had; None if not logged."""
    end = values.get(("plan_done_by_min", None))
    wanted = ["last_pass_end"]
    if values.get(("plan_to_saw", None)):
        wanted.append("saw_done")
    times = [float(happened[key]) for key in wanted]
    if end is None or np.isnan(times).any():
        return None
    return bool(max(times) <= end)


def _days(told: pd.DataFrame, frames: Mapping[str, pd.DataFrame]) -> list[dict[str, Any]]:
    """Paid hours and labor dollars of each day planned on which anything of it was placed.

    Of each day the last plan before the first of its floors began counts; `missing` names floors
    of that plan that aren't logged on that day, and then hours and dollars aren't compared.
    """
    output = frames["pour_output"].set_index("pour_id")
    output = output[~output.index.duplicated()]
    found = []
    for date, rows in told.groupby("day"):
        day = pd.Timestamp(str(date))
        placed = rows[rows["date"] == day]
        plans = rows[rows["issued_at"] < placed["begun"].min()]
        if not len(plans):
            continue
        plan = plans[plans["issued_at"] == plans["issued_at"].max()]
        names = sorted({str(name) for name in plan["pour_id"]})
        there = sorted({str(name) for name in plan.loc[plan["date"] == day, "pour_id"]})
        if not there:
            continue
        missing = [name for name in names if name not in there]
        one = {str(t): float(v) for t, v in zip(plan["target"], plan["value"], strict=True)}
        mine = output.reindex(names)
        hours = pd.to_numeric(mine["paid_h"])
        rate = pd.to_numeric(mine["labor_cost_usd"]) / pd.to_numeric(mine["labor_h"])
        paid = np.nan if missing else float(hours.sum(skipna=False))
        dollars = np.nan if missing else float((rate * hours).sum(skipna=False))
        found.append(
            {
                "date": f"{day:%Y-%m-%d}",
                "pours": there,
                "missing": missing,
                "paid_h": {
                    "planned": _rounded(one.get("plan_day_paid_h"), 1),
                    "happened": _rounded(paid, 1),
                },
                "labor_usd": {
                    "planned": _rounded(one.get("plan_day_labor_usd"), 0),
                    "happened": _rounded(dollars, 0),
                },
                "overtime_h": _rounded(one.get("plan_day_overtime_h"), 1),
                "chance_done_in_day": one.get("plan_day_chance_done"),
            }
        )
    return found


def _summary(pours: list[dict[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, words in TIMES.items():
        own = [p["moments"][key] for p in pours if key in p["moments"]]
        late = np.array([m["off_min"] for m in own if m["off_min"] is not None], dtype=float)
        if not late.size:
            continue
        ranged = np.array([m["within"] for m in own if m["within"] is not None], dtype=float)
        lean = mean_interval(late)
        found[key] = {
            "what": words,
            "pours": int(late.size),
            "late_min": {
                "mean": _rounded(lean.value, 0), "low": _rounded(lean.low, 0),
                "high": _rounded(lean.high, 0),
            },
            "within": int(ranged.sum()),
            "ranged": int(ranged.size),
        }  # fmt: skip
    sure = [(p["chance_done"], p["done"]) for p in pours if p["done"] is not None]
    sure = [(chance, done) for chance, done in sure if chance is not None]
    if sure:
        done = np.array([float(d) for _, d in sure])
        share = coverage(done, np.full(done.size, 0.5), np.full(done.size, 1.5))
        found["done"] = {
            "pours": len(sure),
            "told": round(float(np.mean([chance for chance, _ in sure])), 3),
            "done": int(done.sum()),
            "share": {
                "value": _rounded(share.value, 3), "low": _rounded(share.low, 3),
                "high": _rounded(share.high, 3),
            },
        }  # fmt: skip
    return found


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not np.isfinite(value) else round(float(value), digits)


def _clock(minutes: float | None) -> str | None:
    if minutes is None:
        return None
    whole = round(minutes)
    after = f" (+{whole // 1440} day)" if whole >= 1440 else ""
    return f"{whole // 60 % 24:02d}:{whole % 60:02d}{after}"


def _minutes(time: str, midnight: pd.Timestamp) -> float:
    return float((pd.Timestamp(time) - midnight).total_seconds() / 60.0)

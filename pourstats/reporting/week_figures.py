"""The week's figures and what is usual for each: one wide row a pour, summed by week.

The week's own figures and those of the earlier weeks come out of the same sums, so that a figure
and its usual range can't be defined differently. Rates of a group are ratios of sums.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.control import UsualRange, usual_range

Frames = Mapping[str, pd.DataFrame]

HISTORY_WEEKS = 52
"""Usual ranges look back over this many weeks with pours."""
LEAST_POURS_FOR_RANGE = 10
"""Where weeks are too few, single pours tell the range of a rate, from this many on."""

TASK_HOURS = ("place_labor_h", "finish_labor_h", "saw_labor_h", "wait_labor_h", "other_labor_h")


@dataclass(frozen=True)
class Figure:
    """One figure of the week: ``scale`` x the sum of ``top`` over the sum of ``bottom``.

    Without ``bottom`` it is a plain total, which only other weeks can tell the range of. A pour
    counts in a ratio only where both are known.
    """

    name: str
    unit: str
    top: str
    bottom: str | None = None
    scale: float = 1.0


FIGURES: tuple[Figure, ...] = (
    Figure("pours", "", "pours"),
    Figure("placed_yd3", "yd3", "placed_yd3"),
    Figure("area_ft2", "ft2", "area"),
    Figure("labor_h", "h", "labor_h"),
    Figure("paid_h", "h", "paid_h"),
    Figure("yd3_per_crew_h", "yd3", "placed_yd3", "crew_h"),
    Figure("mean_hands", "", "labor_h", "crew_h"),
    Figure("yd3_per_labor_h", "yd3", "placed_yd3", "labor_h"),
    Figure("ft2_per_labor_h", "ft2", "area", "labor_h"),
    Figure("place_share_pct", "percent", "place_labor_h", "task_h", 100.0),
    Figure("finish_share_pct", "percent", "finish_labor_h", "task_h", 100.0),
    Figure("saw_share_pct", "percent", "saw_labor_h", "task_h", 100.0),
    Figure("wait_share_pct", "percent", "wait_labor_h", "task_h", 100.0),
    Figure("other_share_pct", "percent", "other_labor_h", "task_h", 100.0),
    Figure("yd3_per_day", "yd3", "day_yd3", "days"),
    Figure("yd3_per_clock_h", "yd3", "day_yd3", "day_clock_h"),
    Figure("yd3_per_paid_h", "yd3", "day_yd3", "day_paid_h"),
    Figure("labor_cost_usd", "USD", "labor_cost_usd"),
    Figure("labor_cost_usd_per_yd3", "USD", "labor_cost_usd", "placed_yd3"),
    Figure("billed_usd_per_paid_h", "USD", "billed", "billed_paid_h"),
    Figure("spent_to_bid_pct", "percent", "bid_spent_h", "bid_h", 100.0),
    Figure("loads", "", "loads"),
    Figure("over_min_per_load", "min", "over_min", "over_loads"),
    Figure("late_min_per_load", "min", "late_min", "late_loads"),
    Figure("starved_min_per_pour", "min", "starved_min", "starved_pours"),
    Figure("passes_per_pour", "", "passes", "pass_pours"),
    Figure("first_pass_min", "min", "first_pass_min", "first_pass_pours"),
    Figure("callbacks_opened", "", "callbacks_opened"),
)
"""Every figure of the week, in the order in which it is shown."""


def column(frame: pd.DataFrame, name: str) -> pd.Series[Any]:
    """A column as floats; all unknown where the frame hasn't got it."""
    if name not in frame.columns:
        return pd.Series(np.nan, index=frame.index, dtype=float)
    return pd.to_numeric(frame[name], errors="coerce").astype(float)


def times(frame: pd.DataFrame, name: str) -> pd.Series[Any]:
    """A column as times; all unknown where the frame hasn't got it."""
    if name not in frame.columns:
        return pd.Series(pd.NaT, index=frame.index, dtype="datetime64[us]")
    return pd.to_datetime(frame[name], errors="coerce")


def monday(dates: pd.Series[Any]) -> pd.Series[Any]:
    """The Monday on or before each date, at midnight."""
    days = pd.to_datetime(dates).dt.normalize()
    return days - pd.to_timedelta(days.dt.day_of_week, unit="D")


def table(frames: Frames, name: str, *needed: str) -> pd.DataFrame:
    """A frame by name; empty, but with the needed columns, where it is missing or lacks one."""
    frame = frames.get(name)
    if frame is None or any(wanted not in frame.columns for wanted in needed):
        return pd.DataFrame({wanted: pd.Series(dtype=object) for wanted in needed})
    return frame


def ledger(frames: Frames) -> pd.DataFrame:
    """One row a pour, in time order: the log's columns and every measure's totals for it.

    Frames and columns that are missing leave their figures unknown; nothing is guessed.
    """
    pours = table(frames, "pours", "pour_id", "date").copy()
    pours["date"] = pd.to_datetime(pours["date"], errors="coerce")
    pours = pours[pours["date"].notna()]
    if "place_start" in pours.columns:
        pours["place_start"] = times(pours, "place_start")
    order = ["date", "place_start"] if "place_start" in pours.columns else ["date"]
    wide = pours.sort_values(order, kind="stable").set_index("pour_id", drop=False)
    wide.index.name = None
    for measured in (
        table(frames, "pour_output", "pour_id"),
        table(frames, "pour_weather", "pour_id"),
    ):
        one_each = measured.drop_duplicates("pour_id").set_index("pour_id")
        wide = wide.join(one_each[[c for c in one_each.columns if c not in wide.columns]])
    for totals in (_loads(frames), _passes(frames), _waits(frames)):
        wide = wide.drop(columns=[c for c in totals.columns if c in wide.columns]).join(totals)
    wide["pours"] = 1.0
    wide["week"] = monday(wide["date"])
    wide["area"] = column(wide, "area")
    for name in ("placed_yd3", "labor_h", "paid_h", "crew_h", "labor_cost_usd", *TASK_HOURS):
        wide[name] = column(wide, name)
    # Shares need the tasks: a headcount knows none.
    wide["task_h"] = wide[list(TASK_HOURS)].sum(axis=1, min_count=1)
    for name in TASK_HOURS:
        wide[name] = wide[name].where(wide["task_h"].isna(), wide[name].fillna(0.0))
    wide["passes"] = column(wide, "passes").fillna(column(wide, "pass_count"))
    wide["pass_pours"] = wide["passes"].notna().astype(float)
    wide["first_pass_pours"] = wide["first_pass_min"].notna().astype(float)
    wide["day_pours"] = wide.groupby("date")["pours"].transform("sum")
    return wide


def _loads(frames: Frames) -> pd.DataFrame:
    """Truck totals of each pour: loads, minutes over, late and starved, the oldest concrete."""
    loads = table(frames, "truck_times", "pour_id", "ticket").copy()
    if "called" not in loads.columns:
        ticketed = table(frames, "trucks", "pour_id", "ticket", "called")
        loads = loads.merge(
            ticketed[["pour_id", "ticket", "called"]], on=["pour_id", "ticket"], how="left"
        )
    balance = (loads["called"] == "balance").fillna(False).astype(bool)
    over, late = column(loads, "over_min"), column(loads, "late_min").clip(lower=0.0)
    # A balance load is called late on purpose: the wait for it is nobody's delay.
    starved = column(loads, "starved_min").where(~balance)
    per_load = pd.DataFrame(
        {
            "pour_id": loads["pour_id"],
            "loads": 1.0,
            "over_min": over,
            "over_loads": over.notna().astype(float),
            "late_min": late,
            "late_loads": late.notna().astype(float),
            "starved_min": starved,
        }
    )
    totals = per_load.groupby("pour_id").sum(min_count=1)
    totals["starved_pours"] = totals["starved_min"].notna().astype(float)
    totals["latest_min"] = per_load.groupby("pour_id")["late_min"].max()
    totals["longest_starved_min"] = per_load.groupby("pour_id")["starved_min"].max()
    per_load["age_min"] = column(loads, "age_min")
    totals["oldest_min"] = per_load.groupby("pour_id")["age_min"].max()
    return totals


def _passes(frames: Frames) -> pd.DataFrame:
    """Passes of each pour: how many were logged, the first one's delay, and minutes got on late."""
    logged = table(frames, "passes", "pour_id")
    count = logged.groupby("pour_id").size().astype(float).rename("passes")
    spaced = table(frames, "pass_intervals", "pour_id", "since_placed_min").copy()
    if "first_pass" in spaced.columns:
        spaced = spaced[spaced["first_pass"].fillna(False).astype(bool)]
    elif "part" in spaced.columns:
        spaced = spaced[~(spaced["part"] == "edges").fillna(False).astype(bool)]
    order = [c for c in ("start", "pass_no") if c in spaced.columns]
    if order:
        spaced = spaced.sort_values(order, kind="stable")
    first = spaced.drop_duplicates("pour_id").set_index("pour_id")
    delay = column(first, "since_placed_min").rename("first_pass_min")
    late = (times(logged, "start") - times(logged, "ready")).dt.total_seconds() / 60.0
    on_late = late.clip(lower=0.0).groupby(logged["pour_id"]).max().rename("on_late_min")
    return pd.concat([count, delay, on_late], axis=1)


def held_up(frames: Frames, pour_ids: pd.Index[Any]) -> pd.Series[Any]:
    """What the log says kept the crew off these pours, ``;``-separated, by pour; blank ones out."""
    held = table(frames, "passes", "pour_id", "held_up")
    held = held[held["pour_id"].isin(pour_ids) & held["held_up"].notna()]
    held = held[held["held_up"] != "no"].drop_duplicates(["pour_id", "held_up"])
    return held.groupby("pour_id")["held_up"].agg(";".join)


def _waits(frames: Frames) -> pd.DataFrame:
    """Logged waiting hours of each pour by what was waited for, as ``wait_concrete_h``."""
    rows = table(frames, "crew_time", "pour_id", "task", "wait_for", "start", "end")
    rows = rows[(rows["task"] == "wait").fillna(False).astype(bool)]
    hours = (times(rows, "end") - times(rows, "start")).dt.total_seconds() / 3600.0
    if rows.empty:
        return pd.DataFrame(index=pd.Index([], name="pour_id"))
    spread = (
        pd.DataFrame({"pour_id": rows["pour_id"], "for": rows["wait_for"], "hours": hours})
        .dropna(subset=["for"])
        .pivot_table(index="pour_id", columns="for", values="hours", aggfunc="sum")
    )
    return spread.rename(columns=lambda word: f"wait_{word}_h")


def weekly(wide: pd.DataFrame, frames: Frames) -> pd.DataFrame:
    """The sums behind every figure, one row a Monday that has pours, in time order.

    Ratio figures get a pair of columns, ``NAME__top`` and ``NAME__bottom``, over the pours where
    both are known; plain totals one, ``NAME__top``.
    """
    sums = _sums(wide, "week", _day_sums(frames))
    opened = table(frames, "callbacks", "reported")
    counted = monday(opened["reported"]).value_counts()
    if "callbacks" in frames:
        sums["callbacks_opened__top"] = counted.reindex(sums.index).fillna(0.0).astype(float)
    return sums.sort_index()


def _sums(wide: pd.DataFrame, by: str, days: pd.DataFrame | None) -> pd.DataFrame:
    parts: dict[str, pd.Series[Any]] = {}
    for figure in FIGURES:
        source = days if figure.top.startswith("day_") else wide
        if source is None:
            continue
        top = column(source, figure.top)
        if figure.bottom is not None:
            bottom = column(source, figure.bottom)
            both = top.notna() & (bottom > 0.0)
            top, bottom = top.where(both), bottom.where(both)
            parts[figure.name + "__bottom"] = bottom.groupby(source[by]).sum(min_count=1)
        parts[figure.name + "__top"] = top.groupby(source[by]).sum(min_count=1)
    return pd.DataFrame(parts)


def _day_sums(frames: Frames) -> pd.DataFrame:
    days = table(frames, "day_output", "date")
    return pd.DataFrame(
        {
            "week": monday(days["date"]),
            "days": 1.0,
            "day_yd3": column(days, "placed_yd3"),
            "day_clock_h": column(days, "clock_h"),
            "day_paid_h": column(days, "paid_h"),
        }
    )


def values(sums: pd.DataFrame, figure: Figure) -> pd.Series[Any]:
    """The figure in each row of sums; unknown where its parts are."""
    top = column(sums, figure.name + "__top")
    if figure.bottom is None:
        return top
    return figure.scale * top / column(sums, figure.name + "__bottom")


def figures(
    wide: pd.DataFrame, sums: pd.DataFrame, week: pd.Timestamp, base: pd.Index[Any]
) -> dict[str, dict[str, Any]]:
    """Every figure of the week beside what is usual, by name.

    ``base`` are the pours (ids) that tell what is usual; their weeks give the ranges, or the pours
    themselves where the weeks are fewer than eight. Each figure: ``value``, ``unit``, ``total``
    and ``over`` (the two sums behind a ratio), ``pours_known``, ``usual_low``, ``usual_middle``,
    ``usual_high``, ``usual_of`` (weeks or pours), ``usual_count``, ``verdict`` (below, usual,
    above, None).
    """
    past = wide.loc[wide.index.isin(base)]
    weeks = pd.Index(past["week"].unique()).sort_values()[-HISTORY_WEEKS:]
    history = sums[sums.index.isin(weeks) & (sums.index != week)]
    now = sums[sums.index == week]
    poured = wide[wide["week"] == week]
    single = _sums(past.assign(one=np.arange(len(past))), "one", None)
    found: dict[str, dict[str, Any]] = {}
    for figure in FIGURES:
        value = _first(values(now, figure))
        known, of = usual_range(values(history, figure)), "weeks"
        if known is None and figure.bottom is not None and not figure.top.startswith("day_"):
            rates = values(single, figure).dropna()
            if len(rates) >= LEAST_POURS_FOR_RANGE:
                known, of = usual_range(rates), "pours"
        found[figure.name] = {
            "value": value,
            "unit": figure.unit,
            "total": _first(column(now, figure.name + "__top")),
            "over": _first(column(now, figure.name + "__bottom")) if figure.bottom else None,
            "pours_known": _pours_known(poured, figure),
            **_usual(known, of, value),
        }
    return found


def _pours_known(poured: pd.DataFrame, figure: Figure) -> int | None:
    """How many of the week's pours are in the figure; None where it isn't a sum over pours."""
    if figure.top not in poured.columns:
        return None
    known = poured[figure.top].notna()
    if figure.bottom is not None:
        known &= column(poured, figure.bottom) > 0.0
    return int(known.sum())


def _usual(known: UsualRange | None, of: str, value: float | None) -> dict[str, Any]:
    if known is None:
        return dict.fromkeys(
            ("usual_low", "usual_middle", "usual_high", "usual_of", "usual_count", "verdict")
        )
    return {
        "usual_low": known.low,
        "usual_middle": known.middle,
        "usual_high": known.high,
        "usual_of": of,
        "usual_count": known.count,
        "verdict": known.place(value),
    }


def _first(series: pd.Series[Any]) -> float | None:
    if len(series) == 0 or not np.isfinite(series.iloc[0]):
        return None
    return float(series.iloc[0])

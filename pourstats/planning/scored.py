"""How forecasts that were told did, once the pour was logged."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.scoring import Share, coverage, mean_interval
from pourstats.planning.day.afterwards import DAY_TOLD, EPOCH

FRAMES = ("forecasts", "pours", "passes", "pass_intervals", "pour_output")
"""What the store must read for a score, by name."""

TARGETS: dict[str, tuple[str, str]] = {
    "since_placed_min": ("wait for the first pass", "min"),
    "first_pass_min": ("first pass", "min"),
    "last_pass_end_min": ("last pass off", "min"),
    "labor_h": ("labor hours", "h"),
    "crew_h": ("hours on the clock", "h"),
}
"""Target as kept → (words, unit). Clock targets are minutes since midnight of the pour's start."""

SCORED_AT = (0.05, 0.1, 0.5, 0.9, 0.95)
"""Quantiles that a score looks at; a forecast that comes from elsewhere may lack some."""

LATELY = 12
"""Pours that "lately" looks back on."""


def scored(frames: Mapping[str, pd.DataFrame], last: int | None = None) -> dict[str, Any]:
    """Coverage, error and bias of what was forecast, by target.

    Of each pour and target the last forecast issued before place_start counts. ``last`` looks at
    that many latest pours only. Coverage is of the ranges that were said to hold eight and nine
    times in ten, with Wilson's 95 % interval; ``bias`` is the mean of told less happened, with its
    95 % interval. Targets without a logged pour are left out, so are forecasts without a median;
    a range counts where both of its ends were told.
    """
    told = _told(frames)
    happened = _happened(frames)
    result: dict[str, Any] = {"targets": {}, "waiting": _waiting(told, happened)}
    for target, (words, unit) in TARGETS.items():
        rows = _paired(told, happened, target)
        if last is not None:
            rows = rows.sort_values("start").tail(last)
        if len(rows) == 0:
            continue
        y = rows["happened"].to_numpy(dtype=float)
        eight, nine = (rows[list(ends)].notna().all(axis=1) for ends in ((0.1, 0.9), (0.05, 0.95)))
        middle = rows[0.5].to_numpy(dtype=float)
        result["targets"][target] = {
            "what": words,
            "unit": unit,
            "pours": len(rows),
            "held_80": _share(coverage(y[eight], rows[0.1][eight], rows[0.9][eight])),
            "held_90": _share(coverage(y[nine], rows[0.05][nine], rows[0.95][nine])),
            "mean_abs_error": float(np.abs(y - middle).mean()),
            "bias": _share(mean_interval(middle - y)),
            "rows": [
                {"pour_id": row["pour_id"], "told": float(row[0.5]), "low": _number(row[0.1]),
                 "high": _number(row[0.9]), "happened": float(row["happened"])}
                for _, row in rows.iterrows()
            ],
        }  # fmt: skip
    return result


def _told(frames: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """One row a pour and target, a column a quantile: the last forecast before place_start."""
    forecasts, pours = frames["forecasts"], frames["pours"]
    if len(forecasts) == 0:
        return pd.DataFrame(columns=["pour_id", "target", "start", *SCORED_AT])
    starts = pours[["pour_id", "date", "place_start"]].copy()
    # Without a logged start the day counts: what was told on it may have known the outcome.
    day = pd.to_datetime(starts["date"])
    starts["start"] = pd.to_datetime(starts["place_start"]).fillna(day)
    rows = forecasts.merge(starts[["pour_id", "start"]], on="pour_id", how="left")
    rows = rows[~_of_another_day(rows, starts)]
    rows = rows[rows["start"].isna() | (rows["issued_at"] < rows["start"])]
    rows = rows[rows["quantile"].isin(SCORED_AT)]
    newest = rows.groupby(["pour_id", "target"])["issued_at"].transform("max")
    rows = rows[rows["issued_at"] == newest]
    wide = rows.pivot_table(
        index=["pour_id", "target"], columns="quantile", values="value", aggfunc="last"
    )
    wide = wide.reindex(columns=list(SCORED_AT)).dropna(subset=[0.5]).reset_index()
    return wide.merge(starts[["pour_id", "start"]], on="pour_id", how="left")


def _of_another_day(rows: pd.DataFrame, starts: pd.DataFrame) -> pd.Series:
    """Which rows a plan told for another day than the one on which the pour was placed."""
    keys = ["issued_at", "pour_id"]
    days = rows[rows["target"] == DAY_TOLD].merge(starts[["pour_id", "date"]], on="pour_id")
    placed = pd.to_datetime(days["date"]).dt.normalize()
    moved = days[EPOCH + pd.to_timedelta(days["value"], unit="D") != placed]
    told = pd.MultiIndex.from_frame(rows[keys]).isin(pd.MultiIndex.from_frame(moved[keys]))
    return pd.Series(told, index=rows.index) & (rows["command"] == "plan")


def _happened(frames: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """pour_id, target, happened: what the log says of each target."""
    pours, passes, output = frames["pours"], frames["pass_intervals"], frames["pour_output"]
    begun = pd.to_datetime(pours.set_index("pour_id")["place_start"])
    midnight = begun.dt.normalize()
    first = passes[passes["first_pass"].fillna(False).astype(bool)].set_index("pour_id")
    ends = pd.to_datetime(frames["passes"].groupby("pour_id")["end"].max())
    done = pd.to_datetime(pours.set_index("pour_id")["passes_done"])
    last = ends.reindex(midnight.index).fillna(done)
    start = pd.to_datetime(first["start"]).reindex(midnight.index)
    made = {
        "since_placed_min": first["since_placed_min"],
        "first_pass_min": (start - midnight).dt.total_seconds() / 60,
        "last_pass_end_min": (last - midnight).dt.total_seconds() / 60,
        "labor_h": output.set_index("pour_id")["labor_h"],
        "crew_h": output.set_index("pour_id")["crew_h"],
    }
    parts = [
        pd.DataFrame({"pour_id": s.index, "target": name, "happened": s.to_numpy(dtype=float)})
        for name, s in made.items()
    ]
    return pd.concat(parts, ignore_index=True).dropna(subset=["happened"])


def _paired(told: pd.DataFrame, happened: pd.DataFrame, target: str) -> pd.DataFrame:
    mine = told[told["target"] == target].drop(columns="target")
    return mine.merge(happened[happened["target"] == target], on="pour_id", how="inner")


def _waiting(told: pd.DataFrame, happened: pd.DataFrame) -> list[str]:
    logged = set(happened["pour_id"])
    return sorted({str(name) for name in told["pour_id"]} - logged)


def _share(share: Share) -> dict[str, float | None]:
    return {
        "value": _number(share.value), "low": _number(share.low), "high": _number(share.high),
    }  # fmt: skip


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def lately_lines(score: Mapping[str, Any]) -> list[str]:
    """A line a target for the week: how well the forecasts of the latest pours did."""
    lines = []
    for name in ("since_placed_min", "labor_h"):
        found = score["targets"].get(name)
        if found is None or found["pours"] < 4:
            continue
        ranged = sum(None not in (row["low"], row["high"]) for row in found["rows"])
        if ranged < 4:
            continue
        held = round(found["held_80"]["value"] * ranged)
        lines.append(
            f"Told ahead, {found['what']}: {held} of the last {ranged} pours came within"
            f" the range said to hold eight times in ten; off by"
            f" {found['mean_abs_error']:.3g} {found['unit']} on average."
        )
    return lines

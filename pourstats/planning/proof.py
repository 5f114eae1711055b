"""The proof: what the tool would have bid for every past pour, knowing only what was known then,
against the bid that was made, a flat rate a slab type, and the last similar job.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pourstats.faults import Refusal
from pourstats.learning.draws import LEVELS
from pourstats.learning.hours import HoursModel, hours_frame, hours_model, similar
from pourstats.learning.hours.features import numbers, words
from pourstats.learning.hours.model import usable
from pourstats.learning.scoring import Share, coverage, mean_interval, mean_pinball, pinball
from pourstats.planning.bid_price import hour_cost, rule
from pourstats.planning.bid_record import bids_with_pours, well_read

MOST_FITS = 60
"""The model is fitted anew at up to so many moments; between two the earlier one is used, which
knows a little less than was known then, never more."""

DRAWS = 1000
ENOUGH_WELL_READ = 10
"""Pours with better hours from which those by part of a headcount are no longer scored."""

FEWEST = 3
"""Earlier pours without which a flat rate or a similar job is no rival yet."""


def hours_proof(
    record: Mapping[str, pd.DataFrame] | None,
    house: Mapping[str, object],
    confidence: float | None = None,
) -> dict[str, Any]:
    """Score of the hours by rolling origin over every pour with hours and an earlier pour.

    A pour is foretold from the pours dated before its last bid (before its own date without one).
    Per method: mean absolute error, bias (sum told over sum taken, less one), pinball loss at the
    middle and at the confidence, and dollars: what jobs ran over the bid (`usd_short`), and the
    same once all methods are brought to one margin (`usd_short_at_equal_margin`: each method's
    bids scaled by one factor, so that over all pours they earn the same). Differences to the tool
    come with 95 % intervals, on the pours that both told. Pours known by part of a headcount are
    learned from, but not scored once ten better ones are there (`too_rough` counts them).
    Raises Refusal (1) with too few pours.
    """
    frames = record or {}
    frame = usable(hours_frame(frames))
    if len(frame) <= FEWEST:
        raise Refusal(
            f"{len(frame)} pours with hours are stored; the proof needs more than {FEWEST}", 1
        )
    level = confidence if confidence is not None else (rule(house, "confidence") or 0.7)
    made = bids_with_pours(frames, frame)
    made = made[made["same_scope"].astype(bool)] if len(made) else made
    every = foretold(frame, made, level)
    if not len(every):
        raise Refusal("no pour has an earlier one to be told from, so there is no proof yet", 1)
    told = well_read(every, ENOUGH_WELL_READ)
    rate = hour_cost(frames, house, frame["date"].max()).usd_h
    took = numbers(told, "took")
    result: dict[str, Any] = {
        "pours": len(told),
        "too_rough": len(every) - len(told),
        "confidence": level,
        "first": pd.Timestamp(told["date"].iloc[0]).date().isoformat(),
        "last": pd.Timestamp(told["date"].iloc[-1]).date().isoformat(),
        "coverage": {
            "80": _share(coverage(took, numbers(told, "p10"), numbers(told, "p90"))),
            "90": _share(coverage(took, numbers(told, "p05"), numbers(told, "p95"))),
        },
        "within_bid_hours": _share(mean_interval((took <= numbers(told, "at_confidence")) * 1.0)),
        "mean_pinball_h": round(
            float(mean_pinball(took, {name: numbers(told, name) for name in LEVELS}).mean()), 3
        ),
        "labor_cost_usd_h": None if rate is None else round(rate, 2),
        "methods": {
            name: _score(took, numbers(told, name), numbers(told, "tool"), rate)
            for name in ("tool", "bid_made", "flat_rate", "last_similar")
        },
        "rows": _rows(told),
    }
    return result


def foretold(frame: pd.DataFrame, made: pd.DataFrame, level: float) -> pd.DataFrame:
    """One row a pour: what it took, and what each method would have said before it.

    ``tool`` is the model's median; NaN where a method had nothing to go by.
    """
    day = pd.to_datetime(frame["date"])
    bid_day = dict(zip(made["pour_id"], pd.to_datetime(made["bid_date"]), strict=True))
    bid_hours = dict(zip(made["pour_id"], made["bid_hours"], strict=True))
    knew_until = pd.Series(
        [bid_day.get(pour, date) for pour, date in zip(frame["pour_id"], day, strict=True)]
    )
    known = np.searchsorted(day.to_numpy(), knew_until.to_numpy(), side="left")
    wanted = np.unique(known[known > 0])
    step = max(1, int(np.ceil(wanted.size / MOST_FITS)))
    moments = wanted[::step]
    kinds = words(frame, "slab_type")
    foot = numbers(frame, "read_h") / numbers(frame, "area")
    rows = []
    for place, moment in enumerate(moments):
        end = moments[place + 1] if place + 1 < moments.size else len(frame) + 1
        own = np.flatnonzero((known >= moment) & (known < end))
        if not own.size:
            continue
        model = hours_model(frame.iloc[:moment])
        # What the weather did was not known at the bid.
        jobs = frame.iloc[own].drop(columns=["air_temp_f"], errors="ignore")
        drawn = model.draws(jobs, DRAWS).labor_h
        told = np.quantile(drawn, [*LEVELS.values(), level], axis=1)
        near = similar(model, jobs, 1)
        for k, place_in_frame in enumerate(own):
            before = int(known[place_in_frame])
            job = frame.iloc[place_in_frame]
            rows.append(
                {
                    "pour_id": job["pour_id"], "date": job["date"], "took": job["read_h"],
                    "slab_type": job["slab_type"], "area": job["area"],
                    "hours_from": job.get("hours_from"),
                    **dict(zip(LEVELS, told[:-1, k], strict=True)),
                    "tool": told[3, k], "at_confidence": told[-1, k],
                    "bid_made": bid_hours.get(job["pour_id"], np.nan),
                    "flat_rate": _flat(kinds[:before], foot[:before], job),
                    "last_similar": _last_similar(model, near[k], job),
                    "known": before,
                }
            )  # fmt: skip
    if not rows:
        return pd.DataFrame()
    return pd.DataFrame(rows).sort_values("date", kind="stable").reset_index(drop=True)


def _flat(kinds: Any, foot: Any, job: Any) -> float:
    """The median hours a foot of the type's earlier pours, of all where it has under three."""
    own = foot[kinds == str(job["slab_type"])]
    held = own if own.size >= FEWEST else foot
    return float(np.median(held)) * float(job["area"]) if held.size >= FEWEST else float("nan")


def _last_similar(model: HoursModel, near: list[int], job: Any) -> float:
    """The most similar earlier pour's hours a foot, times the area."""
    if not near or model.pours < FEWEST:
        return float("nan")
    row = model.seen.iloc[near[0]]
    return float(row["read_h"]) / float(row["area"]) * float(job["area"])


def _score(took: Any, said: Any, tool: Any, rate: float | None) -> dict[str, Any]:
    known = ~np.isnan(said)
    count = int(known.sum())
    if count == 0:
        return {"pours": 0}
    actual, own, ours = took[known], said[known], tool[known]
    # Hours of the money lost: what jobs took beyond the bid, and the same at equal margin.
    short = np.maximum(actual - own, 0.0)
    even = np.maximum(actual - own * (actual.sum() / own.sum()), 0.0)
    ours_even = np.maximum(actual - ours * (actual.sum() / ours.sum()), 0.0)
    better = mean_interval(np.abs(actual - own) - np.abs(actual - ours))
    saved = mean_interval(even - ours_even)
    score: dict[str, Any] = {
        "pours": count,
        "mean_abs_error_h": round(float(np.abs(actual - own).mean()), 3),
        "bias_share": round(float(own.sum() / actual.sum() - 1.0), 4),
        "pinball_p50_h": round(float(pinball(actual, own, 0.5).mean()), 3),
        "short_h": round(float(short.sum()), 1),
        "short_h_at_equal_margin": round(float(even.sum()), 1),
    }
    if own is not ours and not np.array_equal(own, ours):
        score["tool_better_by_h"] = _share(better)
        score["tool_saves_h_at_equal_margin"] = _share(saved)
    if rate is not None:
        score["usd_short"] = round(float(short.sum()) * rate, 2)
        score["usd_short_at_equal_margin"] = round(float(even.sum()) * rate, 2)
        if "tool_saves_h_at_equal_margin" in score:
            score["tool_saves_usd_a_pour"] = {
                "value": round(saved.value * rate, 2),
                "low": _number(saved.low * rate),
                "high": _number(saved.high * rate),
                "count": count,
            }
    return score


def _share(share: Share) -> dict[str, float | None]:
    return {
        "value": _number(share.value), "low": _number(share.low), "high": _number(share.high),
        "count": share.count,
    }  # fmt: skip


def _number(value: float) -> float | None:
    return round(float(value), 4) if np.isfinite(value) else None


def _rows(told: pd.DataFrame) -> list[dict[str, Any]]:
    names = ("took", "tool", "at_confidence", "p10", "p90", "bid_made", "flat_rate", "last_similar")
    rows = []
    for row in range(len(told)):
        one = told.iloc[row]
        entry: dict[str, Any] = {
            "pour_id": str(one["pour_id"]),
            "date": pd.Timestamp(one["date"]).date().isoformat(),
            "known": int(one["known"]),
        }
        entry.update({name: _number(float(one[name])) for name in names})
        rows.append(entry)
    return rows

"""The proof: what the tool would have bid for every past pour, knowing only what was known then,
against the bid that was made, a flat rate a slab type, and the last similar job.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.faults import Refusal
from pourstats.learning.draws import LEVELS
from pourstats.learning.hours import hours_frame, most_like
from pourstats.learning.hours.calibration import past_scores, stretch_of
from pourstats.learning.hours.features import Array, numbers, words
from pourstats.learning.hours.model import fitted_model, usable
from pourstats.learning.hours.readings import read_h
from pourstats.learning.scoring import Share, coverage, mean_interval, mean_pinball, pinball
from pourstats.planning.bid_price import hour_cost, rule
from pourstats.planning.bid_record import bids_with_pours, well_read

MOST_FITS = 40
"""The model is fitted anew at up to so many moments; between two the earlier one is used, which
knows a little less than was known then, never more."""

LOOK_BACK = 500
"""Most pours that a fit of the proof learns from, so that a long record is proven in seconds. The
bid itself learns from all."""

DRAWS = 1000
ENOUGH_WELL_READ = 10
"""Pours with better hours from which those by part of a headcount are no longer scored."""

FEWEST = 3
"""Earlier pours without which a flat rate or a similar job is no rival yet."""


OF_THE_DAY = ("air_temp_f", "slump", "finish_hands")
"""What only the day told: not known at the bid, so taken as usual."""


def hours_proof(
    record: Mapping[str, pd.DataFrame] | None,
    house: Mapping[str, object],
    confidence: float | None = None,
) -> dict[str, Any]:
    """Score of the hours by rolling origin over every pour with hours and an earlier pour.

    A pour is foretold from the pours dated before its last bid (before its own date without one),
    and is described as it was logged but for what only the day told (:data:`OF_THE_DAY`).
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
        "most_fits": MOST_FITS,
        "look_back": LOOK_BACK,
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

    ``tool`` is the model's median; NaN where a method had nothing to go by. ``frame`` as `usable`
    gives it.
    """
    day = pd.to_datetime(frame["date"])
    bid_day = dict(zip(made["pour_id"], pd.to_datetime(made["bid_date"]), strict=True))
    knew_until = pd.Series(
        [bid_day.get(pour, date) for pour, date in zip(frame["pour_id"], day, strict=True)]
    )
    known = np.searchsorted(day.to_numpy(), knew_until.to_numpy(), side="left")
    foot = numbers(frame, "read_h") / numbers(frame, "area")
    told = np.full((len(frame), len(LEVELS) + 1), np.nan)
    scores, nearest = np.full(len(frame), np.nan), np.full(len(frame), -1)
    moments = _moments(known)
    for moment, end in itertools.pairwise([*moments, len(frame) + 1]):
        own = np.flatnonzero((known >= moment) & (known < end))
        if not own.size:
            continue
        # Head counts are read anew: the habits that mend them come from these pours alone.
        before = usable(frame.iloc[max(0, moment - LOOK_BACK) : moment].drop(columns="read_h"))
        model = fitted_model(before)
        # As a bid does, the ranges are held against the pours told before: those of the later half.
        past = scores[moment // 2 : moment]
        model = replace(model, stretch=stretch_of(past[~np.isnan(past)]))
        jobs = frame.iloc[own]
        read = read_h(pd.concat([before, jobs]), model.habit)[len(before) :]
        scores[own] = past_scores(replace(model, stretch=1.0), jobs.assign(read_h=read))
        drawn = model.draws(jobs.drop(columns=list(OF_THE_DAY), errors="ignore"), DRAWS).labor_h
        told[own] = np.quantile(drawn, [*LEVELS.values(), level], axis=1).T
        if moment >= FEWEST:
            nearest[own] = [near[0] for near in most_like(frame.iloc[:moment], jobs, 1)]
    found = frame[["pour_id", "date", "slab_type", "area"]].assign(
        took=frame["read_h"],
        hours_from=words(frame, "hours_from"),
        **dict(zip(LEVELS, told[:, :-1].T, strict=True)),
        tool=told[:, 3],
        at_confidence=told[:, -1],
        bid_made=frame["pour_id"].map(dict(zip(made["pour_id"], made["bid_hours"], strict=True))),
        flat_rate=_flat(words(frame, "slab_type"), foot, known) * numbers(frame, "area"),
        last_similar=np.where(nearest < 0, np.nan, foot[nearest]) * numbers(frame, "area"),
        known=known,
    )
    kept: pd.DataFrame = found[~np.isnan(told[:, 0])]
    return kept.reset_index(drop=True)


def _moments(known: NDArray[np.int64]) -> list[int]:
    """How many pours are known at each moment at which the model is fitted anew."""
    wanted = np.unique(known[known > 0])
    return [int(count) for count in wanted[:: max(1, -(-wanted.size // MOST_FITS))]]


def _flat(kinds: NDArray[np.object_], foot: Array, known: NDArray[np.int64]) -> Array:
    """The median hours a foot of the type's earlier pours, of all where it has under three."""
    codes = pd.factorize(kinds)[0]
    found = np.full(len(foot), np.nan)
    for place, before in enumerate(known):
        own = foot[:before][codes[:before] == codes[place]]
        held = own if own.size >= FEWEST else foot[:before]
        if held.size >= FEWEST:
            found[place] = np.median(held)
    return found


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

"""Jobs, forecast and record in; the plan of each day out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from pourstats.faults import Refusal
from pourstats.learning.clock.conditions import number
from pourstats.learning.draws import LEVELS
from pourstats.learning.hours import hours_frame, hours_model
from pourstats.planning.day import sofar
from pourstats.planning.day.advice import runner_up, watch, why
from pourstats.planning.day.choice import Day
from pourstats.planning.day.people import people_on
from pourstats.planning.day.rules import rules_of
from pourstats.planning.day.search import Found, lacking, search
from pourstats.planning.day.sheet import sheet
from pourstats.planning.day.slabs import USUAL_HANDS, slabs_of
from pourstats.planning.day.unplanned import reason_of, remedy
from pourstats.planning.finishing import clock_before, started, whole_weather
from pourstats.planning.trucks import loads_before

FRAMES = (
    "pours", "passes", "trucks", "weather", "sites", "crew", "crew_time", "bids", "truck_times",
    "pour_output", "pour_weather",
)  # fmt: skip
"""What the store must read for a plan, by name."""

DRAWS = 500
SEARCH_S = 1.6
"""Seconds of search for a day of one or two pours; three times that for more."""


def plan(
    jobs: pd.DataFrame,
    forecast_weather: pd.DataFrame | None,
    record: Mapping[str, pd.DataFrame] | None = None,
    house: Mapping[str, object] | None = None,
    off: Iterable[str] = (),
    now: pd.Timestamp | None = None,
    so_far: Mapping[str, pd.DataFrame] | None = None,
    seed: int = 0,
    search_s: float | None = None,
) -> dict[str, Any]:
    """What `pourstats plan --json` prints, and what sheet, page and calendar draw.

    ``jobs`` are rows of the log table `jobs`, ``forecast_weather`` rows of `weather`, in house
    units; ``record`` the store's frames (:data:`FRAMES`), None without a store. ``off`` names who
    isn't there. ``now`` replans the rest of that day from ``so_far``: frames `pours`, `trucks`,
    `passes`, `crew_time` of what has happened. Each day has, beside the promised keys,
    `runner_up`, `what_to_watch`, `why`, `cautions`, `machines`, `not_needed`, `notes`.
    Raises Refusal for no jobs and for unknown people.
    """
    if not len(jobs):
        raise Refusal("no jobs to plan; give a file of jobs, or pour ids of the jobs table", 1)
    rules_given = dict(house or {})
    frames = dict(record or {})
    jobs = jobs.reset_index(drop=True)
    off = tuple(off)
    fitted = clock_before(frames, started(jobs, rules_given)[0], rules_given, seed)
    learned = loads_before(frames, jobs, seed)
    past = hours_frame(frames)
    if len(past):
        past = past[~past["pour_id"].isin(set(jobs["pour_id"]))]
    model = hours_model(past)
    weather = whole_weather(forecast_weather, frames.get("weather"), jobs)
    notes: list[str] = []
    days = []
    dates = pd.to_datetime(jobs["date"]).dt.normalize()
    for date in sorted(set(dates)):
        own = jobs[dates == date].reset_index(drop=True)
        most = int(np.nanmax([0.0, *number(own, "hands")]))
        people, said = people_on(frames, rules_given, date, off, max(most, USUAL_HANDS + 1))
        rules = rules_of(rules_given, len(people))
        slabs = slabs_of(
            own, weather, fitted, learned, model, frames, rules_given, rules, seed, DRAWS
        )
        day = Day(tuple(slabs), tuple(people), rules)
        today = now is not None and pd.Timestamp(now).normalize() == date
        known = sofar.read(own, so_far, pd.Timestamp(now)) if today and now is not None else None
        if known is not None:
            day = sofar.conditioned(day, known)
        seconds = SEARCH_S * (1.0 if len(slabs) < 3 else 3.0) if search_s is None else search_s
        days.append(_day(day, date, own, seconds, said, known))
        notes += [line for line in said if line not in notes]
    if fitted.pours == 0:
        notes.append(
            "No pours of your own yet: this rests on published values and common practice."
        )
    if forecast_weather is None or not len(forecast_weather):
        notes.append("No forecast: a mild day is assumed.")
    notes += [line for line in fitted_notes(weather, jobs) if line not in notes]
    return {
        "days": days,
        "rests_on": "published values" if fitted.pours == 0 else "your pours",
        "pours": fitted.pours,
        "notes": notes,
        "now": None if now is None else f"{pd.Timestamp(now):%Y-%m-%dT%H:%M}",
    }


def fitted_notes(weather: pd.DataFrame | None, jobs: pd.DataFrame) -> list[str]:
    """What the forecast lacks: a day of a job that it doesn't reach."""
    if weather is None or not len(weather):
        return []
    last = pd.to_datetime(weather["time"]).max()
    beyond = jobs[pd.to_datetime(jobs["date"]) + pd.Timedelta(hours=12) > last]
    if not len(beyond):
        return []
    names = ", ".join(str(name) for name in beyond["pour_id"])
    return [f"The forecast ends before noon of {names}: its last hours are held on."]


def _day(
    day: Day,
    date: pd.Timestamp,
    jobs: pd.DataFrame,
    seconds: float,
    said: list[str],
    known: sofar.Known | None,
) -> dict[str, Any]:
    """One date: the best plan of all its slabs, else of as many as fit."""
    unplanned: list[dict[str, str]] = []
    places = list(range(len(day.slabs)))
    for slab in list(places):
        lack = lacking(day, slab)
        if lack is not None:
            unplanned.append({"pour_id": day.slabs[slab].pour_id, "reason": lack})
            places.remove(slab)
    found: list[Found] = []
    left = day
    for size in range(len(places), 0, -1):
        tried = []
        for kept in combinations(places, size):
            part = replace(day, slabs=tuple(day.slabs[i] for i in kept))
            ways = search(part, seconds if size == len(places) else seconds / 2)
            if ways and not ways[0].outcome.breaches:
                tried.append((ways[0].outcome.score, kept, part, ways))
            elif size == len(places) and ways:
                whole = ways[0]
        if tried:
            _, kept, left, found = min(tried, key=lambda t: t[0])
            for slab in places:
                if slab not in kept:
                    unplanned.append(
                        {
                            "pour_id": day.slabs[slab].pour_id,
                            "reason": f"{reason_of(day, whole)}; {remedy(day, whole, slab)}",
                        }
                    )
            break
    else:
        for slab in places:
            unplanned.append({"pour_id": day.slabs[slab].pour_id, "reason": reason_of(day, whole)})
    text = f"{date:%Y-%m-%d}"
    if not found:
        return {
            "date": text, "pours": [], "tasks": [], "moves": [], "unplanned": unplanned,
            "chance_done_in_day": 0.0, "labor_cost_usd": {"mean": 0.0}, "truck_wait_usd": 0.0,
            "risk_usd": 0.0, "runner_up": None, "what_to_watch": [], "why": [], "cautions": [],
            "machines": [], "not_needed": [one.name for one in day.people], "notes": said,
        }  # fmt: skip
    best = found[0]
    told = sheet(left, best, date, jobs)
    told.update(
        unplanned=unplanned,
        runner_up=runner_up(left, found, date),
        what_to_watch=watch(left, best, date),
        why=why(left, best),
        notes=said,
    )
    if unplanned:
        told["chance_done_in_day"] = 0.0
    if known is not None:
        told["notes"] = [*said, *known.notes]
    return told


def kept_numbers(result: Mapping[str, Any]) -> list[tuple[str, str, float | None, float]]:
    """What a plan says, for the table `forecasts`: pour, target, quantile, value.

    Times are minutes since midnight of the day planned.
    """
    rows: list[tuple[str, str, float | None, float]] = []
    for day in result["days"]:
        midnight = pd.Timestamp(day["date"])
        for pour in day["pours"]:
            name = str(pour["pour_id"])
            rows.append(
                (name, "plan_place_start_min", None, _minutes(pour["place_start"], midnight))
            )
            for key in ("place_end", "first_pass", "last_pass_end", "saw_done"):
                for level, time in (pour[key] or {}).items():
                    if time is not None:
                        rows.append(
                            (name, f"plan_{key}_min", LEVELS[level], _minutes(time, midnight))
                        )
            rows.append((name, "plan_chance_done", None, float(pour["chance_done"])))
    return rows


def _minutes(time: str, midnight: pd.Timestamp) -> float:
    return float((pd.Timestamp(time) - midnight).total_seconds() / 60.0)

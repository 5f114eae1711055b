"""Jobs, forecast and record in; the plan of each day out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
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
from pourstats.planning.day.search import RUNS, Found, lacking, search
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
MOST_AT_ONCE = 3
"""Of more slabs on a day, those that fit together are found one by one."""


def plan(
    jobs: pd.DataFrame,
    forecast_weather: pd.DataFrame | None,
    record: Mapping[str, pd.DataFrame] | None = None,
    house: Mapping[str, object] | None = None,
    off: Iterable[str] = (),
    now: pd.Timestamp | None = None,
    so_far: Mapping[str, pd.DataFrame] | None = None,
    seed: int = 0,
    runs: int | None = None,
) -> dict[str, Any]:
    """What `pourstats plan --json` prints, and what sheet, page and calendar draw.

    ``jobs`` are rows of the log table `jobs`, ``forecast_weather`` rows of `weather`, in house
    units; ``record`` the store's frames (:data:`FRAMES`), None without a store. ``off`` names who
    isn't there. ``now`` replans the rest of that day from ``so_far``: frames `pours`, `trucks`,
    `passes`, `crew_time` of what has happened; ``runs`` bounds the search.
    Each day has, beside the promised keys,
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
    # Whether people or machines hold a slab up is played through here, not taken from the past.
    fitted = replace(fitted, held_rate=np.zeros_like(fitted.held_rate))
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
        wanted = RUNS if runs is None else runs
        days.append(_day(day, date, own, wanted, said, known))
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
    runs: int,
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
    ready: list[Found] = []
    if len(places) > MOST_AT_ONCE:
        places, left_out, ready = _one_by_one(day, places, runs // len(places))
        unplanned += left_out
    while places:
        found = sorted([*search(day.only(places), runs), *ready], key=lambda f: f.outcome.score)
        ready = []
        if not found or _fits(day, places, found[0]):
            break
        dropped = _least_loss(day, places, runs // 8) if len(places) > 1 else places[0]
        if dropped is None:
            break
        more = f"; {remedy(day, dropped)}" if len(day.slabs) > 1 else ""
        unplanned.append(
            {
                "pour_id": day.slabs[dropped].pour_id,
                "reason": f"{reason_of(day.only(places), found[0])}{more}",
            }
        )
        places.remove(dropped)
        found = []
    left = day.only(places) if places else day
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


def _fits(day: Day, places: list[int], best: Found) -> bool:
    """Whether a plan keeps to the rules; one slab alone, or under way, may be late."""
    under_way = any(day.slabs[i].happened.begin is not None for i in places)
    alone = len(places) == 1 and all(b.startswith("late") for b in best.outcome.breaches)
    return not best.outcome.breaches or alone or (under_way and len(places) == 1)


def _one_by_one(
    day: Day, places: list[int], runs: int
) -> tuple[list[int], list[dict[str, str]], list[Found]]:
    """Of many slabs those that fit together, added one by one: under way, agreed, early first."""

    def turn(slab: int) -> tuple[bool, bool, float, float, int]:
        one = day.slabs[slab]
        work = one.hands * float(np.median(one.at(one.starts[0]).place_h))
        return one.happened.begin is None, one.fixed is None, one.starts[0], work, slab

    kept: list[int] = []
    best: list[Found] = []
    left_out = []
    for slab in sorted(places, key=turn):
        wanted = sorted([*kept, slab])
        part = day.only(wanted)
        ways = search(part, runs)
        if ways and (_fits(day, wanted, ways[0]) or day.slabs[slab].happened.begin is not None):
            kept, best = wanted, ways
        else:
            name = day.slabs[slab].pour_id
            others = ", ".join(day.slabs[i].pour_id for i in kept)
            why = reason_of(part, ways[0]) if ways else "nobody is left for it"
            left_out.append(
                {"pour_id": name, "reason": f"beside {others}: {why}; put {name} on another day"}
            )
    return kept, left_out, best


def _least_loss(day: Day, places: list[int], runs: int) -> int | None:
    """The slab to leave so that the rest fits: not one under way, rather not an agreed one."""
    tried = []
    for slab in places:
        one = day.slabs[slab]
        if one.happened.begin is not None:
            continue
        ways = search(day.only([i for i in places if i != slab]), runs)
        if ways:
            best = ways[0].outcome
            tried.append((len(best.breaches), one.fixed is not None, float(best.cost.mean()), slab))
    return min(tried)[-1] if tried else None


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

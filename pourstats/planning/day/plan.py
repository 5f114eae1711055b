"""Jobs, forecast and record in; the plan of each day out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from pourstats.faults import Refusal
from pourstats.learning.clock.conditions import number
from pourstats.learning.hours import hours_frame, hours_model
from pourstats.planning.day import sofar
from pourstats.planning.day.advice import runner_up, watch, why
from pourstats.planning.day.care import care
from pourstats.planning.day.choice import Day
from pourstats.planning.day.fetching import few_vehicles, nobody_fetched
from pourstats.planning.day.fitting import Fit, beside, fitting
from pourstats.planning.day.people import logged_week, monday_of, people_on
from pourstats.planning.day.rules import Rules, rules_of
from pourstats.planning.day.search import RUNS, lacking
from pourstats.planning.day.sheet import sheet
from pourstats.planning.day.slabs import USUAL_HANDS, slabs_of
from pourstats.planning.day.too_much import too_much
from pourstats.planning.day.unplanned import reason_of, remedy
from pourstats.planning.finishing import clock_before, started, whole_weather
from pourstats.planning.trucks import loads_before

FRAMES = (
    "pours", "passes", "trucks", "weather", "sites", "crew", "crew_time", "bids", "truck_times",
    "pour_output", "pour_weather",
)  # fmt: skip
"""What the store must read for a plan, by name."""

DRAWS = 500


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
    `runner_up`, `what_to_watch`, `why`, `cautions`, `machines`, `not_needed`, `notes`, `too_much`.
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
    planned_h: dict[tuple[pd.Timestamp, str], float] = {}
    for date in sorted(set(dates)):
        own = jobs[dates == date].reset_index(drop=True)
        most = int(np.nanmax([0.0, *number(own, "hands")]))
        people, said = people_on(frames, rules_given, date, off, max(most, USUAL_HANDS + 1))
        rules = rules_of(rules_given, len(people))
        slabs = slabs_of(
            own, weather, fitted, learned, model, frames, rules_given, rules, seed, DRAWS
        )
        logged = logged_week(frames.get("crew_time"), date, rules.overtime_after_h)
        monday = monday_of(date)
        week_h = tuple(
            logged.get(one.name, 0.0) + planned_h.get((monday, one.name), 0.0) for one in people
        )
        day = Day(tuple(slabs), tuple(people), rules, week_h=week_h)
        today = now is not None and pd.Timestamp(now).normalize() == date
        known = sofar.read(own, so_far, pd.Timestamp(now)) if today and now is not None else None
        if known is not None:
            day = sofar.conditioned(day, known)
        wanted = RUNS if runs is None else runs
        told = _day(day, date, wanted, said, known)
        for name, spread in told.get("paid_h", {}).items():
            straight = min(float(spread["p50"]), rules.overtime_after_h)
            planned_h[monday, name] = planned_h.get((monday, name), 0.0) + straight
        starts = {str(p["pour_id"]): pd.Timestamp(p["place_start"]) for p in told["pours"]}
        told["cautions"] += care(own, starts, fitted, weather, frames, rules_given, seed)
        days.append(told)
        said = [*said, _break_words(rules)]
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


def _break_words(rules: Rules) -> str:
    paid = "paid" if rules.break_paid else "unpaid"
    return (
        f"A break of {rules.break_min:g} min in a day of over {rules.break_after_h:g} h is counted"
        f" as {paid} (setting break_paid)."
    )


def _day(
    day: Day,
    date: pd.Timestamp,
    runs: int,
    said: list[str],
    known: sofar.Known | None,
) -> dict[str, Any]:
    """One date: the best plan of all its slabs, else of as many as fit."""
    unplanned: list[dict[str, str]] = []
    places = []
    for slab, one in enumerate(day.slabs):
        lack = lacking(day, slab)
        if lack is None:
            places.append(slab)
        else:
            reason = f"its concrete is there, get help at once: {lack}" if one.wet else lack
            unplanned.append({"pour_id": one.pour_id, "reason": reason})
    fit = fitting(day, places, runs)
    found, places = fit.found, fit.kept
    unplanned += _left_out(day, fit)
    if not places:
        found = []
    left = day.only(places) if places else day
    text = f"{date:%Y-%m-%d}"
    if not found:
        return {
            "date": text, "pours": [], "tasks": [], "moves": [], "unplanned": unplanned,
            "chance_done_in_day": 0.0, "labor_cost_usd": {"mean": 0.0}, "truck_wait_usd": 0.0,
            "risk_usd": 0.0, "runner_up": None, "what_to_watch": [], "why": [], "cautions": [],
            "machines": [], "not_needed": [one.name for one in day.people], "notes": said,
            "too_much": [],
        }  # fmt: skip
    best = found[0]
    told = sheet(left, best, date)
    told.update(
        unplanned=unplanned,
        runner_up=runner_up(left, found, date),
        what_to_watch=watch(left, best, date),
        why=[*why(left, best), *nobody_fetched(left, best)],
        notes=said,
        too_much=too_much(day, fit),
    )
    if unplanned:
        told["chance_done_in_day"] = 0.0
    if known is not None:
        told["notes"] = [*said, *known.notes]
    return told


def _left_out(day: Day, fit: Fit) -> list[dict[str, str]]:
    """Each slab that doesn't fit: what breaks beside the others, and what would help."""
    told = []
    choice = fit.found[0].choice if fit.found and fit.kept else None
    for slab in fit.left:
        best = beside(day, fit.kept, choice, slab)
        together = day.only(sorted([*fit.kept, slab]))
        reason = "nobody is left for it" if best is None else reason_of(together, best)
        reason = reason.replace(f"{day.slabs[slab].pour_id}: ", "")
        others = [day.slabs[i].pour_id for i in fit.kept]
        before = f"beside {', '.join(others)}: " if others else ""
        if any(reason.startswith(f"{name}: ") for name in others):
            before = "beside it "
        after = ""
        if few_vehicles(day) and "fetched" not in reason:
            after = "; nobody is dropped off and fetched in a plan"
        told.append(
            {
                "pour_id": day.slabs[slab].pour_id,
                "reason": f"{before}{reason}; {remedy(day, fit.kept, choice, slab)}{after}",
            }
        )
    return told

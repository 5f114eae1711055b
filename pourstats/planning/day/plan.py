"""Jobs, forecast and record in; the plan of each day out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from pourstats.faults import Refusal
from pourstats.learning.clock.conditions import number, words
from pourstats.learning.hours import hours_frame, hours_model
from pourstats.planning.day import sofar
from pourstats.planning.day.advice import runner_up, watch, why
from pourstats.planning.day.asked import USUAL_HANDS
from pourstats.planning.day.care import care
from pourstats.planning.day.choice import Day
from pourstats.planning.day.fetching import few_vehicles, nobody_fetched
from pourstats.planning.day.fitting import Fit, beside, fitting
from pourstats.planning.day.mornings import clock_text
from pourstats.planning.day.people import hands_lately, logged_week, monday_of, people_on
from pourstats.planning.day.rules import Rules, rules_of
from pourstats.planning.day.search import RUNS, lacking
from pourstats.planning.day.sheet import sheet
from pourstats.planning.day.slabs import slabs_of
from pourstats.planning.day.too_much import too_much
from pourstats.planning.day.unplanned import reason_of, remedy
from pourstats.planning.finishing import (
    SAW_WORDS,
    clock_before,
    saw_words,
    started,
    whole_weather,
)  # fmt: skip
from pourstats.planning.forecast_faults import lender
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
    most = int(np.nanmax([0.0, *number(jobs, "hands")]))
    unnamed = max(most, hands_lately(frames.get("pours"), USUAL_HANDS + 1))
    planned_h: dict[tuple[pd.Timestamp, str], float] = {}
    for date in sorted(set(dates)):
        own = jobs[dates == date].reset_index(drop=True)
        people, said = people_on(frames, rules_given, date, off, unnamed)
        rules = rules_of(rules_given, len(people))
        slabs = slabs_of(
            own,
            weather,
            fitted,
            learned,
            model,
            frames,
            rules_given,
            rules,
            seed,
            DRAWS,
            min(USUAL_HANDS, max(len(people), 1)),
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
    further = [*forecast_notes(forecast_weather, jobs), *saw_notes(jobs, frames.get("pours"))]
    notes += [line for line in further if line not in notes]
    return {
        "days": days,
        "rests_on": "published values" if fitted.pours == 0 else "your pours",
        "pours": fitted.pours,
        "notes": notes,
        "now": None if now is None else f"{pd.Timestamp(now):%Y-%m-%dT%H:%M}",
    }


def forecast_notes(forecast: pd.DataFrame | None, jobs: pd.DataFrame) -> list[str]:
    """What the forecast lacks: a job's site, its day, or the afternoon of that day."""
    if forecast is None or not len(forecast):
        return []
    notes, ending = [], []
    sites = forecast["site"].astype(str)
    for row in range(len(jobs)):
        job = jobs.iloc[row]
        site, name, day = str(job["site"]), str(job["pour_id"]), pd.Timestamp(job["date"])
        if not (sites == site).any():
            lent = lender(forecast)
            notes.append(f"The forecast has no rows for site {site}: that of {lent} stands in.")
            site = lent
        times = pd.to_datetime(forecast["time"][sites == site])
        if times.max() < day or times.min() >= day + pd.Timedelta(days=1):
            notes.append(
                f"The forecast isn't for {day:%b} {day.day}, {day.year}, the day of {name}: a mild"
                " day is assumed, and the doubt is wide."
            )
        elif times.max() < day + pd.Timedelta(hours=12):
            ending.append(name)
    if ending:
        notes.append(
            f"The forecast ends before noon of {', '.join(ending)}: its last hours are held on."
        )
    return notes


def saw_notes(jobs: pd.DataFrame, pours: pd.DataFrame | None) -> list[str]:
    """How slabs are taken to be sawn whose order doesn't say, a line a way."""
    assumed: dict[str, list[str]] = {}
    for name, said, sawn in zip(
        jobs["pour_id"], words(jobs, "saw_type"), saw_words(jobs, pours), strict=True
    ):
        if not said:
            assumed.setdefault(sawn, []).append(str(name))
    return [
        f"{', '.join(names)}: the order doesn't say how it is sawn, {SAW_WORDS[sawn]} is assumed."
        for sawn, names in assumed.items()
    ]


def tight_notes(day: Day, slabs: Iterable[int]) -> list[str]:
    """Starts agreed on for when the forms can't be set yet, as the site opens too late."""
    notes = []
    for one in (day.slabs[slab] for slab in slabs):
        if one.fixed is None or one.early is None or one.wet:
            continue
        set_at = one.early + one.set_up_allowed_h
        if set_at > one.fixed + 1.0 / 6.0:
            notes.append(
                f"{one.pour_id}: the site opens at {clock_text(one.early)}, so the forms are set at"
                f" {clock_text(set_at)} and the load agreed for {clock_text(one.fixed)} waits: have"
                " the forms set the day before, or agree on a later load."
            )
    return notes


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
    told["notes"] = [*said, *tight_notes(day, places), *(known.notes if known else ())]
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

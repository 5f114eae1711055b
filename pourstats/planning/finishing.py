"""The finishing clock of jobs ahead: first pass, later passes, saw window, cautions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.faults import Refusal
from pourstats.learning import clock
from pourstats.learning.clock import saw
from pourstats.learning.clock.conditions import SKY_ASSUMED, Conditions, hours, number, words
from pourstats.learning.draws import LEVELS, plain, quantiles
from pourstats.planning.cautions import ALWAYS, cautions
from pourstats.planning.forecast_faults import forecast_faults, lender
from pourstats.planning.slab_weather import drying, slab_met
from pourstats.science import setting
from pourstats.science.air import celsius
from pourstats.settings import RULES

Array = NDArray[np.float64]

FRAMES = ("pours", "passes", "trucks", "weather", "sites", "crew_time")
"""What the store must read for a finishing clock, by name."""

USUAL_START = "07:00"
SAW_FT_H = {"early_entry": 220.0, "conventional": 150.0, "handheld": 90.0}
"""Feet of joint an hour. Common practice, no source."""
SAW_WORDS = {"early_entry": "early entry", "conventional": "a wet saw", "handheld": "a handheld"}
FROZEN_MIN = 1440.0
"""A slab not ready within a day of placing freezes first; its hours are no forecast."""
FEW = 8
"""Below this many pours the clock says that it rests mostly on published values."""


def finishing(
    jobs: pd.DataFrame,
    forecast: pd.DataFrame | None,
    record: Mapping[str, pd.DataFrame] | None,
    house: Mapping[str, object] | None = None,
    seed: int = 0,
) -> dict[str, Any]:
    """What `pourstats finishing --json` prints, and what page and sheet draw.

    ``jobs`` are rows of the log table `jobs`, ``forecast`` rows of `weather`, both in house units;
    ``record`` the store's frames (:data:`FRAMES`), None without a store. Beside the promised keys a
    job has `place_start`, `first_pass` (DIST of times), `last_placed_end` (where placing takes more
    than an hour: when the end placed last takes the machine), `away_until`, `chance_finished`,
    `chance_sawn`, `crew_heat_index_f`, `based_on`, `notes`. Raises Refusal for no jobs.
    """
    if not len(jobs):
        raise Refusal("no jobs to time; give a file of jobs, or pour ids of the jobs table", 1)
    rules = dict(house or {})
    frames = record or {}
    jobs, start_notes = started(jobs.reset_index(drop=True), rules)
    fitted = clock_before(frames, jobs, rules, seed)
    weather = whole_weather(forecast, frames.get("weather"), jobs)
    cast = fitted.forecast(jobs, weather, seed=seed)
    sawn = saw_words(jobs, frames.get("pours"))
    methods = [_method(word) for word in sawn]
    opening, closing = saw.window_draws(cast, methods, fitted.cuts_earlier, seed)
    faults = forecast_faults(jobs, forecast, cast.first_h, cast.last_h, cast.conditions.told)
    dried = drying(jobs, weather, cast, rules, frames.get("sites"))
    saw_notes = _saw_notes(jobs, sawn)
    told = [
        _job(
            cast, row, opening, closing, dried, sawn[row], rules, weather,
            start_notes[row] + saw_notes[row] + faults[row],
        )
        for row in range(len(jobs))
    ]  # fmt: skip
    few = fitted.pours < FEW
    # Of the sky each job says it for itself.
    notes = [note for note in cast.conditions.notes if note != SKY_ASSUMED]
    if fitted.pours == 0:
        notes.append("No pours of your own yet: allow for doubt.")
    elif few:
        own = "one pour" if fitted.pours == 1 else f"{fitted.pours} pours"
        notes.append(f"Only {own} of your own: this rests mostly on published values.")
    return {
        "jobs": told,
        "rests_on": "published values" if fitted.pours == 0 else "your pours",
        "pours": fitted.pours,
        "notes": notes,
        "always": [dict(caution) for caution in ALWAYS],
    }


def clock_before(
    frames: Mapping[str, pd.DataFrame],
    jobs: pd.DataFrame,
    house: Mapping[str, object],
    seed: int = 0,
) -> clock.Clock:
    """The clock of the record, without the jobs themselves should they be poured already."""
    pours = frames.get("pours")
    if pours is not None and len(pours):
        pours = pours[~pours["pour_id"].isin(set(jobs["pour_id"]))]
    return clock.fit(
        pours,
        frames.get("passes"),
        frames.get("trucks"),
        frames.get("weather"),
        frames.get("sites"),
        house,
        seed,
        frames.get("crew_time"),
    )


def started(
    jobs: pd.DataFrame, house: Mapping[str, object] | None = None
) -> tuple[pd.DataFrame, list[list[str]]]:
    """Jobs with a place_start: the agreed one, else seven o'clock or when the site opens."""
    jobs = jobs.copy()
    notes: list[list[str]] = [[] for _ in range(len(jobs))]
    blank = pd.Series(pd.NaT, index=jobs.index)
    agreed = pd.to_datetime(jobs.get("place_start", blank))
    early = pd.to_datetime(jobs.get("earliest_start", blank))
    day = pd.to_datetime(jobs["date"]).dt.normalize()
    opens = str((house or {}).get("day_start") or RULES["day_start"].default)
    usual = day + pd.Timedelta(max(USUAL_START, opens) + ":00")
    assumed = usual.where(~(early > usual), early)
    for row in np.flatnonzero(agreed.isna()):
        notes[row].append(f"No start is agreed: first concrete at {assumed[row]:%H:%M} is assumed.")
    jobs["place_start"] = agreed.fillna(assumed).astype("datetime64[s]")
    return jobs, notes


def whole_weather(
    forecast: pd.DataFrame | None, measured: pd.DataFrame | None, jobs: pd.DataFrame
) -> pd.DataFrame | None:
    """The forecast, after what was measured at its sites before it (it warmed the ground).

    A site without a forecast is lent another's (:func:`forecast_faults.lender`).
    """
    if forecast is None or not len(forecast):
        return None
    parts = [forecast]
    for site in sorted(set(words(jobs, "site")) - set(words(forecast, "site"))):
        parts.append(forecast[forecast["site"] == lender(forecast)].assign(site=site))
    whole = pd.concat(parts, ignore_index=True) if len(parts) > 1 else forecast
    if measured is None or not len(measured):
        return whole
    first = measured["site"].map(whole.groupby("site")["time"].min())
    near = measured[(measured["time"] < first) & (measured["time"] > first - pd.Timedelta(days=3))]
    return pd.concat([near, whole], ignore_index=True) if len(near) else whole


def saw_words(jobs: pd.DataFrame, pours: pd.DataFrame | None) -> list[str]:
    """How each job is sawn: as ordered, else the crew's usual way, else conventional."""
    usual = "conventional"
    if pours is not None and "saw_type" in pours:
        known = pd.Series(words(pours, "saw_type"))
        known = known[~known.isin(["", "none", "tooled"])]
        if len(known):
            usual = str(known.mode().iloc[0])
    return [word or usual for word in words(jobs, "saw_type")]


def _saw_notes(jobs: pd.DataFrame, sawn: list[str]) -> list[list[str]]:
    """What is assumed of the saw, one list a job; empty where the order says."""
    return [
        [] if word else [f"The order doesn't say how it is sawn: {SAW_WORDS[usual]} is assumed."]
        for word, usual in zip(words(jobs, "saw_type"), sawn, strict=True)
    ]


def moment(hour: float) -> str | None:
    """A clock time `YYYY-MM-DDTHH:MM` from hours since 1970; None where unknown."""
    if not np.isfinite(hour):
        return None
    return str(np.datetime64(round(hour * 60.0), "m"))


def moments(draws: Array) -> dict[str, str | None]:
    """Quantiles of draws of hours since 1970, as clock times."""
    return {name: moment(float(value)) for name, value in quantiles(draws).items()}


def kept_numbers(result: Mapping[str, Any]) -> list[tuple[str, str, float | None, float]]:
    """What a forecast says, for the table `forecasts`: pour, target, quantile, value.

    Times are minutes since midnight of the day of place_start, `since_placed_min` minutes.
    """
    rows: list[tuple[str, str, float | None, float]] = []
    for job in result["jobs"]:
        midnight = np.datetime64(str(job["place_start"])[:10], "m")
        told = {
            "since_placed_min": job["since_placed_min"],
            "first_pass_min": _minutes(job["first_pass"], midnight),
            "last_pass_end_min": _minutes(job["last_pass_end"], midnight),
        }
        for target, distribution in told.items():
            for name, value in distribution.items():
                if value is not None:
                    rows.append((job["pour_id"], target, LEVELS[name], float(value)))
    return rows


def _minutes(distribution: Mapping[str, str | None], midnight: Any) -> dict[str, float | None]:
    return {
        name: None if time is None else float((np.datetime64(time, "m") - midnight).astype(int))
        for name, time in distribution.items()
    }


def _method(word: str) -> saw.Method | None:
    if word in ("none", "tooled", ""):
        return None
    return "early_entry" if word == "early_entry" else "conventional"


def _job(
    cast: clock.Forecast,
    row: int,
    opening: Array,
    closing: Array,
    dried: tuple[Array, Array, Conditions],
    sawn: str,
    house: Mapping[str, Any],
    weather: pd.DataFrame | None,
    notes: list[str],
) -> dict[str, Any]:
    job, method = cast.jobs.iloc[row], _method(sawn)
    first, last = cast.first_h[row], cast.last_h[row]
    passes = []
    for number_ in range(1, cast.pass_start_h.shape[2] + 1):
        chance = float(np.mean(cast.count[row] >= number_))
        if chance < 0.5:
            break
        start = cast.pass_start_h[row, :, number_ - 1]
        passes.append({"pass_no": number_, "chance": round(chance, 3), "start": moments(start)})
    day_end = _day_end(job, house)
    window: dict[str, str | None] = {
        "saw_open": None,
        "saw_open_p90": None,
        "saw_close": None,
        "saw_close_p10": None,
    }
    chance_sawn = None
    if method is not None:
        ends = quantiles(opening[row]), quantiles(closing[row])
        window = {
            "saw_open": moment(float(ends[0]["p50"])),
            "saw_open_p90": moment(float(ends[0]["p90"])),
            "saw_close": moment(float(ends[1]["p50"])),
            "saw_close_p10": moment(float(ends[1]["p10"])),
        }
        chance_sawn = round(float(np.mean(opening[row] + _saw_h(job, sawn) <= day_end)), 3)
    mean, most, found = dried
    slab, index = slab_met(cast, row, dried, sawn, house, weather)
    long = float(np.median((cast.place_end_h[row] - hours([job["place_start"]])[0]) * 60)) > 60
    away = float(quantiles(first)["p10"])
    kind = str(job.get("slab_type") or "")
    if float(np.median(cast.since_placed_min[row])) > FROZEN_MIN:
        cold = f"Left open it cools to {cast.science.slab_f[row]:.0f} °F"
        notes = [
            f"{cold} and freezes before it takes a machine: the hours above are no forecast.",
            *notes,
        ]
    return {
        "pour_id": str(job["pour_id"]),
        "site": None if pd.isna(job.get("site")) else str(job["site"]),
        "place_start": moment(float(hours([job["place_start"]])[0])),
        "place_end": moment(float(np.median(cast.place_end_h[row]))),
        "since_placed_min": plain(quantiles(cast.since_placed_min[row]), 1),
        "first_pass": moments(first),
        "last_placed_end": moments(cast.last_end_ready_h[row]) if long else None,
        "away_until": moment(away),
        "passes": passes,
        "last_pass_end": moments(last),
        "saw": None if method is None else method,
        **window,
        "day_end": moment(day_end),
        "chance_finished": round(float(np.mean(last <= day_end)), 3),
        "chance_sawn": chance_sawn,
        "evaporation_lb_ft2_h": {"mean": _rounded(mean[row], 3), "max": _rounded(most[row], 3)},
        "set_h": _set(float(cast.science.day_f[row])),
        "slab_temp_f": _rounded(float(cast.science.slab_f[row]), 0),
        "crew_heat_index_f": _rounded(index, 0) if found.told[row] > 0 else None,
        "cautions": cautions(slab),
        "based_on": {
            "pours": cast.clock.pours,
            "same_slab_type": cast.clock.by_kind.get(kind, 0),
            "saw_cuts": 0 if method is None else cast.clock.cuts.get(method, 0),
            "published_h": {"50F": 4.25, "70F": 2.75, "90F": 1.75},
        },
        "notes": notes,
    }


def _day_end(job: pd.Series[Any], house: Mapping[str, Any]) -> float:
    latest = job.get("latest_end")
    if latest is not None and pd.notna(latest):
        return float(hours([latest])[0])
    text = str(house.get("day_end") or RULES["day_end"].default)
    day = pd.Timestamp(job["place_start"]).normalize()
    return float(hours([day + pd.Timedelta(text + ":00")])[0])


def _saw_h(job: pd.Series[Any], sawn: str) -> float:
    """Hours of sawing: the ordered length, else joints both ways at thirty thicknesses."""
    one = pd.DataFrame([job])
    area, thick = number(one, "area", 1000.0)[0], number(one, "thickness", 4.0)[0]
    spacing = min(thick * 30.0 / 12.0, 15.0)
    length = number(one, "saw_length", 2.0 * area / spacing)[0]
    return float(length / SAW_FT_H[sawn])


def _set(slab_f: float) -> dict[str, float | None]:
    """C403 set from batching at a slab temperature, plain mix, beside the trade's printed table."""
    temp_c = celsius(slab_f)
    return {
        "at_f": _rounded(slab_f, 0),
        "initial": _rounded(float(setting.initial_set_h(temp_c)), 1),
        "final": _rounded(float(setting.final_set_h(temp_c)), 1),
        "printed": _rounded(float(setting.printed_set_h(slab_f)), 1),
    }


def _rounded(value: float, digits: int) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None

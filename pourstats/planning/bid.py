"""The bid: hours and price of jobs ahead, with doubt, reasons and the floors behind them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pourstats.faults import Refusal
from pourstats.learning.callbacks import record
from pourstats.learning.draws import plain, quantiles
from pourstats.learning.hours import (
    Driver,
    HoursDraws,
    HoursModel,
    Outside,
    drivers,
    hours_frame,
    hours_model,
    outside,
    similar,
)
from pourstats.learning.hours.features import Array, numbers, words
from pourstats.learning.hours.structure import PARTS
from pourstats.logs.cell import Reading
from pourstats.logs.cells import read_cell
from pourstats.logs.tables import TABLES
from pourstats.planning import bid_lines
from pourstats.planning.bid_air import early_evaporation_lb_ft2_h, with_air
from pourstats.planning.bid_price import HourCost, Price, hour_cost, price_of, rule
from pourstats.planning.bid_week import weeks_added
from pourstats.planning.callback_cost import job_callbacks

CALLBACK_FRAMES = tuple(name for name in record.FRAMES if name != "crew_time")
"""What the risk of coming back is told from."""

FRAMES = tuple(dict.fromkeys(("pours", "bids", "pour_output", "pour_weather", *CALLBACK_FRAMES)))
"""What the store must read for a bid, by name."""

PART_NAMES = {
    "fixed": "set_up_and_clean_up", "place": "place", "finish": "finish", "wait": "wait",
    "saw": "saw",
}  # fmt: skip


def bid(
    jobs: pd.DataFrame,
    record: Mapping[str, pd.DataFrame] | None,
    house: Mapping[str, object],
    confidence: float | None = None,
    forecast: pd.DataFrame | None = None,
    sets: Mapping[str, str] | None = None,
    seed: int = 0,
) -> dict[str, Any]:
    """What each job will take and what to ask for it.

    ``jobs`` are rows of the log table `jobs` in house units; ``record`` the store's frames
    (:data:`FRAMES`), None without a store; ``forecast`` rows of `weather`. ``confidence`` is the
    share of such jobs that stay within hours and cost; None takes the house's. ``sets`` is a
    what-if: columns of `jobs` and the text to put there; each job then has a `what_if` beside it.

    Raises Refusal for no jobs, a confidence outside 0 to 1, or a what-if that can't be read.
    """
    if not len(jobs):
        raise Refusal("no jobs to bid; give a file of jobs, or pour ids of the jobs table", 1)
    wanted = rule(house, "confidence") if confidence is None else confidence
    if wanted is None or not 0.01 <= wanted <= 0.99:
        raise Refusal(f"confidence {wanted} is not between 0.01 and 0.99; 0.7 is seven in ten")
    frames = record or {}
    jobs, notes = with_air(_peopled(jobs.reset_index(drop=True)), forecast)
    model = model_before(frames, jobs)
    rates = [hour_cost(frames, house, day) for day in jobs["date"]]
    drawn = model.draws(jobs, seed=seed)
    dried = early_evaporation_lb_ft2_h(jobs, forecast, frames.get("sites"), house)
    told = _told(model, jobs, drawn, frames, house, rates, wanted, dried)
    if sets:
        changed, _ = with_air(_changed(jobs, sets), forecast)
        other_drawn = model.draws(changed, seed=seed)
        dried = early_evaporation_lb_ft2_h(changed, forecast, frames.get("sites"), house)
        other = _told(model, changed, other_drawn, frames, house, rates, wanted, dried)
        for row, entry in enumerate(told):
            more = quantiles(other_drawn.labor_h[row] - drawn.labor_h[row])
            entry["what_if"] = {
                "set": dict(sets),
                **other[row],
                "more_labor_h": plain(more),
                "more_usd": _difference(other[row]["price_usd"], entry["price_usd"]),
            }
    answer: dict[str, Any] = {
        "jobs": told,
        "confidence": wanted,
        "rests_on": "published rates" if model.pours == 0 else "pours",
        "pours": model.pours,
        "notes": notes + _notes(model, rates, told),
    }
    if len(jobs) > 1:
        usd_h = [rate.usd_h for rate in rates]
        weeks = weeks_added(jobs, model.design(jobs)[1], drawn, usd_h, house)
        answer["together"] = {**_together(drawn, told, wanted), "weeks": weeks}
    return answer


def model_before(frames: Mapping[str, pd.DataFrame], jobs: pd.DataFrame) -> HoursModel:
    """The hours model of the record, without the jobs themselves should they be poured already."""
    frame = hours_frame(frames)
    if len(frame):
        frame = frame[~frame["pour_id"].isin(set(jobs["pour_id"]))]
    return hours_model(frame)


def _peopled(jobs: pd.DataFrame) -> pd.DataFrame:
    """The jobs with hands of nobody as blank: not known yet who comes."""
    known = {
        name: pd.to_numeric(jobs[name], errors="coerce")
        for name in ("hands", "finish_hands") if name in jobs
    }  # fmt: skip
    return jobs.assign(**{name: hands.where(hands > 0) for name, hands in known.items()})


def _changed(jobs: pd.DataFrame, sets: Mapping[str, str]) -> pd.DataFrame:
    """The jobs with the what-if's columns set, each read as a cell of the jobs table would be."""
    changed = jobs.copy()
    for name, text in sets.items():
        if name in bid_lines.BOUGHT:
            changed[name] = _dollars(name, text)
            continue
        if name not in TABLES["jobs"].names or name in ("pour_id", "date", "site"):
            takes = ", ".join(
                c
                for c in (*TABLES["jobs"].names, *bid_lines.BOUGHT)
                if c not in ("pour_id", "date", "site")
            )
            raise Refusal(f"--set {name}: jobs have no such column to set; it takes {takes}")
        cell = read_cell(text, TABLES["jobs"].column(name), Reading())
        if cell.fault is not None:
            choices = TABLES["jobs"].column(name).choices
            listed = not choices or "use one of" in cell.fault
            takes = "" if listed else f" It takes {', '.join(choices)}"
            raise Refusal(f"--set {name}={text}: {cell.fault}{takes}")
        nobody = isinstance(cell.value, int | float) and cell.value < 1
        if name in ("hands", "finish_hands") and nobody:
            raise Refusal(f"--set {name}={text}: nobody would be there; give 1 or more")
        if isinstance(cell.value, str):
            changed[name] = pd.Series([cell.value] * len(changed), dtype=object)
        else:
            changed[name] = pd.Series([cell.value] * len(changed))
    return changed


def _dollars(name: str, text: str) -> float:
    try:
        usd = float(text.replace("$", "").replace(",", ""))
    except ValueError:
        usd = float("nan")
    if not np.isfinite(usd) or usd < 0:
        raise Refusal(f"--set {name}={text}: not a number of dollars")
    return usd


def _told(
    model: HoursModel,
    jobs: pd.DataFrame,
    drawn: HoursDraws,
    frames: Mapping[str, pd.DataFrame],
    house: Mapping[str, object],
    rates: list[HourCost],
    confidence: float,
    dried: Array | None,
) -> list[dict[str, Any]]:
    """One entry a job, in the contract's shape and what stands beside it."""
    f = model.design(jobs)[1]
    called = _called(jobs, frames, house, dried)
    usd_h = [rate.usd_h for rate in rates]
    beside = bid_lines.lines_beside_labor(frames, jobs, f, drawn, usd_h, called, house)
    why, like, away = drivers(model, jobs), similar(model, jobs), outside(model, jobs)
    told = []
    for row in range(len(jobs)):
        labor = drawn.labor_h[row]
        cost = cost_draws(labor, rates[row].usd_h, beside[row])
        price = None if cost is None else price_of(cost, confidence, house)
        told.append(
            {
                "pour_id": str(jobs["pour_id"].iloc[row]),
                "labor_h": plain(quantiles(labor)),
                "crew_h": plain(quantiles(drawn.crew_h[row])),
                "price_usd": None if price is None else round(price.price, 2),
                "bid_hours": round(float(np.quantile(labor, confidence)), 4),
                "based_on": {
                    "pours": model.pours,
                    "similar": [str(model.seen["pour_id"].iloc[place]) for place in like[row]],
                },
                "long_day": _long_day(drawn.crew_h[row], house),
                "mean_labor_h": round(float(labor.mean()), 4),
                "parts_h": {
                    PART_NAMES[part]: round(float(hours), 2)
                    for part, hours in zip(PARTS, _parts_h(drawn, row), strict=True)
                },
                "cost_usd": None if cost is None else plain(quantiles(cost), 2),
                "price_lines": None if price is None else _price_lines(
                    price, float(labor.mean()), rates[row], confidence
                ),
                "lines": [bid_lines.as_json(line) for line in beside[row]],
                "callbacks": called[row] if called else None,
                "labor_cost_usd_h": _rounded(rates[row].usd_h),
                "labor_cost_from": rates[row].source,
                "drivers": [_driver(driver) for driver in why[row]],
                "similar": [_similar(model, place) for place in like[row]],
                "outside": [_outside(item) for item in away[row]],
                "area_ft2": float(f.area_ft2[row]),
                "plan_yd3": round(float(f.volume_yd3[row]), 2),
                "bid_hours_per_100ft2": round(
                    float(np.quantile(labor, confidence) / f.area_ft2[row] * 100.0), 3
                ),
                "price_usd_per_ft2": None
                if price is None
                else round(price.price / float(f.area_ft2[row]), 2),
            }
        )  # fmt: skip
    return told


def _parts_h(drawn: HoursDraws, row: int) -> Array:
    """The mean hours of each part: what a day's luck adds, on average, falls on all alike."""
    parts = drawn.parts_h[row]
    return np.asarray(parts * (drawn.labor_h[row].mean() / parts.sum()))


def _called(
    jobs: pd.DataFrame,
    frames: Mapping[str, pd.DataFrame],
    house: Mapping[str, object],
    dried: Array | None,
) -> list[dict[str, Any]]:
    """What coming back may cost on each job; empty without what it is told from.

    ``dried`` is the forecast's evaporation, one a job (lb/ft2/h), None without a forecast.
    """
    if any(name not in frames for name in CALLBACK_FRAMES):
        return []
    return job_callbacks(jobs, frames, house, None if dried is None else list(dried))


def _long_day(crew_h: Array, house: Mapping[str, object]) -> dict[str, float]:
    """The chance that the clock runs past the hours after which overtime is paid."""
    limit = bid_lines.overtime_after_h(house)
    return {"after_h": limit, "chance": round(float((crew_h > limit).mean()), 3)}


def cost_draws(labor: Array, usd_h: float | None, beside: list[bid_lines.Line]) -> Array | None:
    """Direct cost of a job in every draw, USD: its hours at cost and the lines beside them."""
    if usd_h is None:
        return None
    total = labor * usd_h
    for line in beside:
        if line.usd is not None:
            total = total + (line.usd if line.draws is None else line.draws)
    return np.asarray(total)


def _price_lines(price: Price, hours: float, rate: HourCost, confidence: float) -> dict[str, Any]:
    return {
        "labor_usd": round(hours * (rate.usd_h or 0.0), 2),
        "mean_cost_usd": round(price.mean_cost, 2),
        "contingency_usd": round(price.contingency, 2),
        "overhead_usd": round(price.overhead, 2),
        "margin_usd": round(price.margin, 2),
        "margin_share": round(price.margin_share, 4),
        "markup_share": round(price.margin / (price.price - price.margin), 4)
        if price.price > price.margin
        else None,
        "raised_to_minimum_job": price.raised_to_minimum,
        "confidence": confidence,
    }


def _driver(driver: Driver) -> dict[str, Any]:
    return {
        "column": driver.column,
        "has": driver.has if isinstance(driver.has, str) else round(driver.has, 2),
        "usual": driver.usual if isinstance(driver.usual, str) else round(driver.usual, 2),
        "hours": round(driver.hours, 2),
    }


def _outside(item: Outside) -> dict[str, Any]:
    return {
        "column": item.column, "has": item.has, "low": item.low, "high": item.high,
        "pours": item.pours,
    }  # fmt: skip


SHOWN = ("slab_type", "area", "thickness", "placement", "finish", "lead", "hours_from")


def _similar(model: HoursModel, place: int) -> dict[str, Any]:
    row = model.seen.iloc[[place]]
    entry: dict[str, Any] = {
        "pour_id": str(row["pour_id"].iloc[0]),
        "date": pd.Timestamp(row["date"].iloc[0]).date().isoformat(),
    }
    for name in SHOWN:
        if name in row:
            value = row[name].iloc[0]
            entry[name] = (
                None if pd.isna(value) else value.item() if hasattr(value, "item") else value
            )
    labor, crew = float(numbers(row, "labor_h")[0]), float(numbers(row, "crew_h")[0])
    read = float(numbers(row, "read_h")[0])
    entry["labor_h"] = round(labor, 2)
    entry["read_h"] = round(read, 2)
    entry["crew_h"] = None if np.isnan(crew) else round(crew, 2)
    entry["labor_h_per_100ft2"] = round(read / float(numbers(row, "area")[0]) * 100.0, 3)
    return entry


def _together(drawn: HoursDraws, told: list[dict[str, Any]], confidence: float) -> dict[str, Any]:
    """All jobs as one distribution: what they share (rates, crew level) is the same in each draw,
    so the total is wider than if they were strangers; quantiles are not added.
    """
    total = drawn.labor_h.sum(axis=0)
    priced = all(entry["price_usd"] is not None for entry in told)
    return {
        "jobs": len(told),
        "labor_h": plain(quantiles(total)),
        "mean_labor_h": round(float(total.mean()), 4),
        "bid_hours": round(float(np.quantile(total, confidence)), 4),
        "sum_of_bid_hours": round(sum(entry["bid_hours"] for entry in told), 4),
        "price_usd": round(sum(entry["price_usd"] for entry in told), 2) if priced else None,
    }


def _notes(model: HoursModel, rates: list[HourCost], told: list[dict[str, Any]]) -> list[str]:
    notes = []
    if model.pours == 0:
        notes.append(
            "no pours with hours are logged yet: this rests on published labor rates, which differ"
            " threefold from one handbook to the next, and on common practice"
        )
    elif model.pours < 12:
        notes.append(f"only {model.pours} pours are logged: published rates still weigh in")
    if model.pours and not (words(model.seen, "hours_from").astype(str) == "crew_time").any():
        notes.append(
            "your hours are known by head count only, which reads a little high as a rule, by how"
            " much your record can't tell: log each person's hours (crew_time) on some pours"
        )
    source = rates[0].source
    if source == "none":
        notes.append(
            "no price: nobody's pay is known; `pourstats settings default_pay 30`, or a crew table"
        )
    elif source == "bids":
        notes.append(
            "an hour is taken to cost what the latest bid charged for it; if overhead and margin"
            " were in that rate they are counted twice; set default_pay or labor_cost"
        )
    if len(told) == 1 and any(line["line"] == "overtime" for line in told[0]["lines"]):
        notes.append(
            "overtime is that of the job's own day; bid a week's jobs together to see what the"
            " week adds to it"
        )
    if any(entry["outside"] for entry in told):
        notes.append("some jobs lie outside what the crew has done; their ranges are wider for it")
    return notes


def _difference(other: float | None, own: float | None) -> float | None:
    return None if other is None or own is None else round(other - own, 2)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)

"""Why a job takes what it takes: what sets it apart from the crew's usual job, in hours; the past
pours most like it; and whether it lies outside what the crew has ever done.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.hours.features import (
    Array,
    days,
    features,
    numbers,
    words,
)
from pourstats.learning.hours.model import HoursModel
from pourstats.logs.tables import OUTDOOR_TYPES

SMALLEST_DRIVER_H = 0.1

CHOSEN = ("placement", "finish", "reinforcement", "base", "exposure", "saw_type", "lead")
FEW = 3
"""Pours of a kind from which it no longer counts as new to the crew."""


@dataclass(frozen=True)
class Driver:
    """One thing that sets a job apart: what the job has, what is usual, and the hours between."""

    column: str
    has: str | float
    usual: str | float
    hours: float


@dataclass(frozen=True)
class Outside:
    """One way in which a job lies outside the record: its value, and the record's bounds."""

    column: str
    has: str | float
    low: float | None
    high: float | None
    pours: int
    """Pours like it in this respect."""


def drivers(model: HoursModel, jobs: pd.DataFrame) -> list[list[Driver]]:
    """For each job, what sets it apart from the crew's usual, biggest first.

    Hours are the change of a middling day if only that one thing were as usual. Usual is the most
    frequent in the record, for the same slab type where it was poured often enough; without a
    record a chute, no steel, a broom outside, a trowel inside and nothing sawn.
    """
    versions, labels = [], []
    for row in range(len(jobs)):
        one = jobs.iloc[[row]]
        usual = usual_of(model, one)
        for column, value in usual.items():
            has = _has(model, one, column)
            if has is None or has == value:
                continue
            changed = one.copy()
            if column in changed and isinstance(value, str):
                changed[column] = changed[column].astype(object)
            changed[column] = value
            versions.append(changed)
            labels.append((row, column, has, value))
    found: list[list[Driver]] = [[] for _ in range(len(jobs))]
    if not versions:
        return found
    as_is = model.expected_h(jobs)
    turned = model.expected_h(pd.concat(versions, ignore_index=True))
    for (row, column, has, value), hours in zip(labels, turned, strict=True):
        gap = float(as_is[row] - hours)
        if abs(gap) >= SMALLEST_DRIVER_H:
            found[row].append(Driver(column, has, value, gap))
    return [sorted(own, key=lambda driver: -abs(driver.hours)) for own in found]


def usual_of(model: HoursModel, one: pd.DataFrame) -> dict[str, str | float]:
    """What is usual for a job like this one, column by column."""
    kind = str(words(one, "slab_type")[0])
    seen = model.seen
    own = seen[words(seen, "slab_type") == kind] if len(seen) else seen
    like = own if len(own) >= FEW else seen
    outdoor = kind in OUTDOOR_TYPES
    usual: dict[str, str | float] = {
        "placement": "chute", "finish": "broom" if outdoor else "trowel", "reinforcement": "none",
        "saw_type": "none",
    }  # fmt: skip
    for column in CHOSEN:
        cells = [str(cell) for cell in words(like, column) if cell != ""] if len(like) else []
        if cells:
            usual[column] = max(sorted(set(cells)), key=cells.count)
    thick = numbers(like, "thickness") if len(like) else np.array([4.0])
    usual["thickness"] = float(np.nanmedian(thick))
    f = features(one.drop(columns=["hands"], errors="ignore"), model.habit)
    usual["hands"] = float(np.round(f.hands[0], 1))
    middle = features(one.drop(columns=["air_temp_f"], errors="ignore"), model.habit)
    usual["air_temp_f"] = float(middle.air_temp_f[0])
    return usual


def _has(model: HoursModel, one: pd.DataFrame, column: str) -> str | float | None:
    """What the job has in a column; None where it is blank, or where hands are about as usual."""
    if column in ("thickness", "hands", "air_temp_f"):
        value = float(numbers(one, column)[0])
        if np.isnan(value) or (column == "hands" and value <= 0):
            return None
        if column == "hands":
            f = features(one.drop(columns=["hands"]), model.habit)
            return value if abs(value - f.hands[0]) >= 0.75 else None
        return value
    text = str(words(one, column)[0])
    return text or None


def similar(model: HoursModel, jobs: pd.DataFrame, count: int = 5) -> list[list[int]]:
    """For each job the positions in `model.seen` of the pours most like it, nearest first."""
    return most_like(model.seen, jobs, count) if model.pours else [[] for _ in range(len(jobs))]


ALIKE = {"slab_type": 1.0, "finish": 0.8, "placement": 0.6, "reinforcement": 0.2}
"""How much it counts that a pour differs in a column; a doubling of area counts 1."""


def most_like(seen: pd.DataFrame, jobs: pd.DataFrame, count: int = 5) -> list[list[int]]:
    """For each job the positions in ``seen`` of the pours most like it, nearest first.

    Nearness: a doubling of area, another slab type, finish or placement weigh about alike;
    thickness, steel and years since count less, a blank three quarters of a difference.
    """
    size, thick = np.log2(numbers(seen, "area")), np.log(numbers(seen, "thickness"))
    own_size, own_thick = np.log2(numbers(jobs, "area")), np.log(numbers(jobs, "thickness"))
    then, now = days(seen), days(jobs)
    codes = {}
    for name in ALIKE:
        both = np.concatenate([words(seen, name), words(jobs, name)])
        number, cells = pd.factorize(both)
        blank = np.array([cell == "" for cell in cells], dtype=bool)[number]
        codes[name] = (number[: len(seen)], blank[: len(seen)], number[len(seen) :],
                       blank[len(seen) :])  # fmt: skip
    found = []
    for row in range(len(jobs)):
        away: Array = (size - own_size[row]) ** 2 + 4.0 * (thick - own_thick[row]) ** 2
        for name, weight in ALIKE.items():
            theirs, empty, own, own_empty = codes[name]
            unlike = np.where(empty | own_empty[row], 0.75, theirs != own[row])
            away = away + weight * np.asarray(unlike, dtype=float)
        away = away + 0.1 * np.maximum(now[row] - then, 0.0) / 365.25
        if count == 1:
            found.append([int(np.argmin(away))])
        else:
            found.append([int(place) for place in np.argsort(away, kind="stable")[:count]])
    return found


def outside(model: HoursModel, jobs: pd.DataFrame) -> list[list[Outside]]:
    """For each job, in what it lies outside the crew's record; empty lists without a record."""
    found: list[list[Outside]] = [[] for _ in range(len(jobs))]
    if not model.pours:
        return found
    for row in range(len(jobs)):
        one = jobs.iloc[[row]]
        for column in ("area", "thickness", "hands"):
            seen, value = numbers(model.seen, column), float(numbers(one, column)[0])
            blank = np.isnan(value) or (column == "hands" and value <= 0)
            if blank or np.isnan(seen).all():
                continue
            low, high = float(np.nanmin(seen)), float(np.nanmax(seen))
            if not low <= value <= high:
                found[row].append(Outside(column, value, low, high, 0))
        for column in ("slab_type", "placement", "finish", "lead"):
            text = str(words(one, column)[0])
            cells = words(model.seen, column)
            if text == "" or (cells == "").all():
                continue
            count = int((cells == text).sum())
            if count < (1 if column == "lead" else FEW):
                found[row].append(Outside(column, text, None, None, count))
    return found


def air_of(forecast: pd.DataFrame, site: Any, start: pd.Timestamp, hours: float) -> float:
    """Mean air temperature (degF) of a forecast at a site over a stretch of the day.

    Linear between readings; NaN if the forecast has no reading of the site that day.
    """
    own = forecast[words(forecast, "site") == str(site)].sort_values("time")
    if not len(own):
        return float("nan")
    at = (pd.to_datetime(own["time"]) - start) / pd.Timedelta(hours=1)
    clock = np.asarray(at, dtype=float)
    if clock.max() < 0.0 or clock.min() > hours:
        return float("nan")
    return float(np.interp(np.linspace(0.0, hours, 13), clock, numbers(own, "air_temp")).mean())

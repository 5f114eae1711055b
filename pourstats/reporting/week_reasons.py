"""Why a floor stood out: the log's own word first, else what the log makes likely."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pourstats.learning.control import LEAST_FOR_RANGE, UsualRange
from pourstats.reporting.week_figures import column

COLD_F, HOT_F = 50.0, 90.0
"""Air that slows or hurries the set enough to be named as a likely reason (common practice)."""
EXPLAINS = 0.2
"""An inferred reason must account for at least this share of the hours over."""
LATE_ON_MIN = 15.0
OVERRUN_PCT = 10.0


def number(pour: pd.Series[Any], name: str) -> float:
    """A cell of a pour as a float, NaN where it is blank or missing."""
    value = pour.get(name, np.nan)
    return float(value) if pd.notna(value) else float("nan")


def known(value: float) -> float:
    """The value, or 0 where it is unknown."""
    return value if np.isfinite(value) else 0.0


def words_of(cell: object) -> list[str]:
    """The words of a ``;``-separated cell."""
    return [w.strip() for w in cell.split(";") if w.strip()] if isinstance(cell, str) else []


@dataclass(frozen=True)
class Crew:
    """What the earlier pours say of this crew."""

    base: pd.DataFrame
    usual: Mapping[str, UsualRange | None]
    learned: Mapping[str, float]
    age_limit_min: float | None


def reason(
    pour: pd.Series[Any],
    judged: pd.Series[Any],
    crew: Crew,
    trouble: list[str],
    over_h: float,
) -> dict[str, Any]:
    """The log's own word first; else what accounts for most of the hours over, called likely."""
    if trouble:
        return {"source": "log", "words": trouble, "hours": None, "value": None}
    held_up = words_of(pour.get("held_up"))
    if held_up and number(pour, "on_late_min") >= LATE_ON_MIN:
        said = [f"held_up_{word}" for word in held_up]
        return {"source": "log", "words": said, "hours": None, "value": None}
    accounted = _accounted(pour, judged, crew.usual, crew.learned)
    word, (explained, value) = max(accounted.items(), key=lambda item: item[1][0])
    if over_h > 0.0 and explained >= max(1.0, EXPLAINS * over_h):
        return {
            "source": "likely",
            "words": [word],
            "hours": float(min(explained, over_h)),
            "value": None if value is None else float(value),
        }
    return {"source": None, "words": [], "hours": None, "value": None}


def _accounted(
    pour: pd.Series[Any],
    judged: pd.Series[Any],
    usual: Mapping[str, UsualRange | None],
    learned: Mapping[str, float],
) -> dict[str, tuple[float, float | None]]:
    """Labor-hours that each thing seen in the log can account for, and the number that shows it."""
    people = known(number(pour, "hands")) or 1.0
    finishers = known(number(pour, "finish_hands")) or people
    starved = known(number(pour, "starved_min"))
    concrete = known(number(pour, "wait_concrete_h"))
    found: dict[str, tuple[float, float | None]] = {
        "waiting_on_concrete": (max(starved / 60.0 * people, concrete), starved or None),
        "waiting_on_others": (known(number(pour, "wait_others_h")), None),
        "waiting_on_weather": (known(number(pour, "wait_weather_h")), None),
    }
    spread = usual["first_pass_min"]
    first = number(pour, "first_pass_min")
    if spread is not None and first > spread.high:
        slow_set = (first - spread.middle) / 60.0 * finishers
        air = number(pour, "air_temp_f")
        found["cold_set" if air < COLD_F else "slow_set"] = (
            slow_set,
            air if air < COLD_F else None,
        )
    more_passes = usual["passes"]
    passes = number(pour, "passes")
    if more_passes is not None and passes > more_passes.high:
        finish_h = known(number(pour, "finish_labor_h")) or judged["labor_h"] / 2.0
        extra = passes - more_passes.middle
        found["more_passes"] = (finish_h * extra / passes, passes)
    overrun = number(pour, "overrun_pct")
    if overrun >= OVERRUN_PCT:
        placing = known(number(pour, "place_labor_h")) or judged["labor_h"] / 3.0
        found["more_concrete"] = (placing * overrun / (100.0 + overrun), overrun)
    for word, share in learned.items():
        if _applies(word, pour):
            found[word] = (share * judged["usual_h"], number(pour, "air_temp_f"))
    return found


def _applies(word: str, pour: pd.Series[Any]) -> bool:
    if word == "heat":
        return number(pour, "air_temp_f") >= HOT_F
    return number(pour, "day_pours") >= 2.0


def learned_effects(base: pd.DataFrame, ratios: pd.Series[Any]) -> dict[str, float]:
    """By what share heat, or two pours on a day, lengthened this crew's earlier floors.

    Only what the record bears out: at least eight floors with it and eight without, and a
    difference of over two standard errors.
    """
    logs = np.log(ratios)
    marks = {
        "heat": column(base, "air_temp_f").reindex(ratios.index) >= HOT_F,
        "two_pours_that_day": column(base, "day_pours").reindex(ratios.index) >= 2.0,
    }
    found = {}
    for word, mark in marks.items():
        with_it, without = logs[mark], logs[~mark]
        if min(len(with_it), len(without)) < LEAST_FOR_RANGE:
            continue
        gap = float(with_it.mean() - without.mean())
        error = float(np.sqrt(with_it.var() / len(with_it) + without.var() / len(without)))
        if gap > 2.0 * error:
            found[word] = float(np.expm1(gap))
    return found

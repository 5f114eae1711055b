"""What a day's jobs ask of their slabs before starts are chosen, and which starts there are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock import saw
from pourstats.learning.clock.conditions import hours, number, words
from pourstats.learning.hours import HoursModel
from pourstats.learning.unloading import Unloading
from pourstats.planning import trucks
from pourstats.planning.day.daylight import daylight
from pourstats.planning.day.mornings import level
from pourstats.planning.day.rules import Rules
from pourstats.planning.finishing import saw_words

Array = NDArray[np.float64]

USUAL_HANDS, USUAL_FINISHERS = 4, 1
SET_UP_SHARE = 0.7
"""Of set-up and clean-up, what comes before the concrete. Common practice, no source."""
TRAVEL_MIN = 20.0
LOADED_H = 10.0 / 60.0
"""From the plant's opening until a load leaves it. Common practice, no source."""
FORMS_SURE = 0.75
"""Share of mornings on which the forms are set when the first load is due. Common practice."""


@dataclass(frozen=True)
class Asked:
    """What is asked of a slab before a start is chosen: the job's row, hours and hours of the day,
    None where it doesn't say. Set-up and clean-up are draws."""

    row: pd.Series[Any]
    hands: float
    finish_hands: int
    travel_h: float
    plant_h: float
    """On the way from the plant."""
    early: float | None
    late: float | None
    agreed: float | None
    sunrise: float
    sunset: float
    outdoors: bool
    tool: str
    set_up_h: Array
    clean_h: Array
    order_yd3: float
    loads: int
    spacing_min: float

    @property
    def method(self) -> saw.Method | None:
        """How its joints are sawn."""
        if self.tool in ("none", "tooled", ""):
            return None
        return "early_entry" if self.tool == "early_entry" else "conventional"

    def plant_first(self, rules: Rules) -> float:
        """Earliest time at which a load can be there."""
        return rules.plant_open + LOADED_H + self.plant_h

    def plant_last(self, rules: Rules) -> float:
        """Latest time at which the first load can be there, so that the last one is still loaded
        before the plant closes."""
        behind = max(self.loads - 1, 0) * self.spacing_min / 60.0
        return rules.plant_close + LOADED_H + self.plant_h - behind

    def starts(self, rules: Rules) -> tuple[float, ...]:
        """Starts to choose from: the agreed one, else as soon as it can be and the half hours."""
        if self.agreed is not None:
            return (self.agreed,)
        set_up = level(self.set_up_h, FORMS_SURE)
        low = max(
            rules.day_start + self.travel_h + set_up,
            self.plant_first(rules),
            0.0 if self.early is None else self.early + set_up,
            self.sunrise if self.outdoors else 0.0,
        )
        high = min(
            self.plant_last(rules), (rules.day_end if self.late is None else self.late) - 3.0
        )
        # A slab that must be out of the way of the next may have no half hour to give away.
        soonest = np.ceil(low * 4 - 1e-6) / 4
        later = np.arange(np.ceil(low * 2 - 1e-6) / 2, high + 0.01, 0.5)
        return tuple(sorted({float(soonest), *map(float, later[later >= soonest])}))


def asked_of(
    jobs: pd.DataFrame,
    learned: Unloading,
    model: HoursModel,
    frames: Mapping[str, pd.DataFrame],
    house: Mapping[str, Any],
    seed: int,
    draws: int,
    usual_hands: int,
) -> list[Asked]:
    """What each of one date's jobs asks for, in their order."""
    midnight = pd.Timestamp(jobs["date"].iloc[0]).normalize()
    drawn = model.draws(jobs, draws, seed)
    luck = drawn.labor_h / np.maximum(drawn.expected_h, 0.1)
    hands = np.round(number(jobs, "hands", float(usual_hands)))
    # Nobody places a slab with no hands: as good as unknown.
    hands = np.where(hands < 1.0, float(usual_hands), hands)
    finishers = np.maximum(np.round(number(jobs, "finish_hands", float(USUAL_FINISHERS))), 1.0)
    fixed_h = drawn.parts_h[:, 0] / hands
    early, late, agreed = (
        _clock(jobs, name, midnight) for name in ("earliest_start", "latest_end", "place_start")
    )
    travel = number(jobs, "travel", TRAVEL_MIN) / 60.0
    plant = number(jobs, "plant_travel", learned.on_the_way_min - 10.0) / 60.0
    exposures, tools = words(jobs, "exposure"), saw_words(jobs, frames.get("pours"))
    told = trucks.trucks(jobs, frames, house, None, seed, learned)["jobs"]
    found = []
    for row in range(len(jobs)):
        job = jobs.iloc[row]
        sunrise, sunset = _sun(job, frames.get("sites"), house, midnight)
        found.append(
            Asked(
                row=job,
                hands=float(hands[row]),
                finish_hands=int(finishers[row]),
                travel_h=float(travel[row]),
                plant_h=float(plant[row]),
                early=early[row],
                late=late[row],
                agreed=agreed[row],
                sunrise=sunrise,
                sunset=sunset,
                outdoors=exposures[row] != "indoors",
                tool=tools[row],
                set_up_h=np.maximum(SET_UP_SHARE * fixed_h[row] * luck[row], 0.1),
                clean_h=np.maximum((1 - SET_UP_SHARE) * fixed_h[row] * luck[row], 0.05),
                order_yd3=told[row]["order_yd3"],
                loads=told[row]["loads"],
                spacing_min=float(told[row]["spacing_min"]),
            )
        )
    return found


def _clock(jobs: pd.DataFrame, name: str, midnight: pd.Timestamp) -> list[float | None]:
    if name not in jobs:
        return [None] * len(jobs)
    found = hours(jobs[name]) - float(hours([midnight])[0])
    return [float(each) if np.isfinite(each) else None for each in found]


def _sun(
    job: pd.Series[Any],
    sites: pd.DataFrame | None,
    house: Mapping[str, Any],
    day: pd.Timestamp,
) -> tuple[float, float]:
    """Sunrise and sunset, hours of the day in the site's clock; 0 and 24 where the place or the
    zone isn't known.
    """
    latitude, longitude = house.get("latitude"), house.get("longitude")
    zone = house.get("zone")
    if sites is not None and len(sites):
        own = sites[sites["site"].astype(str) == str(job.get("site"))]
        if len(own):
            row = own.iloc[0]
            latitude = row["latitude"] if pd.notna(row["latitude"]) else latitude
            longitude = row["longitude"] if pd.notna(row["longitude"]) else longitude
            zone = row["zone"] if pd.notna(row["zone"]) else zone
    if latitude is None or longitude is None or not zone:
        return 0.0, 24.0
    return daylight(day, float(latitude), float(longitude), str(zone))

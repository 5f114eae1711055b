"""What a pour or a job is described by, as plain arrays: the one door by which frames come in.

Blank cells are filled here, once, from the crew's own habit (:class:`Habit`): hands from the size
of the slab, the finish from the slab type, the temperature from the season.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.logs.tables import OUTDOOR_TYPES

Array = NDArray[np.float64]

SQUARE_FEET_PER_YARD_INCH = 324.0
"""One cubic yard covers 324 square feet an inch thick (27 ft3 x 12 in)."""

AREA_CENTRE_FT2 = 800.0
THICKNESS_CENTRE_IN = 4.5
HANDS_CENTRE = 4.0
AIR_CENTRE_F = 65.0
"""Where the model's effects are zero; a change of centre changes no forecast, only coefficients."""


@dataclass(frozen=True)
class Habit:
    """How this crew fills what it leaves blank: log hands on log area, finishers to hands, air.

    ``air`` is (mean, sine, cosine) of the air temperature over the year in degF, None without any
    weather. ``joint_ft_per_ft2`` is the usual length of joints for a foot of floor.
    """

    hands: tuple[float, float] = (np.log(HANDS_CENTRE), 0.25)
    finisher_share: float = 0.6
    air: tuple[float, float, float] | None = None
    air_scatter_f: float = 0.0
    """Scatter of a day's air about that; 0 without any weather, as it then is part of the luck."""
    joint_ft_per_ft2: float = 0.18
    """Panels of about eleven feet both ways: 2/11 ft of cut a square foot."""


@dataclass(frozen=True)
class Features:
    """One row a pour or job; every array has that length. Units are in the names."""

    area_ft2: Array
    thickness_in: Array
    volume_yd3: Array
    hands: Array
    finish_hands: Array
    hands_known: NDArray[np.bool_]
    slump_in: Array
    saw_ft: Array
    air_temp_f: Array
    air_known: NDArray[np.bool_]
    season: Array
    """Angle of the year, 0 on January 1st."""
    day: Array
    """Days since 1970-01-01."""
    slab_type: NDArray[np.object_]
    placement: NDArray[np.object_]
    finish: NDArray[np.object_]
    exposure: NDArray[np.object_]
    saw_type: NDArray[np.object_]
    lead: NDArray[np.object_]
    reinforcement: NDArray[np.object_]
    base: NDArray[np.object_]
    troubled: NDArray[np.bool_]

    def __len__(self) -> int:
        """How many pours or jobs."""
        return int(self.area_ft2.size)


def numbers(frame: pd.DataFrame, name: str) -> Array:
    """A column as floats, NaN where blank or where the frame has no such column."""
    if name not in frame:
        return np.full(len(frame), np.nan)
    return np.asarray(pd.to_numeric(frame[name], errors="coerce"), dtype=float)


def words(frame: pd.DataFrame, name: str) -> NDArray[np.object_]:
    """A column as text, the empty text where blank or where the frame has no such column."""
    if name not in frame:
        return np.full(len(frame), "", dtype=object)
    column = frame[name].astype(object)
    return np.asarray(column.where(column.notna(), ""), dtype=object)


def days(frame: pd.DataFrame) -> Array:
    """The date as days since 1970-01-01; today's date never enters."""
    if "date" not in frame:
        return np.zeros(len(frame))
    stamps = pd.to_datetime(frame["date"], errors="coerce")
    since = (stamps - pd.Timestamp("1970-01-01")) / pd.Timedelta(days=1)
    return np.asarray(np.nan_to_num(np.asarray(since, dtype=float)))


def features(frame: pd.DataFrame, habit: Habit) -> Features:
    """The frame's columns (house units, log names) as arrays, blanks filled by habit."""
    area = np.maximum(numbers(frame, "area"), 1.0)
    thickness = np.maximum(numbers(frame, "thickness"), 0.5)
    hands, finish_hands = numbers(frame, "hands"), numbers(frame, "finish_hands")
    known = hands > 0
    usual = np.exp(habit.hands[0] + habit.hands[1] * np.log(area / AREA_CENTRE_FT2))
    hands = np.where(known, hands, usual)
    share = np.maximum(1.0, habit.finisher_share * hands)
    finish_hands = np.where(finish_hands > 0, finish_hands, share)
    slab_type = words(frame, "slab_type")
    finish = words(frame, "finish")
    outdoor = np.isin(slab_type, OUTDOOR_TYPES)
    finish = np.where(finish == "", np.where(outdoor, "broom", "trowel"), finish)
    saw_type, saw_ft = words(frame, "saw_type"), numbers(frame, "saw_length")
    sawn = (saw_type != "") & (saw_type != "none")
    saw_ft = np.where(np.isnan(saw_ft), np.where(sawn, habit.joint_ft_per_ft2 * area, 0.0), saw_ft)
    saw_ft = np.where(saw_type == "none", 0.0, saw_ft)
    day = days(frame)
    season = 2.0 * np.pi * day / 365.25
    air = numbers(frame, "air_temp_f")
    air_known = ~np.isnan(air)
    if habit.air is not None:
        mean, sine, cosine = habit.air
        air = np.where(np.isnan(air), mean + sine * np.sin(season) + cosine * np.cos(season), air)
    slump = numbers(frame, "slump")
    return Features(
        area_ft2=area,
        thickness_in=thickness,
        volume_yd3=area * thickness / SQUARE_FEET_PER_YARD_INCH,
        hands=hands,
        finish_hands=finish_hands,
        hands_known=known,
        slump_in=np.where(np.isnan(slump), 5.0, slump),
        saw_ft=saw_ft,
        air_temp_f=np.where(np.isnan(air), AIR_CENTRE_F, air),
        air_known=air_known,
        season=season,
        day=day,
        slab_type=slab_type,
        placement=words(frame, "placement"),
        finish=finish,
        exposure=words(frame, "exposure"),
        saw_type=saw_type,
        lead=words(frame, "lead"),
        reinforcement=words(frame, "reinforcement"),
        base=words(frame, "base"),
        troubled=words(frame, "trouble") != "",
    )


def habit_of(frame: pd.DataFrame) -> Habit:
    """What this crew usually does, leaning on common figures while the record is short."""
    default = Habit()
    area, hands = numbers(frame, "area"), numbers(frame, "hands")
    finishers = numbers(frame, "finish_hands")
    seen = (hands > 0) & (area > 0)
    level, slope = default.hands
    if seen.any():
        x = np.column_stack([np.ones(seen.sum()), np.log(area[seen] / AREA_CENTRE_FT2)])
        pull = np.array([2.0, 20.0])
        target = x.T @ np.log(hands[seen]) + pull * np.array(default.hands)
        level, slope = np.linalg.solve(x.T @ x + np.diag(pull), target)
    both = (hands > 0) & (finishers > 0)
    share = (finishers[both].sum() + 8 * 0.6) / (hands[both].sum() + 8)
    saw = numbers(frame, "saw_length")
    cut = (saw > 0) & (area > 0)
    joint = (saw[cut].sum() + 1000 * default.joint_ft_per_ft2) / (area[cut].sum() + 1000)
    air, scatter = _air(frame)
    return Habit((float(level), float(slope)), float(share), air, scatter, float(joint))


AIR_SCATTER_F, AIR_SCATTER_WORTH = 9.0, 10.0
"""Scatter of a day's air about the season's before any weather is logged, and how many days' worth
that is: common practice for the middle latitudes, no source."""


def _air(frame: pd.DataFrame) -> tuple[tuple[float, float, float] | None, float]:
    """The season's air and a day's scatter about it, degF."""
    air, season = numbers(frame, "air_temp_f"), 2.0 * np.pi * days(frame) / 365.25
    seen = ~np.isnan(air)
    if not seen.any():
        return None, 0.0
    x = np.column_stack([np.ones(seen.sum()), np.sin(season[seen]), np.cos(season[seen])])
    pull = np.array([0.05, 0.5, 0.5])
    prior = np.array([AIR_CENTRE_F, -5.0, -12.0])
    found = np.linalg.solve(x.T @ x + np.diag(pull), x.T @ air[seen] + pull * prior)
    squares = AIR_SCATTER_WORTH * AIR_SCATTER_F**2 + ((air[seen] - x @ found) ** 2).sum()
    scatter = float(np.sqrt(squares / (AIR_SCATTER_WORTH + air[seen].size)))
    return (float(found[0]), float(found[1]), float(found[2])), scatter

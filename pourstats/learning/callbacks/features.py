"""What on the day of a pour could make a floor come back, from the log, by published guidance.

Each feature is 0 (not so) to 1 (so), NaN where the log can't say. No outcome enters here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.science.air import celsius
from pourstats.science.joints import saw_hours

Array = NDArray[np.float64]

HARD = ("trowel", "hard_trowel")
FAST_DRYING = 0.20
"""lb/ft2/h from which precautions are due (ACI 305R, ACI 308, NRMCA CIP 5)."""
FAST_DRYING_SCM = 0.15
"""The same for mixes with fly ash or slag, which bleed less and longer (often quoted; from memory).
"""
SCM_PERCENT = 15.0
PRINT_IN = {"ride_on": 0.125, "walk_behind": 0.25, "hand": 0.25}
"""Deepest boot print that takes the machine: ASCC position statement 15; ride-on from memory of ACI
302.1R."""
SCUFF_IN = 0.0625
"""A print no deeper than this is final set or near it: too late for a first pass (L&M Concrete News
0810 says "slightest scuff"; the figure is common practice, no source)."""
LATE_MIN = 30.0
"""Minutes that a slab stood ready before the machine got on. Common practice, no source."""
HOT_F = 90.0
"""Concrete this warm sets and dries in a hurry; the usual limit is 95 (ACI 301-20, 305.1-14)."""
COLD_F, COLD_THICK_F = 55.0, 50.0
"""Least concrete temperature under 12 in, and from 12 in (ACI 306R)."""
GAP_MIN = 30.0
"""Minutes without concrete after which a joint may be cold. Common practice, no source."""
SPACING_RATIO = 36.0
"""Joint spacing over thickness beyond which cracks wander (ACI 302.1R: 24 to 36)."""


@dataclass(frozen=True)
class Feature:
    """A feature in words: what is so, what it is set against, what to do, whose word it is."""

    name: str
    so: str
    otherwise: str
    do: str
    because: str
    source: str


FEATURES: tuple[Feature, ...] = (
    Feature("dried_fast", "on days that dried the slab fast", "on mild days",
            "On the drier days: windbreak, fog or an evaporation retarder ready; cure at once.",
            "The top dries faster than it bleeds.", "ACI 305R; NRMCA CIP 5"),
    Feature("machine_early", "machine on before the boot print allowed it", "on in time",
            "Wait for the print: a quarter inch for a walk-behind, an eighth for a ride-on.",
            "Closing the top over bleed water blisters, dusts and delaminates.",
            "ASCC position statement 15; NRMCA CIP 13 and 20"),
    Feature("machine_late", "machine on late", "on in time",
            "Plan hands and machines so that the first pass goes on when the slab is ready.",
            "Past the window the top is worked too hard: burns, waves, low spots.",
            "ACI 302.1R, window of finishability"),
    Feature("air_hard_trowel", "air-entrained mix under a trowel", "no air under a trowel",
            "Order floors to be hard-troweled without entrained air.",
            "More than 3 % air under a hard trowel delaminates.",
            "ACI 302.1R; ASCC position statements 1 and 44; NRMCA CIP 20"),
    Feature("no_cure", "no cure", "cured", "Cure every slab, the same day.",
            "An uncured top dusts, crazes and scales.", "ACI 308; NRMCA CIP 1, 2 and 3"),
    Feature("saw_late", "sawn late for the temperature", "sawn in the window",
            "Saw earlier on warm days; early entry, or somebody who stays.",
            "The slab cracks where it likes before the cut.",
            "ACI 302.1R-15; NRMCA CIP 4 and 6"),
    Feature("concrete_hot", "concrete of 90 °F or more", "cooler concrete",
            "Order cooler concrete or start earlier in summer.",
            "Hot concrete sets fast, is watered, shrinks and cracks.", "ACI 305R; NRMCA CIP 12"),
    Feature("concrete_cold", "cold concrete", "warm enough",
            "Order concrete at 55 °F or more; warm the base, keep it covered.",
            "Cold concrete bleeds long and sets slowly; tops dust and scale.",
            "ACI 306R; NRMCA CIP 1 and 27"),
    Feature("water_added", "water added at the site", "none added",
            "Order the slump that you place; ask for a reducer instead of water.",
            "Added water weakens the top: dusting, scaling, more shrinkage.", "NRMCA CIP 26"),
    Feature("load_old", "a load past the age limit", "loads in time",
            "Space the trucks; send back what is too old.",
            "Old concrete stiffens and is watered.", "ASTM C94 and the supplier's limit"),
    Feature("load_gap", "30 minutes or more without concrete", "no long gap",
            "Order tighter spacing, keep the face alive, or put a joint there.",
            "The face stiffens: cold joint, and two ages under one trowel.", "NRMCA CIP 12"),
    Feature("thin_for_joints", "joints too far apart for the slab", "joints close enough",
            "Space joints at 24 to 36 times the thickness, 18 ft at most.",
            "Panels too long crack between the joints and curl.",
            "ACI 302.1R; NRMCA CIP 4, 6 and 19"),
)  # fmt: skip
BY_NAME = {feature.name: feature for feature in FEATURES}


def loads_of(frames: Mapping[str, pd.DataFrame], pours: pd.DataFrame) -> pd.DataFrame:
    """Of each pour's loads: water_gal, age_min and starved_min (greatest), temp_low_f, temp_high_f.

    Aligned with ``pours``. Balance loads, called late on purpose, have no gap. Water is unknown
    where no load of the pour has it logged.
    """
    trucks, times = frames["trucks"], frames["truck_times"]
    grouped = trucks.groupby("pour_id")
    waited = times[times["called"].fillna("") != "balance"].groupby("pour_id")
    found = pd.DataFrame(
        {
            "water_gal": grouped["water_added"].sum(min_count=1),
            "temp_low_f": grouped["concrete_temp"].min(),
            "temp_high_f": grouped["concrete_temp"].max(),
            "age_min": times.groupby("pour_id")["age_min"].max(),
            "starved_min": waited["starved_min"].max(),
        }
    )
    return found.reindex(pours["pour_id"]).reset_index(drop=True).astype(float)


def first_passes(frames: Mapping[str, pd.DataFrame], pours: pd.DataFrame) -> pd.DataFrame:
    """Each pour's first pass, aligned with ``pours``: its row of pass_intervals, else blank."""
    passes = frames["pass_intervals"]
    first = passes[passes["first_pass"].fillna(False).astype(bool)].drop_duplicates("pour_id")
    return first.set_index("pour_id").reindex(pours["pour_id"]).reset_index()


def saw_delay(frames: Mapping[str, pd.DataFrame], pours: pd.DataFrame) -> Array:
    """Hours from the end of placing to the first cut, aligned with ``pours``; NaN unknown."""
    logged = frames["pours"].set_index("pour_id").reindex(pours["pour_id"])
    delay = pd.to_datetime(logged["saw_start"]) - pd.to_datetime(logged["place_end"])
    return np.asarray(delay.dt.total_seconds().to_numpy(float) / 3600.0)


def features(
    frames: Mapping[str, pd.DataFrame], pours: pd.DataFrame, age_limit_min: float
) -> pd.DataFrame:
    """Every feature of every pour, 0 to 1, NaN unknown; rows as ``pours``, columns as FEATURES.

    dried_fast is not relative to the crew here: it is evaporation over the limit that precautions
    start at (0.2 lb/ft2/h, less for mixes that bleed little); :func:`ramped` sets it on a scale.
    """
    logged = frames["pours"].set_index("pour_id").reindex(pours["pour_id"]).reset_index()
    weather = frames["pour_weather"].set_index("pour_id").reindex(pours["pour_id"]).reset_index()
    loads = loads_of(frames, pours)
    first = first_passes(frames, pours)
    finish = logged["finish"].fillna("").astype(str)
    thickness = logged["thickness"].astype(float)
    temp = logged["concrete_temp"].astype(float)
    low, high = temp.fillna(loads["temp_low_f"]), temp.fillna(loads["temp_high_f"])
    cold = pd.Series(np.where(thickness < 12.0, COLD_F, COLD_THICK_F))
    scm = logged["scm"].astype(float).fillna(0.0)
    limit = np.where(scm >= SCM_PERCENT, FAST_DRYING_SCM, FAST_DRYING)
    trowel = finish.isin(HARD)
    air = logged["admixtures"].map(lambda cell: "air_entrainer" in _listed(cell))
    air_known = ~trowel & (finish != "") | trowel & logged["admixtures"].notna()
    ratio = logged["joint_spacing"].astype(float) * 12.0 / thickness
    early, late = _boot_print(frames, first)
    return pd.DataFrame(
        {
            "dried_fast": weather["evaporation_lb_ft2_h"].astype(float) / limit,
            "machine_early": early,
            "machine_late": late,
            "air_hard_trowel": _so(trowel & air, air_known),
            "no_cure": _so(logged["cure"] == "none", logged["cure"].notna()),
            "saw_late": _saw_late(frames, pours, logged, weather, low),
            "concrete_hot": _so(high >= HOT_F, high.notna()),
            "concrete_cold": _so(low < cold, low.notna()),
            "water_added": _so(loads["water_gal"] > 0, loads["water_gal"].notna()),
            "load_old": _so(loads["age_min"] > age_limit_min, loads["age_min"].notna()),
            "load_gap": _so(loads["starved_min"] >= GAP_MIN, loads["starved_min"].notna()),
            "thin_for_joints": _so(ratio > SPACING_RATIO, ratio.notna()),
        },
        columns=[feature.name for feature in FEATURES],
    )


def ramp(values: Array) -> tuple[float, float] | None:
    """Quarter and three-quarter points of known values; None where they coincide.

    The ramp between them loses little whether the harm is a threshold or grows steadily: of a
    normal value it correlates 0.91 with the value and 0.91 with the upper half.
    """
    known = values[~np.isnan(values)]
    if known.size < 4:
        return None
    low, high = np.quantile(known, [0.25, 0.75])
    return (float(low), float(high)) if high - low > 1e-9 else None


def ramped(values: Array, ends: tuple[float, float]) -> Array:
    """0 at or below the first end, 1 at or above the second, straight between; NaN stays."""
    low, high = ends
    return np.clip((values - low) / (high - low), 0.0, 1.0)


def _so(true: Any, known: Any) -> pd.Series:
    """1 where it is so, 0 where not, NaN where the log can't say."""
    return pd.Series(np.asarray(true, dtype=float)).where(np.asarray(known, dtype=bool))


def _listed(cell: object) -> set[str]:
    return {word.strip() for word in cell.split(";")} if isinstance(cell, str) else set()


def _boot_print(
    frames: Mapping[str, pd.DataFrame], first: pd.DataFrame
) -> tuple[pd.Series, pd.Series]:
    """On too early and too late for the boot print; late also by `ready` and `held_up`."""
    depth = first["footprint_in"].astype(float)
    machine = first["machine"].fillna("hand").astype(str)
    allowed = machine.map(PRINT_IN).fillna(0.25)
    early = _so(depth > allowed + 1e-9, depth.notna())
    waited = pd.to_datetime(first["start"]) - pd.to_datetime(first["ready"])
    minutes = waited.dt.total_seconds() / 60.0
    held = first["held_up"].astype("object")
    known = depth.notna() | minutes.notna() | held.notna()
    kept_off = held.notna() & ~held.isin(["no"])
    late = (depth <= SCUFF_IN + 1e-9) | (minutes >= LATE_MIN) | kept_off
    return early, _so(late, known)


def _saw_late(
    frames: Mapping[str, pd.DataFrame],
    pours: pd.DataFrame,
    logged: pd.DataFrame,
    weather: pd.DataFrame,
    concrete_f: pd.Series,
) -> pd.Series:
    """Cut after the published window of its kind of saw closed, at the temperature of the day.

    The slab lies between its own temperature and the air's. Slabs not sawn are not late.
    """
    kind = logged["saw_type"].fillna("").astype(str)
    delay = saw_delay(frames, pours)
    air = weather["air_temp_f"].astype(float)
    slab = pd.concat([air, concrete_f], axis=1).mean(axis=1).fillna(70.0).to_numpy(float)
    _, early_close = saw_hours(celsius(slab), "early_entry")
    _, close = saw_hours(celsius(slab), "conventional")
    late = delay > np.where(kind == "early_entry", early_close, close)
    uncut = kind.isin(["none", "tooled"]).to_numpy()
    return _so(late & ~uncut, ~np.isnan(delay) | uncut)

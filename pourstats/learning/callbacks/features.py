"""What on the day of a pour could make a floor come back, from the log, by published guidance.

Each feature is 0 (not so) to 1 (so), NaN where the log can't say. No outcome enters here.
"""

from __future__ import annotations

from collections.abc import Mapping
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


FEATURES: tuple[str, ...] = (
    "dried_fast", "machine_early", "machine_late", "air_hard_trowel", "no_cure", "saw_late",
    "concrete_hot", "concrete_cold", "water_added", "load_old", "load_gap", "thin_for_joints",
)  # fmt: skip
"""What is looked at, and nothing else: each look costs the others some of their evidence."""


def loads_of(frames: Mapping[str, pd.DataFrame], pours: pd.DataFrame) -> pd.DataFrame:
    """Of each pour's loads: water_gal, age_min and starved_min (greatest), temp_low_f, temp_high_f.

    Aligned with ``pours``. Balance loads, called late on purpose, have no gap. Water is unknown
    where no load of the pour has it logged.
    """
    trucks, times = frames["trucks"], frames["truck_times"]
    if not len(trucks):
        names = ["water_gal", "temp_low_f", "temp_high_f", "age_min", "starved_min"]
        return pd.DataFrame(np.nan, index=range(len(pours)), columns=names)
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
    finish = _words(logged["finish"])
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
        columns=list(FEATURES),
    )


BESIDE = ("outdoors", "troweled", "later")


def beside(pours: pd.DataFrame) -> pd.DataFrame:
    """What floors differ in anyway, 0 to 1: outdoors, troweled, and how late in the record.

    It stands beside the features, so that a habit of a kind of floor, or of a time, isn't taken for
    the cause of what that kind or time brings. ``pours`` as pours_record gives them.
    """
    dates = pd.to_datetime(pours["date"])
    span = (dates.max() - dates.min()).days or 1
    return pd.DataFrame(
        {
            "outdoors": pours["outdoors"].astype(float),
            "troweled": _words(pours["finish"]).isin(HARD).astype(float),
            "later": (dates - dates.min()).dt.days / span,
        },
        columns=list(BESIDE),
    )


def ramp(values: Array) -> tuple[float, float, float] | None:
    """Lower third, half and upper third points of known values; None where two coincide.

    The ramp between them loses little whether the harm is a threshold or grows steadily: of a
    normal value it correlates 0.88 with the value and 0.94 with the upper half.
    """
    known = values[~np.isnan(values)]
    if known.size < 4:
        return None
    low, middle, high = (float(end) for end in np.quantile(known, [1 / 3, 0.5, 2 / 3]))
    return (low, middle, high) if middle - low > 1e-9 and high - middle > 1e-9 else None


def ramped(values: Array, ends: tuple[float, float, float]) -> Array:
    """0 up to the first of :func:`ramp`'s points, 0.5 at the second, 1 from the third."""
    return np.where(np.isnan(values), np.nan, np.interp(values, ends, (0.0, 0.5, 1.0)))


def _so(true: Any, known: Any) -> pd.Series:
    """1 where it is so, 0 where not, NaN where the log can't say."""
    return pd.Series(np.asarray(true, dtype=float)).where(np.asarray(known, dtype=bool))


def _words(column: pd.Series) -> pd.Series:
    """A column of words, blanks as empty ones, also where the whole column is blank."""
    return column.map(lambda cell: cell if isinstance(cell, str) else "").astype("object")


def _listed(cell: object) -> set[str]:
    return {word.strip() for word in cell.split(";")} if isinstance(cell, str) else set()


def _boot_print(
    frames: Mapping[str, pd.DataFrame], first: pd.DataFrame
) -> tuple[pd.Series, pd.Series]:
    """On too early and too late for the boot print; late also by `ready` and `held_up`."""
    depth = first["footprint_in"].astype(float)
    allowed = _words(first["machine"]).map(PRINT_IN).fillna(0.25)
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
    kind = _words(logged["saw_type"])
    delay = saw_delay(frames, pours)
    air = weather["air_temp_f"].astype(float)
    slab = pd.concat([air, concrete_f], axis=1).mean(axis=1).fillna(70.0).to_numpy(float)
    with np.errstate(divide="ignore"):  # below its datum concrete doesn't set: the window is capped
        _, early_close = saw_hours(celsius(slab), "early_entry")
        _, close = saw_hours(celsius(slab), "conventional")
    late = delay > np.where(kind == "early_entry", early_close, close)
    uncut = kind.isin(["none", "tooled"]).to_numpy()
    return _so(late & ~uncut, ~np.isnan(delay) | uncut)

"""Minutes a yard and lateness of loads, learned from the loads logged, partly pooled.

Draw k of a job is the same morning for all its loads.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.draws import stream
from pourstats.learning.unloading import pooled
from pourstats.learning.unloading.pooled import Pooled

Array = NDArray[np.float64]

DRAWS = 1000
METHODS = ("chute", "wheelbarrow", "buggy", "pump", "conveyor")
USUAL_MIN_PER_YD3 = {
    "chute": 4.0, "wheelbarrow": 7.0, "buggy": 5.5, "pump": 3.0, "conveyor": 3.0, "": 4.5,
}  # fmt: skip
"""Until the record says: a chute gives 10 yd3 in 10 to 20 minutes at best, and a crew that strikes
off behind it takes about twice that. Common practice, no source."""
CHANGE_MIN, CHANGE_SPREAD = 4.0, 0.6
"""Minutes from one truck's end to the next one's chute. Common practice, no source."""
WASH_MIN = 8.0
"""Minutes from empty to off the site. Common practice, no source."""
LOADING_MIN = 10.0
"""Minutes from water on cement to leaving the plant. Common practice, no source."""
OVERRUN = (0.06, 0.05)
"""Usual share placed beyond the plan and its spread (NRMCA CIP 8: order 4 to 10 percent over)."""
TRUCK_YD3 = 10.0
TAIL_MIN = 8.0
"""Minutes from the last load empty to all of it struck off. Common practice, no source."""
LATE = {"usual": 4.0, "doubt": 5.0}
"""Usual minutes late. Common practice, no source; a producer calls within 15 minutes on time."""


@dataclass(frozen=True)
class JobLoads:
    """Draws of one job's loads, all (draw x load) in minutes unless named otherwise."""

    unload_min: Array
    late_min: Array
    change_min: Array
    """From a truck at the site with the one before it empty, to concrete coming."""
    wash_min: Array
    batch_to_arrival_min: Array


@dataclass(frozen=True)
class Unloading:
    """What the record says of loads; see :func:`fit`."""

    pace: Pooled
    late: Pooled
    kinds: tuple[str, ...]
    plants: tuple[str, ...]
    plant_share: Array
    change: tuple[float, float]
    wash_min: float
    on_the_way_min: float
    overrun: tuple[float, float]
    usual_hands: float
    pours: int
    """Pours with at least one load whose unloading was learned from."""
    loads: int
    timed_late: int
    """Loads whose lateness was learned from."""
    overrun_pours: int
    placings: int
    """Pours without timed loads, whose length of placing was learned from in their stead."""

    def loads_of(
        self, job: pd.Series, yd3: Array, due_hour: Array, seed: int = 0, count: int = DRAWS
    ) -> JobLoads:
        """Draws of a job's loads of ``yd3``, due at ``due_hour`` (hours of the day).

        ``job`` is a row of the log table `jobs`. The streams hang on the pour_id, so that another
        spacing of the same job meets the same luck.
        """
        name = str(job.get("pour_id"))
        n = yd3.size
        rng = stream(seed, "unloading", name)
        frame = pd.DataFrame([job] * n)
        whole = np.full(n, yd3.sum())
        columns, offset = _pace_columns(frame, yd3, whole, self.kinds, self.usual_hands)
        log_pace = self.pace.outcomes(columns, rng)[:count] + offset[None, :]
        plant = stream(seed, "plant", name).choice(len(self.plants), p=self.plant_share, size=DRAWS)
        travel = _one(job, "plant_travel", self.on_the_way_min - LOADING_MIN)
        late_columns = _late_columns(
            np.arange(n) == 0, np.full(n, travel + LOADING_MIN), due_hour, np.full(n, -1),
            len(self.plants),
        )  # fmt: skip
        late = self.late.outcomes(late_columns, stream(seed, "late", name))[:count]
        offset_plant = len(LATE_NAMES)
        late = late + self.late.effects[offset_plant + plant, np.arange(DRAWS)][:count, None]
        other = stream(seed, "changeover", name)
        z = other.standard_normal((DRAWS, n, 3))[:count]
        way = travel + LOADING_MIN
        return JobLoads(
            unload_min=np.exp(np.clip(log_pace, -1.5, 3.5)) * yd3[None, :],
            late_min=np.clip(late, -40.0, 180.0),
            change_min=self.change[0] * np.exp(self.change[1] * z[:, :, 0]),
            wash_min=self.wash_min * np.exp(0.4 * z[:, :, 1]),
            batch_to_arrival_min=way * np.exp(0.15 * z[:, :, 2]),
        )

    def overrun_draws(self, seed: int, name: str, count: int = DRAWS) -> Array:
        """Share placed beyond the plan (draw)."""
        rng = stream(seed, "overrun", name)
        return np.asarray(self.overrun[0] + self.overrun[1] * rng.standard_normal(DRAWS)[:count])


LATE_NAMES = ("usual", "first", "travel", "early", "midday")


def fit(frames: Mapping[str, pd.DataFrame], seed: int = 0) -> Unloading:
    """Learn from `truck_times`, `trucks`, `pours`, `pour_output`; what lacks leaves usual values.

    Loads of over 15 or under 0.5 minutes a yard, and lateness beyond three hours, are not learned
    from: they are slips or another story. Pours whose loads nobody timed tell their minutes a yard
    by their length of placing.
    """
    times, pours = frames.get("truck_times"), frames.get("pours")
    loads = _joined(times, frames.get("trucks"), pours)
    rng = stream(seed, "loads")
    tail = np.concatenate([rng.standard_normal(120), rng.exponential(1.0, 60) * 1.6])
    kinds = tuple(sorted({str(k) for k in loads["slab_type"].dropna()}))
    hands = pd.to_numeric(loads["hands"], errors="coerce").to_numpy(float, na_value=np.nan)
    usual_hands = float(np.nanmedian(hands)) if np.isfinite(hands).any() else 5.0

    per_yd3 = _numbers(loads, "unload_min_per_yd3")
    ok = (per_yd3 > 0.5) & (per_yd3 < 15.0)
    own = loads[ok]
    volume = _numbers(own, "volume_yd3") - np.nan_to_num(_numbers(own, "returned_yd3"))
    pours_timed, loads_timed = int(own["pour_id"].nunique()), int(ok.sum())
    changed = _change(loads)
    whole = _placings(pours, frames.get("pour_output"), loads, set(own["pour_id"]), changed[0])
    if len(whole):
        own = pd.concat([own, whole], ignore_index=True) if loads_timed else whole
        volume = np.append(volume, _numbers(whole, "volume_yd3"))
    per_yd3 = np.append(per_yd3[ok], _numbers(whole, "unload_min_per_yd3"))
    columns, offset = _pace_columns(own, volume, _whole(own, volume), kinds, usual_hands)
    usual = np.zeros(columns.shape[1])
    usual[1], usual[3] = -0.3, -0.15
    doubt = np.array(
        [0.35, 0.2, 0.15, 0.2, 0.15, *[0.2] * len(METHODS), *[0.15] * (len(kinds) + 1)]
    )
    pace = pooled.fit(
        columns, np.log(per_yd3) - offset, _codes(own["pour_id"]), usual, doubt, (0.18, 0.18),
        tail[:120], DRAWS, stream(seed, "pace"),
    )  # fmt: skip

    late = _numbers(loads, "late_min")
    told = (np.abs(late) < 180.0) & (loads["called"].astype(object) != "balance").to_numpy(bool)
    plants, share, plant = _plants(loads)
    way = _minutes(loads, "batched", "arrived")
    known = way[(way > 3) & (way < 150)]
    usual_way = (15 * 32.0 + known.sum()) / (15 + known.size)
    rows = loads[told]
    own_way = np.where((way > 3) & (way < 150), way, usual_way)[told]
    hour = _hour(rows["due"]) if "due" in rows else np.full(len(rows), np.nan)
    columns = _late_columns(_numbers(rows, "load_no") == 1, own_way, hour, plant[told], len(plants))
    usual = np.zeros(columns.shape[1])
    usual[0], usual[1] = LATE["usual"], 1.0
    doubt = np.array([LATE["doubt"], 4.0, 2.0, 3.0, 3.0, *[3.0] * len(plants)])
    lateness = pooled.fit(
        columns, late[told], _codes(rows["pour_id"]), usual, doubt, (6.0, 8.0), tail, DRAWS,
        stream(seed, "lateness"),
    )  # fmt: skip
    over, over_count = _overrun(frames.get("pour_output"), pours)
    return Unloading(
        pace, lateness, kinds, plants, share, changed, _wash(loads), float(usual_way),
        over, usual_hands, pours_timed, loads_timed, int(told.sum()), over_count, len(whole),
    )  # fmt: skip


LOAD_COLUMNS = (
    "pour_id", "ticket", "plant", "called", "load_no", "volume_yd3", "returned_yd3",
    "unload_min_per_yd3", "late_min",
)  # fmt: skip


def _joined(
    times: pd.DataFrame | None, trucks: pd.DataFrame | None, pours: pd.DataFrame | None
) -> pd.DataFrame:
    """One row a load: its measure, its clock times, and its pour's method, hands and slump."""
    if times is None or not len(times):
        times = pd.DataFrame({name: pd.Series(dtype=object) for name in LOAD_COLUMNS})
    clocks = ["due", "batched", "arrived", "pour_start", "pour_end", "left", "slump"]
    if trucks is not None and len(trucks):
        taken = [name for name in clocks if name in trucks]
        times = times.merge(
            trucks[["pour_id", "ticket", *taken]].rename(columns={"slump": "load_slump"}),
            on=["pour_id", "ticket"], how="left",
        )  # fmt: skip
    wanted = ["placement", "hands", "slump", "slab_type"]
    if pours is not None and len(pours):
        own = pours[["pour_id", *[name for name in wanted if name in pours]]]
        times = times.merge(own, on="pour_id", how="left")
    for name in (*wanted, "load_slump", *clocks[:-1]):
        if name not in times:
            blank = pd.NaT if name in clocks[:-1] else np.nan
            times[name] = pd.Series(blank, index=times.index)
    slump = pd.to_numeric(times["load_slump"], errors="coerce")
    return times.assign(slump=slump.fillna(pd.to_numeric(times["slump"], errors="coerce")))


def _placings(
    pours: pd.DataFrame | None,
    output: pd.DataFrame | None,
    loads: pd.DataFrame,
    timed: set[str],
    change_min: float,
) -> pd.DataFrame:
    """One row a pour without ``timed`` loads: minutes a yard of a usual load, from its placing.

    The waits between its loads are in it, as nobody wrote them down.
    """
    wanted = ["pour_id", "placement", "hands", "slump", "slab_type"]
    if pours is None or not {"place_start", "place_end"} <= set(pours.columns):
        return pd.DataFrame({name: pd.Series(dtype=object) for name in wanted})
    own = pours[~pours["pour_id"].isin(timed)].reset_index(drop=True)
    yd3 = _numbers(own, "area") * _numbers(own, "thickness") / 324.0
    if output is not None and "placed_yd3" in output:
        placed = output.set_index("pour_id")["placed_yd3"].reindex(own["pour_id"])
        placed_yd3 = np.asarray(placed.to_numpy(dtype=float, na_value=np.nan))
        yd3 = np.where(np.isnan(placed_yd3), yd3, placed_yd3)
    logged = own["pour_id"].map(loads["pour_id"].value_counts()).to_numpy(float, na_value=0.0)
    count = np.where(logged > 0, logged, np.ceil(yd3 / TRUCK_YD3 - 1e-6))
    length = _minutes(own, "place_start", "place_end")
    flow = np.maximum(length - TAIL_MIN - (count - 1.0) * change_min, 0.5 * length)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_yd3 = flow / yd3
    ok = (per_yd3 > 0.5) & (per_yd3 < 15.0) & (yd3 > 0)
    shape = own.reindex(columns=wanted).assign(
        volume_yd3=yd3 / np.maximum(count, 1.0), whole_yd3=yd3, unload_min_per_yd3=per_yd3
    )
    return shape[ok].reset_index(drop=True)


def _whole(loads: pd.DataFrame, yd3: Array) -> Array:
    """Yards of each load's pour: of all its timed loads, where its placing doesn't tell."""
    told = _numbers(loads, "whole_yd3")
    sums = pd.Series(np.nan_to_num(yd3)).groupby(loads["pour_id"].to_numpy(object)).transform("sum")
    return np.where(np.isnan(told), sums.to_numpy(float), told)


def _pace_columns(
    frame: pd.DataFrame,
    yd3: Array,
    whole_yd3: Array,
    kinds: tuple[str, ...],
    usual_hands: float,
) -> tuple[Array, Array]:
    """Columns (load x effect) of the log minutes a yard, and the usual log minutes."""
    n = len(frame)
    how = [_word(value) for value in _column(frame, "placement")]
    hands = np.nan_to_num(_numbers(frame, "hands"), nan=usual_hands)
    hands = np.where(hands < 1.0, usual_hands, hands)
    slump = np.nan_to_num(_numbers(frame, "slump"), nan=5.0)
    known = (*kinds, "\0never met")
    kind = [_word(value) for value in _column(frame, "slab_type")]
    method = np.array([[float(h == m) for m in METHODS] for h in how]).reshape(n, len(METHODS))
    slab = np.zeros((n, len(known)))
    for row, word in enumerate(kind):
        slab[row, known.index(word) if word in known else len(known) - 1] = 1.0
    plain = np.stack(
        [
            np.ones(n), np.log(np.maximum(hands, 1.0) / 5.0), (np.clip(slump, 1, 9) - 5.0) / 2.0,
            np.log(np.maximum(yd3, 0.3) / 10.0),
            # A wide floor has room to work in: its loads may empty sooner than a small one's.
            np.log(np.clip(whole_yd3, 1.0, 400.0) / 15.0),
        ],
        axis=1,
    )  # fmt: skip
    offset = np.log([USUAL_MIN_PER_YD3.get(word, USUAL_MIN_PER_YD3[""]) for word in how])
    return np.concatenate([plain, method, slab], axis=1), np.asarray(offset)


def _late_columns(
    first: NDArray[np.bool_], way_min: Array, hour: Array, plant: NDArray[np.int64], plants: int
) -> Array:
    """Columns (load x effect) of the minutes late; plant -1 leaves the plant out."""
    hour = np.where(np.isnan(hour), 9.0, hour)
    columns = [
        np.ones(first.size), first.astype(float), (way_min - 32.0) / 10.0,
        (hour < 8.0).astype(float), ((hour >= 10.5) & (hour < 14.0)).astype(float),
    ]  # fmt: skip
    columns += [(plant == index).astype(float) for index in range(plants)]
    return np.stack(columns, axis=1)


def _plants(loads: pd.DataFrame) -> tuple[tuple[str, ...], Array, NDArray[np.int64]]:
    """Plants met, the share of loads from each, and each load's plant (-1 unknown).

    A plant never met stands last, with the weight of three loads.
    """
    names = [_word(value) for value in loads["plant"]]
    met = tuple(sorted(set(names) - {""}))
    counts = np.array([*[names.count(name) for name in met], 3.0])
    code = np.array([met.index(name) if name else -1 for name in names], dtype=np.int64)
    return (*met, "\0never met"), counts / counts.sum(), code


def _change(loads: pd.DataFrame) -> tuple[float, float]:
    """Typical minutes of a changeover, and its log spread."""
    if not len(loads):
        return CHANGE_MIN, CHANGE_SPREAD
    ordered = loads.assign(load_no=_numbers(loads, "load_no")).sort_values(["pour_id", "load_no"])
    before = pd.to_datetime(ordered.groupby("pour_id")["pour_end"].shift())
    ready = pd.concat([before, pd.to_datetime(ordered["arrived"])], axis=1).max(axis=1)
    gap = (pd.to_datetime(ordered["pour_start"]) - ready).dt.total_seconds().to_numpy() / 60
    known = pd.to_datetime(ordered["arrived"]).notna() & (_numbers(ordered, "load_no") > 1)
    gap = np.log(np.clip(gap[known.to_numpy() & (gap > -1) & (gap < 40)], 0.5, None))
    weight = 10.0
    mean = (weight * np.log(CHANGE_MIN) + gap.sum()) / (weight + gap.size)
    spread = (weight * CHANGE_SPREAD**2 + np.sum((gap - mean) ** 2)) / (weight + gap.size)
    return float(np.exp(mean)), float(np.clip(np.sqrt(spread), 0.2, 1.2))


def _wash(loads: pd.DataFrame) -> float:
    gone = _minutes(loads, "pour_end", "left")
    gone = gone[(gone >= 0) & (gone < 60)]
    return float((10 * WASH_MIN + gone.sum()) / (10 + gone.size))


def _overrun(
    output: pd.DataFrame | None, pours: pd.DataFrame | None
) -> tuple[tuple[float, float], int]:
    """Mean and spread of the share placed beyond the plan, from ticketed pours; and how many."""
    share = np.array([])
    if output is not None and pours is not None and len(output):
        own = output[output["placed_from"].astype(object) == "tickets"]
        share = _numbers(own, "overrun_pct") / 100.0
        share = share[(share > -0.2) & (share < 0.4)]
    weight = 8.0
    mean = (weight * OVERRUN[0] + share.sum()) / (weight + share.size)
    spread = (weight * OVERRUN[1] ** 2 + np.sum((share - mean) ** 2)) / (weight + share.size)
    return (float(mean), float(np.sqrt(spread))), int(share.size)


def _minutes(loads: pd.DataFrame, start: str, end: str) -> Array:
    gap = pd.to_datetime(loads[end]) - pd.to_datetime(loads[start])
    return np.asarray(gap.dt.total_seconds().to_numpy(float, na_value=np.nan) / 60.0)


def _hour(times: pd.Series) -> Array:
    moments = pd.to_datetime(times)
    return np.asarray((moments.dt.hour + moments.dt.minute / 60.0).to_numpy(float, na_value=np.nan))


def _numbers(frame: pd.DataFrame, name: str) -> Array:
    if name not in frame:
        return np.full(len(frame), np.nan)
    return np.asarray(
        pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    )


def _one(job: pd.Series, name: str, usual: float) -> float:
    value = pd.to_numeric(job.get(name, np.nan), errors="coerce")
    return usual if pd.isna(value) else float(value)


def _column(frame: pd.DataFrame, name: str) -> list[object]:
    return list(frame[name]) if name in frame else [None] * len(frame)


def _word(value: object) -> str:
    return "" if value is None or value != value or value is pd.NaT else str(value)


def _codes(names: pd.Series) -> NDArray[np.int64]:
    return np.asarray(pd.factorize(names.astype(object))[0], dtype=np.int64)

"""What has happened so far, and the day that is left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.planning.day.choice import Day
from pourstats.planning.day.slabs import Happened, Slab

Array = NDArray[np.float64]

LIKE_SHARE = 0.25
"""Of the mornings drawn, the share nearest to a first pass that was seen is kept."""
FEWEST = 40
SOON_H = 0.05
PLANT_H = 0.75
"""A load ordered now is there in this, until the job says how far the plant is. Common practice."""


@dataclass
class Known:
    """What has happened by ``now`` (hour of the day), by pour_id; and who is where."""

    now: float
    slabs: dict[str, Happened] = field(default_factory=dict)
    people: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def read(jobs: pd.DataFrame, so_far: Mapping[str, pd.DataFrame] | None, now: pd.Timestamp) -> Known:
    """What the frames of the day say of each job; what lies after ``now`` is left out."""
    midnight = now.normalize()
    found = Known((now - midnight).total_seconds() / 3600.0)
    frames = dict(so_far or {})

    def hour(frame: pd.DataFrame, name: str, last: bool = False) -> float | None:
        if name not in frame:
            return None
        times = pd.to_datetime(frame[name]).dropna()
        times = times[times <= now]
        if not len(times):
            return None
        moment = times.max() if last else times.min()
        return float((moment - midnight).total_seconds() / 3600.0)

    for name in [str(one) for one in jobs["pour_id"]]:
        pours, loads, passes = (_of(frames.get(t), name) for t in ("pours", "trucks", "passes"))
        done = hour(pours, "passes_done")
        happened = Happened(
            begin=_first(hour(pours, "place_start"), hour(loads, "pour_start")),
            end=hour(pours, "place_end"),
            first=_first(hour(passes, "start"), hour(pours, "machine_on")),
            last=done,
            sawn=hour(pours, "saw_end", last=True),
            truck=hour(loads, "arrived"),
            ordered=_ordered(loads, midnight),
        )
        found.slabs[name] = happened
        found.notes += _told(name, happened)
    turned = frames.get("passes")
    if turned is not None and len(turned) and "worker" in turned:
        for worker, name in zip(turned["worker"], turned["pour_id"], strict=True):
            if isinstance(worker, str) and str(name) in found.slabs:
                found.people[worker] = str(name)
    crew = frames.get("crew_time")
    if crew is not None and len(crew):
        begun = crew[pd.to_datetime(crew["start"]) <= now]
        begun = begun[begun["pour_id"].astype(str).isin(found.slabs)]
        for worker, rows in begun.sort_values("start").groupby("worker"):
            found.people[str(worker)] = str(rows["pour_id"].iloc[-1])
    return found


def _of(frame: pd.DataFrame | None, pour_id: str) -> pd.DataFrame:
    if frame is None or "pour_id" not in frame:
        return pd.DataFrame()
    return frame[frame["pour_id"].astype(str) == pour_id]


def _ordered(loads: pd.DataFrame, midnight: pd.Timestamp) -> float | None:
    """When the first load was ordered for, also where that lies ahead."""
    due = pd.to_datetime(loads["due"]).dropna() if "due" in loads else pd.Series(dtype=object)
    return float((due.min() - midnight).total_seconds() / 3600.0) if len(due) else None


def _first(*times: float | None) -> float | None:
    known = [time for time in times if time is not None]
    return min(known) if known else None


def _told(name: str, seen: Happened) -> list[str]:
    steps = (
        ("sawn at", seen.sawn), ("last pass off at", seen.last),
        ("on the machine since", seen.first), ("placed by", seen.end),
        ("being placed since", seen.begin), ("first truck in at", seen.truck),
    )  # fmt: skip
    for words, time in steps:
        if time is not None:
            minutes = round(time * 60)
            return [f"{name}: {words} {minutes // 60}:{minutes % 60:02d}."]
    return [f"{name}: nothing yet."]


def conditioned(day: Day, known: Known) -> Day:
    """The day that is left: mornings that agree with what was seen, starts still to be met."""
    keep = np.ones(day.count, bool)
    slabs = []
    for one in day.slabs:
        seen = known.slabs.get(one.pour_id, Happened())
        slab = _placed(one, seen, known.now)
        keep = _agreeing(slab, seen, known.now, keep)
        slabs.append(replace(slab, happened=seen, seen={}))
    rows = np.resize(np.flatnonzero(keep), day.count)
    names = [one.pour_id for one in slabs]
    where = {
        place: names.index(known.people[person.name])
        for place, person in enumerate(day.people)
        if known.people.get(person.name) in names
    }
    return replace(
        day,
        slabs=tuple(slab.taken(rows) for slab in slabs),
        rules=replace(day.rules, day_start=max(day.rules.day_start, known.now)),
        now=known.now,
        where=where,
    )


def _placed(one: Slab, seen: Happened, now: float) -> Slab:
    """The slab with the starts that are left to it."""
    if seen.begin is not None:
        return replace(one, fixed=seen.begin, starts=(seen.begin,))
    if one.fixed is None and seen.ordered is not None:
        # What is ordered is as good as agreed on.
        one = replace(one, fixed=seen.ordered, starts=(seen.ordered,))
    if seen.truck is not None or (one.fixed is not None and one.fixed <= now):
        start = one.fixed if one.fixed is not None else (seen.truck or now)
        late = one.late_h
        if seen.truck is None:
            # A truck that is overdue is as late again from now on as trucks are.
            late = np.where(start + late > now, late, now - start + late)
        return replace(one, fixed=start, starts=(start,), late_h=late)
    if one.fixed is not None:
        return one
    left = tuple(t for t in one.starts if t >= now + PLANT_H)
    return replace(one, starts=left or (float(np.ceil((now + PLANT_H) * 2) / 2),))


def _agreeing(slab: Slab, seen: Happened, now: float, keep: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mornings that agree with a slab so far, of those kept; all of them where too few would be."""
    at = slab.at(slab.starts[0])
    agrees = np.ones(keep.size, bool)
    if seen.begin is None:
        return keep
    if seen.first is not None:
        end = seen.end if seen.end is not None else seen.begin + at.place_h
        off = np.abs(end + at.ready_h - seen.first)
        agrees = off <= np.quantile(off[keep], LIKE_SHARE)
        if seen.last is None:
            agrees &= seen.first + at.span_h > now
    elif seen.end is not None:
        agrees = seen.end + at.ready_h > now
    else:
        agrees = seen.begin + at.place_h > now
    both = keep & agrees
    return both if both.sum() >= FEWEST else keep

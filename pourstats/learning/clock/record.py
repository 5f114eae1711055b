"""What a record says about its passes: one row a pour, from taps, passes or the short log."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock.conditions import hours, number, words

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Record:
    """Pours that tell something, with their times in hours since 1970 (NaN where blank)."""

    pours: pd.DataFrame
    first_h: Array
    """When the slab took the machine: `ready` where logged, else the first pass's start."""
    late: NDArray[np.bool_]
    """The start was late for people or machines: the slab was ready by then, or before."""
    held: NDArray[np.bool_]
    """Held up, whether or not `ready` says since when."""
    wait_min: Array
    """Minutes between ready and start where both are logged."""
    start_h: Array
    """The first pass as it was begun."""
    last_h: Array
    count: Array
    fractions: tuple[tuple[int, int, float], ...]
    """(pass, passes, share of the way from first start to last end) of later passes."""
    print_in: Array
    """Boot print at the first pass."""
    ride_on: Array
    """1 where the first pass was run on a ride-on machine, 0 on a walk-behind."""


@dataclass(frozen=True)
class RideOn:
    """On which machine slabs of a size were begun: log area and 1 for a ride-on, a pour each."""

    log_area: Array
    ridden: Array

    def chance(self, area_ft2: Array) -> Array:
        """Chance of a ride-on by area: the share among slabs of like size, leaning to none."""
        if not self.ridden.any():
            return np.zeros(area_ft2.size)
        near = np.exp(-0.5 * ((np.log(area_ft2)[:, None] - self.log_area) / 0.4) ** 2)
        return np.asarray((near @ self.ridden) / (near.sum(axis=1) + 0.5))


FLOOR_MIN = 15.0
"""A first pass that begins so soon after the end of placing waited for the placing, not the set."""


@dataclass(frozen=True)
class Chasing:
    """Whether the crew sends the machine after the placing, before it is done, by size of slab.

    One row a pour that was ready, or nearly, by the end of placing: its log area, and 1 where the
    machine was on before that, 0 where the crew placed to the end first.
    """

    log_area: Array
    early: Array

    def chance(self, area_ft2: Array) -> Array:
        """Chance that a slab of an area is begun early if ready: the crew's own, else by size.

        Before the record says, half of slabs of 3,500 ft2 and more of larger ones: it takes hands
        to spare (common practice, no source).
        """
        log_area = np.log(area_ft2)
        usual = 1.0 / (1.0 + np.exp(-2.5 * (log_area - np.log(3500.0))))
        near = np.exp(-0.5 * ((log_area[:, None] - self.log_area) / 0.5) ** 2)
        return np.asarray((near @ self.early + usual) / (near.sum(axis=1) + 1.0))


BUSY_H = 0.3
"""A finisher whose pass on another slab ended within this before the start came late for it."""


def record(pours: pd.DataFrame, passes: pd.DataFrame | None) -> Record:
    """Gather one row a pour; pours without place_start or without a first pass are kept blank."""
    pours = pours.reset_index(drop=True)
    n = len(pours)
    first = hours(pours["machine_on"]) if "machine_on" in pours else np.full(n, np.nan)
    last = hours(pours["passes_done"]) if "passes_done" in pours else np.full(n, np.nan)
    count = number(pours, "pass_count")
    late = np.zeros(n, bool)
    held = np.zeros(n, bool)
    wait = np.full(n, np.nan)
    print_in = np.full(n, np.nan)
    ride_on = np.full(n, np.nan)
    started = first.copy()
    fractions: list[tuple[int, int, float]] = []
    if passes is not None and len(passes):
        row = {pid: i for i, pid in enumerate(words(pours, "pour_id"))}
        table = pd.DataFrame(
            {
                "row": [row.get(pid, -1) for pid in words(passes, "pour_id")],
                "start": hours(passes["start"]),
                "end": hours(passes["end"]) if "end" in passes else np.nan,
                "ready": hours(passes["ready"]) if "ready" in passes else np.nan,
                "held": words(passes, "held_up"),
                "part": words(passes, "part"),
                "worker": words(passes, "worker"),
                "print": number(passes, "footprint"),
                "machine": words(passes, "machine"),
            }
        )
        busy = _busy_elsewhere(table)
        table["busy"] = busy
        table = table[(table["row"] >= 0) & (table["part"] != "edges") & table["start"].notna()]
        table = table.sort_values(["row", "start"], kind="stable")
        ends = table.groupby("row")["end"].max()
        starts = table.groupby("row")["start"].max()
        last_pass = ends.where(ends.notna() & (ends >= starts), starts)
        opening = table.drop_duplicates("row")
        at = opening["row"].to_numpy()
        began = opening["start"].to_numpy()
        ready = opening["ready"].to_numpy()
        hindered = opening["held"].isin(["other_slab", "people", "machine", "rain"]).to_numpy()
        hindered = hindered | opening["busy"].to_numpy(dtype=bool)
        started[at] = began
        first[at] = np.where(np.isnan(ready) | (ready > began), began, ready)
        held[at] = hindered | (ready < began - 0.05)
        late[at] = hindered & np.isnan(ready)
        wait[at] = np.maximum(began - ready, 0.0) * 60.0
        print_in[at] = opening["print"].to_numpy()
        machine = opening["machine"].to_numpy()
        ride_on[at] = np.where(machine == "", np.nan, machine == "ride_on")
        known = np.asarray(last_pass.index)
        last[known] = np.where(np.isnan(last[known]), last_pass.to_numpy(), last[known])
        many = table.groupby("row").size()
        counted = np.asarray(many.index)
        count[counted] = np.where(
            np.isnan(count[counted]), many.to_numpy(dtype=float), count[counted]
        )
        for index, own in table[table["row"] >= n - 600].groupby("row")["start"]:
            i = int(str(index))
            length = last[i] - started[i]
            if len(own) > 1 and length > 0:
                share = (own.to_numpy() - started[i]) / length
                fractions += [(j + 1, len(own), float(share[j])) for j in range(1, len(own))]
    last = np.where(last > started, last, np.nan)
    return Record(
        pours, first, late, held, wait, started, last, count, tuple(fractions), print_in, ride_on
    )


def _busy_elsewhere(table: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether each pass's worker came straight from a pass on another pour."""
    busy = np.zeros(len(table), bool)
    named = table[table["worker"] != ""]
    for _, own in named.groupby("worker"):
        if own["row"].nunique() < 2:
            continue
        own = own.sort_values("start")
        rows, start, end = (own[c].to_numpy() for c in ("row", "start", "end"))
        place = own.index.to_numpy()
        for i in range(1, len(own)):
            if rows[i - 1] != rows[i] and 0 <= start[i] - end[i - 1] <= BUSY_H:
                busy[place[i]] = True
    return busy

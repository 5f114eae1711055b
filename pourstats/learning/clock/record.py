"""What a record says about its passes: one row a pour, from taps, passes or the short log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock import elsewhere
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
    tool: list[str]
    """With what the first pass was begun, empty where nobody wrote it."""
    last_end_h: Array
    """When the machine was first on the end placed last, where the ends were logged apart."""


LATEST = 600
"""Pours whose passes' spacing is learned from, the newest."""
HINDERED = ("other_slab", "people", "machine", "rain")


def record(
    pours: pd.DataFrame, passes: pd.DataFrame | None, crew_time: pd.DataFrame | None = None
) -> Record:
    """Gather one row a pour; pours without place_start or without a first pass are kept blank.

    A pass that was run over one end and then over the other, logged as two, counts once.
    """
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
    last_end = np.full(n, np.nan)
    tool = [""] * n
    started = first.copy()
    fractions: list[tuple[int, int, float]] = []
    ids = words(pours, "pour_id")
    if passes is not None and len(passes):
        table = _table(passes, ids)
        opening = table.drop_duplicates("row")
        at = opening["row"].to_numpy()
        began = opening["start"].to_numpy()
        ready = opening["ready"].to_numpy()
        hindered = opening["held"].isin(HINDERED).to_numpy()
        hindered = hindered | opening["busy"].to_numpy(dtype=bool)
        started[at] = began
        first[at] = np.where(np.isnan(ready) | (ready > began), began, ready)
        held[at] = hindered | (ready < began - 0.05)
        late[at] = hindered & np.isnan(ready)
        wait[at] = np.maximum(began - ready, 0.0) * 60.0
        print_in[at] = opening["print"].to_numpy()
        machine = opening["machine"].to_numpy()
        ride_on[at] = np.where(machine == "", np.nan, machine == "ride_on")
        for i, word in zip(at, opening["tool"], strict=True):
            tool[i] = word
        ends_last = table[table["part"] == "last_end"].drop_duplicates("row")
        last_end[ends_last["row"].to_numpy()] = ends_last["start"].to_numpy()
        off = table.groupby("row")["end"].max()
        on = table.groupby("row")["start"].max()
        _fill(last, off.where(off.notna() & (off >= on), on))
        table = table[_rounds(table)]
        _fill(count, table.groupby("row").size())
        for index, own in table[table["row"] >= n - LATEST].groupby("row")["start"]:
            i = int(str(index))
            length = last[i] - started[i]
            if len(own) > 1 and length > 0:
                share = (own.to_numpy() - started[i]) / length
                fractions += [(j + 1, len(own), float(share[j])) for j in range(1, len(own))]
    last = np.where(last > started, last, np.nan)
    called_away = elsewhere.by_crew_time(ids, started, crew_time)
    # A start that came no later than `ready` wasn't late, wherever the people came from.
    held |= called_away & ~(wait < 3.0)
    late |= called_away & np.isnan(wait)
    return Record(
        pours=pours,
        first_h=first,
        late=late,
        held=held,
        wait_min=wait,
        start_h=started,
        last_h=last,
        count=count,
        fractions=tuple(fractions),
        print_in=print_in,
        ride_on=ride_on,
        tool=tool,
        last_end_h=last_end,
    )


def _table(passes: pd.DataFrame, ids: list[str]) -> pd.DataFrame:
    """Passes of the pours, edges left out, by pour (`row`) and start; times in hours."""
    row = {pid: i for i, pid in enumerate(ids)}
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
            "tool": words(passes, "tool"),
        }
    )
    table["busy"] = elsewhere.by_passes(table)
    table = table[(table["row"] >= 0) & (table["part"] != "edges") & table["start"].notna()]
    return table.sort_values(["row", "start"], kind="stable")


def _fill(values: Array, found: pd.Series[Any]) -> None:
    """Put found values, by pour, where nothing stands yet."""
    at = np.asarray(found.index)
    blank = np.isnan(values[at])
    values[at[blank]] = found.to_numpy(dtype=float)[blank]


def _rounds(table: pd.DataFrame) -> NDArray[np.bool_]:
    """Rows that stand for a pass over the slab: one end's alone where both ends were logged."""
    first, last = table["part"] == "first_end", table["part"] == "last_end"
    at = table["row"]
    more_first = first.groupby(at).transform("sum") >= last.groupby(at).transform("sum")
    return np.asarray(~(last & more_first) & ~(first & ~more_first))

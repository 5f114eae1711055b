"""Clock times written without a date → times, and the order that times must keep.

Arrays in, arrays out, so that a corrected pour's rows can be resolved anew by the same rules.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourstats.logs.tables import EARLY_TASKS, Table

Times = NDArray[np.datetime64]
NONE = np.datetime64("NaT", "us")
_DAY = np.timedelta64(1, "D").astype("timedelta64[us]")


@dataclass(frozen=True)
class Broken:
    """A rule of time that some rows broke: the later-named column, the rows, and the words."""

    column: str
    rows: NDArray[np.bool_]
    reason: str


def hours(number: float) -> np.timedelta64:
    """That many hours as a timedelta in microseconds."""
    return np.timedelta64(round(number * 3_600_000_000), "us")


def resolved(
    table: Table,
    times: dict[str, Times],
    clocks: dict[str, NDArray[np.int32]],
    date: NDArray[np.datetime64],
    place_start: Times | None,
    task: NDArray[np.object_] | None = None,
) -> tuple[dict[str, Times], list[Broken]]:
    """Every time column with its bare times dated, and the rules that rows broke.

    ``times``: column → times (NaT where unknown or bare), n rows; ``clocks``: column → seconds of
    day of the bare ones, else −1; ``date``: the day they rest on; ``place_start``: the pour's (None
    for the pours themselves, which carry their own). Rules: the format page, "Times" and "Order".
    """
    n = len(date)
    day = date.astype("datetime64[us]")
    done: dict[str, Times] = {}
    slips: dict[str, NDArray[np.bool_]] = {}
    early = np.full(n, hours(6))
    if task is not None:
        early = np.where(np.isin(task.astype(str), EARLY_TASKS), hours(12), early)
    columns = [column for column in table.columns if column.kind == "time" and column.name in times]
    # place_start first, since the rest of a pour rests on it.
    columns.sort(key=lambda column: (column.name != "place_start", column.end_of is not None))
    for column in columns:
        name = column.name
        stood = times[name]
        clock = clocks.get(name)
        if clock is None or not (clock >= 0).any():
            done[name] = stood
            continue
        bare = clock >= 0
        at = day + clock.astype("timedelta64[s]").astype("timedelta64[us]")
        moved = np.zeros(n, dtype=bool)
        if table.anchor in ("own", "pour") and name != "place_start":
            start = place_start if place_start is not None else done.get("place_start")
            if start is not None:
                margin = np.maximum(early, hours(column.early_h))
                moved = at < start - margin
                if column.after_start:
                    moved |= at < start
            if column.end_of is not None and column.end_of in done:
                moved |= at < done[column.end_of]
        later = np.where(moved, at + _DAY, at)
        slips[name] = bare & moved
        done[name] = np.where(bare, later, stood)
    return done, _broken(table, done, slips)


def _broken(
    table: Table, times: dict[str, Times], moved: dict[str, NDArray[np.bool_]]
) -> list[Broken]:
    found: list[Broken] = []
    for first, last in table.order:
        if first not in times or last not in times:
            continue
        length = times[last] - times[first]
        found.append(Broken(last, length < hours(0), f"comes before {first}; check both times"))
        if table.slip_h is not None and last in moved:
            # Only an end taken past a midnight that its start is not: with both on the next day,
            # the next day made nothing longer.
            slip = moved[last] & (length > hours(table.slip_h))
            slip &= times[last].astype("datetime64[D]") > times[first].astype("datetime64[D]")
            found.append(
                Broken(
                    last,
                    slip,
                    f"would make it last over {table.slip_h:g} h, into the next day; check both"
                    " times, or write them with their dates",
                )
            )
    for first, last, most, words in table.span:
        if first in times and last in times:
            over = times[last] - times[first] > hours(most)
            found.append(Broken(last, over, f"is {words}; check both dates"))
    return [rule for rule in found if rule.rows.any()]

"""The slabs of a day: what each needs, and its draws at any start."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning import clock
from pourstats.learning.clock import saw
from pourstats.learning.clock.conditions import hours, number
from pourstats.learning.hours import HoursModel
from pourstats.learning.unloading import Unloading
from pourstats.planning import trucks
from pourstats.planning.day.asked import FORMS_SURE, USUAL_HANDS, Asked, asked_of
from pourstats.planning.day.mornings import level
from pourstats.planning.day.rules import Rules
from pourstats.planning.finishing import SAW_FT_H
from pourstats.planning.truck_line import line

Array = NDArray[np.float64]

GRID_H = 3.0
"""The clock is asked at starts this far apart, and read between them."""
FT2_A_TROWEL = 2000.0
"""Floor that one walk-behind keeps up with. Common practice, no source."""


@dataclass(frozen=True)
class Moments:
    """A slab's draws at one start, hours; see :class:`Slab`."""

    place_h: Array
    ready_h: Array
    """First pass after the end of placing; negative where the machine chases it."""
    span_h: Array
    """First pass to the last one off."""
    opens_h: Array
    """Saw window after the last pass (early entry) or the end of placing (conventional)."""
    closes_h: Array
    """After the end of placing."""


@dataclass(frozen=True)
class Happened:
    """What of a slab has happened, hours of the day; None where it hasn't."""

    begin: float | None = None
    end: float | None = None
    first: float | None = None
    last: float | None = None
    sawn: float | None = None
    truck: float | None = None
    ordered: float | None = None
    """When the first load of the log is due, there or not."""


@dataclass(frozen=True)
class Slab:
    """One pour of a day; hours of the day, draws along the last axis."""

    pour_id: str
    site: str
    travel_h: float
    hands: int
    finish_hands: int
    nominal_hands: float
    """Hands that the draws of placing are for."""
    early: float | None
    latest: float
    fixed: float | None
    starts: tuple[float, ...]
    """Starts to choose from."""
    saw: saw.Method | None
    saw_h: float
    """Hours of cutting, by the tool."""
    trowels: int
    outdoors: bool
    set_up_h: Array
    clean_h: Array
    late_h: Array
    """First truck after its time; never before it."""
    over_usd: Array
    """Billed waits of the loads with the crew ready."""
    slack_h: Array
    """How long the first truck can wait before it is billed."""
    loads: int
    balance: bool
    """Whether the last load is sized and called late."""
    spacing_min: float
    sunset: float
    grid: Array
    tables: tuple[Array, Array, Array, Array, Array]
    seen: dict[float, Moments] = field(default_factory=dict, compare=False)
    happened: Happened = Happened()
    saw_tool: str = ""
    """The job's saw_type; handheld cuts in the wet saw's window, but slower."""
    out_h: Array = field(default_factory=lambda: np.zeros(1), compare=False)
    """Hours from the first concrete until the loads ordered at the spacing are empty (draw)."""
    plant_first: float = 0.0
    """Earliest time for which a load can be ordered."""
    plant_last: float = 24.0
    """Latest time for which the first load can be ordered, so that the last one is still loaded
    before the plant closes."""

    @property
    def wet(self) -> bool:
        """Whether its concrete is there: it can't be put off any more."""
        return self.happened.begin is not None or self.happened.truck is not None

    @cached_property
    def set_up_allowed_h(self) -> float:
        """Hours before the first load at which the set-up begins."""
        return level(self.set_up_h, FORMS_SURE)

    def at(self, start: float) -> Moments:
        """The draws at a start: between two that the clock was asked for, in proportion."""
        found = self.seen.get(start)
        if found is None:
            place = int(np.clip(np.searchsorted(self.grid, start) - 1, 0, len(self.grid) - 1))
            after = min(place + 1, len(self.grid) - 1)
            gap = self.grid[after] - self.grid[place]
            share = float(np.clip((start - self.grid[place]) / gap, 0, 1)) if gap > 0 else 0.0
            found = Moments(
                *((1 - share) * table[place] + share * table[after] for table in self.tables)
            )
            self.seen[start] = found
        return found

    def taken(self, rows: slice | NDArray[np.int64]) -> Slab:
        """The same slab with some of its draws."""
        place, ready, span, opens, closes = (table[:, rows] for table in self.tables)
        return replace(
            self,
            set_up_h=self.set_up_h[rows],
            clean_h=self.clean_h[rows],
            late_h=self.late_h[rows],
            over_usd=self.over_usd[rows],
            slack_h=self.slack_h[rows],
            tables=(place, ready, span, opens, closes),
            seen={},
        )


def held_by_loads(place_h: Array, out_h: Array) -> Array:
    """Hours of placing that are no shorter than until the loads are empty (draw).

    A morning on which placing is slow is one on which loads empty slowly: the two are matched by
    rank, since the longer of two draws that know nothing of each other would be too long.
    """
    rank = np.argsort(np.argsort(place_h, kind="stable"), kind="stable")
    return np.asarray(np.maximum(place_h, np.sort(out_h)[rank]))


def slabs_of(
    jobs: pd.DataFrame,
    weather: pd.DataFrame | None,
    fitted: clock.Clock,
    learned: Unloading,
    model: HoursModel,
    frames: Mapping[str, pd.DataFrame],
    house: Mapping[str, Any],
    rules: Rules,
    seed: int,
    draws: int,
    usual_hands: int = USUAL_HANDS,
) -> list[Slab]:
    """The slabs of one date's jobs; ``usual_hands`` place one that doesn't say how many."""
    jobs = jobs.reset_index(drop=True)
    asked = asked_of(jobs, learned, model, frames, house, seed, draws, usual_hands)
    starts = [one.starts(rules) for one in asked]
    # Every call of the clock asks for all slabs at once, each at a start of its own, so that a
    # slab's draws are the same morning whatever its start.
    spans = [one[-1] - one[0] for one in starts]
    calls = 1 if max(spans) == 0 else int(np.ceil(max(spans) / GRID_H)) + 1
    grids = [np.linspace(one[0], one[-1], calls) for one in starts]
    tables = _moments(jobs, weather, fitted, asked, grids, seed, draws)
    terms = trucks.assumed(house)
    found = []
    for one, options, grid, table in zip(asked, starts, grids, tables, strict=True):
        yd3, balance = trucks.loads(one.order_yd3, terms["truck_yd3"])
        due = np.asarray(options[0] + np.arange(yd3.size) * 0.75, dtype=np.float64)
        loads = learned.loads_of(one.row, yd3, due, seed, draws)
        queue = line(
            one.spacing_min, yd3, loads, balance, rules.free_min_per_yd3,
            terms["free_clock"] == "due",
        )  # fmt: skip
        fixed, out_h = yd3.size - balance, np.zeros(draws)
        place_h, *others = table
        if fixed > 1:
            # Placing isn't over before the loads ordered so far apart have come and are empty.
            out_h = (queue.empty_min[:, :fixed].max(axis=1) - queue.start_min[:, 0]) / 60.0
            place_h = np.stack([held_by_loads(each, out_h) for each in place_h])
        first = loads.change_min[:, 0] + loads.unload_min[:, 0] + loads.wash_min[:, 0]
        sawn = one.method is not None
        found.append(
            Slab(
                pour_id=str(one.row["pour_id"]),
                site="" if pd.isna(one.row.get("site")) else str(one.row["site"]),
                travel_h=one.travel_h,
                hands=int(one.hands),
                finish_hands=one.finish_hands,
                nominal_hands=one.hands,
                early=one.early,
                latest=rules.day_end if one.late is None else one.late,
                fixed=one.agreed,
                starts=options,
                saw=one.method,
                saw_h=_saw_h(one.row, one.tool) if sawn else 0.0,
                saw_tool=one.tool if sawn else "",
                trowels=_trowels(one.row, rules),
                outdoors=one.outdoors,
                set_up_h=one.set_up_h,
                clean_h=one.clean_h,
                late_h=np.maximum(loads.late_min[:, 0] + loads.change_min[:, 0], 0.0) / 60.0,
                over_usd=rules.truck_wait_usd_per_min * queue.over_min,
                slack_h=np.maximum(rules.free_min_per_yd3 * yd3[0] - first, 0.0) / 60.0,
                loads=int(yd3.size),
                balance=balance,
                spacing_min=one.spacing_min,
                sunset=one.sunset,
                grid=grid,
                out_h=out_h,
                plant_first=one.plant_first(rules),
                plant_last=one.plant_last(rules),
                tables=(place_h, *others),  # type: ignore[arg-type]
            )
        )
    return found


def _moments(
    jobs: pd.DataFrame,
    weather: pd.DataFrame | None,
    fitted: clock.Clock,
    asked: list[Asked],
    grids: list[Array],
    seed: int,
    draws: int,
) -> list[list[Array]]:
    """Per slab the five tables of :class:`Moments` (start x draw), at the starts of its grid."""
    midnight = pd.Timestamp(jobs["date"].iloc[0]).normalize()
    zero = float(hours([midnight])[0])
    methods = [one.method for one in asked]
    tables: list[list[list[Array]]] = [[[] for _ in range(5)] for _ in asked]
    for begins in zip(*grids, strict=True):
        begun = [midnight + pd.Timedelta(hours=float(begin)) for begin in begins]
        at = jobs.assign(place_start=pd.Series(begun, index=jobs.index).astype("datetime64[s]"))
        cast = fitted.forecast(at, weather, n_draws=draws, seed=seed)
        opening, closing = saw.window_draws(cast, methods, fitted.cuts_earlier, seed)
        for row, method in enumerate(methods):
            end, first, last = cast.place_end_h[row], cast.first_h[row], cast.last_h[row]
            opened = opening[row] - (last if method == "early_entry" else end)
            values = (end - (zero + begins[row]), first - end, last - first, opened,
                      closing[row] - end)  # fmt: skip
            for table, value in zip(tables[row], values, strict=True):
                table.append(np.asarray(value))
    return [[np.stack(table) for table in each] for each in tables]


def _saw_h(job: pd.Series[Any], tool: str) -> float:
    """Hours of sawing: the ordered length, else joints both ways at thirty thicknesses."""
    one = pd.DataFrame([job])
    area, thick = number(one, "area", 1000.0)[0], number(one, "thickness", 4.0)[0]
    spacing = min(thick * 30.0 / 12.0, 15.0)
    length = number(one, "saw_length", 2.0 * area / spacing)[0]
    return float(length / SAW_FT_H.get(tool, SAW_FT_H["conventional"]))


def _trowels(job: pd.Series[Any], rules: Rules) -> int:
    """Machines that the slab asks for: none for a broom finish, else one by its area."""
    if str(job.get("finish")) == "broom":
        return 0
    area = number(pd.DataFrame([job]), "area", 1000.0)[0]
    return int(min(max(1, np.ceil(area / FT2_A_TROWEL - 0.25)), max(rules.trowels, 1)))

"""What the weather did to finishing, from the crew's own log: effects, lost hours, when to start.

The weather of an effect is that of a window fixed beforehand: the two hours after placing, or after
the last pass. Never that of the wait itself, whose length is the outcome: a long wait reaches into
the warm afternoon and would seem to be warmed by it. Effects are a least-squares fit of log time,
each adjusted for the others, with errors that allow for several gaps of one pour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock.conditions import Conditions, conditions, hours, number, words
from pourstats.learning.clock.physics import bases
from pourstats.learning.clock.record import record
from pourstats.learning.slow_finishing import slow_finishing

Array = NDArray[np.float64]

WINDOW = slice(0, 6)
"""Two hours in steps of twenty minutes."""
FEWEST = 20
"""Pours below which no effect is claimed."""
FEWEST_EACH = 5
"""Pours that a level and its opposite each need."""
TIED = 0.90
"""Share of a cause's variation that the others explain, from which they can't be told apart."""
TO_TEN_M = 1.0 / 0.484
"""Wind at the slab as a weather station reads it (`air.wind_at_slab_mph`)."""


@dataclass(frozen=True)
class Cause:
    """One column of the fit: what it is, the step it is told for, and who has it."""

    name: str
    step: str
    column: Array
    told: bool = True
    """False for what is only adjusted for."""
    having: int = 0
    """Pours that have it (a level), or all pours (a measure)."""


def patterns(
    frames: Mapping[str, pd.DataFrame], house: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """The answer of `pourstats patterns`.

    ``frames`` holds `pours`, `passes`, `weather`, `sites`, `crew` for pay; `crew_time` if known.
    Effects carry `percent` and `minutes` with 95 % intervals and the pours behind them; `apart`
    names causes that the record can't tell apart. Lost hours are against the crew's own middle for
    that slab type and finish.
    """
    pours = frames.get("pours")
    if pours is None or not len(pours) or not {"place_start", "place_end"} <= set(pours):
        pours = pd.DataFrame({"pour_id": [], "place_start": [], "place_end": []})
    pours = pours[pd.to_datetime(pours["place_end"]).notna()]
    pours = pours[pd.to_datetime(pours["place_start"]).notna()].reset_index(drop=True)
    kept = record(pours, frames.get("passes"), frames.get("crew_time"))
    weather, sites = frames.get("weather"), frames.get("sites")
    after = pours.assign(place_start=pours["place_end"])
    found = conditions(after, weather, sites, house)
    end_h = hours(pours["place_end"])
    placing_min = (end_h - hours(pours["place_start"])) * 60.0

    wait = (kept.first_h - end_h) * 60.0
    # A wait that chases the placing has no log; how the machine chases is the clock's to learn.
    chased = (wait <= 5.0) & ~kept.late
    usable = ~chased & (wait < 1440.0) & ~kept.late & (found.told > 0.7)
    first = _effects("first pass", wait, usable, found, placing_min, np.arange(len(pours)), more=[])
    gaps = _gap_effects(frames, pours, weather, sites, house)
    stay_h = kept.last_h - end_h
    lost = slow_finishing(pours, stay_h, found, frames, house)
    return {
        "pours": len(pours),
        "held_up_left_out": int(kept.late.sum()),
        "chased_left_out": int(chased.sum()),
        "first_pass": first,
        "gaps": gaps,
        **lost,
    }


def _gap_effects(
    frames: Mapping[str, pd.DataFrame],
    pours: pd.DataFrame,
    weather: pd.DataFrame | None,
    sites: pd.DataFrame | None,
    house: Mapping[str, Any] | None,
) -> dict[str, Any]:
    """Effects on the time between one pass's end and the next one's start."""
    passes = frames.get("passes")
    place = {pid: i for i, pid in enumerate(words(pours, "pour_id"))}
    rows: list[tuple[int, int, float, float]] = []
    if passes is not None and len(passes):
        table = pd.DataFrame(
            {
                "row": [place.get(pid, -1) for pid in words(passes, "pour_id")],
                "start": hours(passes["start"]),
                "end": hours(passes["end"]),
                "part": words(passes, "part"),
                "held": words(passes, "held_up"),
            }
        )
        table = table[(table["row"] >= 0) & table["part"].isin(["", "whole"])]
        table = table.dropna(subset=["start"]).sort_values(["row", "start"], kind="stable")
        row, start, end = (table[c].to_numpy() for c in ("row", "start", "end"))
        late = (~table["held"].isin(["", "no"])).to_numpy()
        order = 1
        for i in range(1, len(table)):
            order = order + 1 if row[i] == row[i - 1] else 1
            gap = (start[i] - end[i - 1]) * 60.0
            if order > 1 and not late[i] and gap > 1.0 and not np.isnan(gap):
                rows.append((int(row[i]), order, gap, float(end[i - 1])))
    if not rows:
        return _too_few("gaps between passes", 0, 0)
    at = np.array([r[0] for r in rows])
    order_no = np.array([r[1] for r in rows])
    gap_min = np.array([r[2] for r in rows])
    moment = pd.to_datetime(np.round(np.array([r[3] for r in rows]) * 3600), unit="s")
    frame = pours.iloc[at].reset_index(drop=True).assign(place_start=moment, place_end=moment)
    found = conditions(frame, weather, sites, house)
    usable = (gap_min < 600.0) & (found.told > 0.5)
    more = [
        Cause(f"pass {k}", "", (np.minimum(order_no, 5) == k).astype(float), told=False)
        for k in (3, 4, 5)
        if (np.minimum(order_no, 5) == k).any()
    ]
    return _effects("gaps between passes", gap_min, usable, found, np.zeros(len(at)), at, more=more)


def _effects(
    what: str,
    minutes: Array,
    usable: NDArray[np.bool_],
    found: Conditions,
    placing_min: Array,
    pour: NDArray[np.int64],
    more: list[Cause],
) -> dict[str, Any]:
    logged = int(np.unique(pour[~np.isnan(minutes)]).size)
    usable = usable & ~np.isnan(minutes)
    pours = int(np.unique(pour[usable]).size)
    if pours < FEWEST:
        return _too_few(what, pours, logged)
    causes = [*_causes(found, placing_min, usable, pour), *more]
    causes = [c for c in causes if np.ptp(c.column[usable]) > 0]
    # No more columns than a fifth of the pours; what says least of this gives way first.
    while len(causes) > max(pours // 5, 3):
        causes.remove(max(causes, key=_gives_way))
    columns = np.stack([c.column[usable] for c in causes], axis=1)
    y = np.log(minutes[usable])
    effect, error, tied = fit_clustered(columns, y, pour[usable])
    from scipy.special import stdtrit

    degrees = max(pours - len(causes) - 1, 3)
    reach = float(stdtrit(degrees, 0.975))
    middle = float(np.median(minutes[usable]))
    told, apart = [], []
    for i, cause in enumerate(causes):
        if not cause.told:
            continue
        if tied[i]:
            partner = causes[tied[i][0]].name
            pair = sorted([cause.name, partner])
            if pair not in apart:
                apart.append(pair)
            continue
        low, high = effect[i] - reach * error[i], effect[i] + reach * error[i]
        told.append(
            {
                "cause": cause.name,
                "step": cause.step,
                "percent": round(100 * float(np.expm1(effect[i])), 1),
                "percent_low": round(100 * float(np.expm1(low)), 1),
                "percent_high": round(100 * float(np.expm1(high)), 1),
                "minutes": round(middle * float(np.expm1(effect[i])), 1),
                "minutes_low": round(middle * float(np.expm1(low)), 1),
                "minutes_high": round(middle * float(np.expm1(high)), 1),
                "clear": bool(low > 0 or high < 0),
                "pours": pours,
                "having": cause.having,
            }
        )
    return {
        "what": what,
        "pours": pours,
        "rows": int(usable.sum()),
        "median_min": round(middle, 1),
        "effects": told,
        "apart": apart,
        "says": None,
    }


def _gives_way(cause: Cause) -> tuple[int, int]:
    """Order in which causes are left out: what is only adjusted for, then mixes few pours have.

    How long placing took stays, since the wait is counted from its end and begins before it; so
    does the number of the pass, by which gaps differ most.
    """
    if cause.name in ("area", "slump", "thickness"):
        return 3, 0
    if cause.name.startswith("mix: "):
        return 2, -cause.having
    return (1, -cause.having) if ": " in cause.name else (0, 0)


def _too_few(what: str, pours: int, logged: int) -> dict[str, Any]:
    have = f"{logged} pour{'' if logged == 1 else 's'} with {what} logged"
    if logged:
        have += f", {pours or 'none'} of them with the weather of those hours"
    return {
        "what": what,
        "pours": pours,
        "rows": 0,
        "median_min": None,
        "effects": [],
        "apart": [],
        "says": f"{have}; nothing is claimed from fewer than {FEWEST}.",
    }


def _causes(
    found: Conditions, placing_min: Array, usable: NDArray[np.bool_], pour: NDArray[np.int64]
) -> list[Cause]:
    """Columns of the fit: four of weather, exposure, base, mix; size and slump beside them."""
    n = int(np.unique(pour[usable]).size)

    def having(column: Array) -> int:
        return int(np.unique(pour[usable & (column > 0)]).size)

    air = found.air_f[:, WINDOW].mean(axis=1)
    wind = found.wind_mph[:, WINDOW].mean(axis=1) * TO_TEN_M
    humid = found.humidity_pct[:, WINDOW].mean(axis=1)
    causes = [
        Cause("air temperature", "10 °F warmer", air / 10.0, having=n),
        Cause("wind", "5 mph more", wind / 5.0, having=n),
        Cause("humidity", "10 points more", humid / 10.0, having=n),
    ]
    exposure = np.array(words(found.frame, "exposure"))
    for kind, step in (
        ("sun", "sun against shade"),
        ("mixed", "part sun against shade"),
        ("indoors", "indoors against shade"),
    ):
        column = (exposure == kind).astype(float)
        if having(column) >= FEWEST_EACH and having((exposure == "shade") * 1.0) >= FEWEST_EACH:
            causes.append(Cause(f"exposure: {kind}", step, column, having=having(column)))
    on = bases(found)
    for base in ("vapor_sheet", "foam_board", "soil"):
        column = np.array([float(base in own) for own in on])
        if FEWEST_EACH <= having(column) <= n - FEWEST_EACH:
            causes.append(Cause(f"base: {base}", "against without", column, having=having(column)))
    # Hot days get a retarder and cold ones an accelerator: the air's effect is told beside theirs.
    added = words(found.frame, "admixtures")
    for name in ("retarder", "accelerator"):
        column = np.array([float(name in text) for text in added])
        if FEWEST_EACH <= having(column) <= n - FEWEST_EACH:
            causes.append(Cause(f"added: {name}", "with against without", column,
                                having=having(column)))  # fmt: skip
    # A broomed slab is begun sooner than a troweled one, and often has a mix of its own.
    for name in ("finish", "mix"):
        level = pd.Series(words(found.frame, name))
        usual = level[usable & (level != "").to_numpy()].mode()
        for word in sorted(set(level[usable]) - {"", *usual.head(1)}):
            column = np.asarray(level == word, dtype=float)
            if having(column) >= FEWEST_EACH:
                against = f"against {usual.iloc[0]}".replace("_", " ")
                causes.append(Cause(f"{name}: {word}", against, column, having=having(column)))
    area = np.log(number(found.frame, "area", 1000.0))
    causes.append(Cause("area", "", area, told=False))
    if placing_min.any():
        long = np.maximum(placing_min - 45.0, 0.0) / 60.0
        causes.append(Cause("length of placing", "", long, told=False))
    slump = number(found.frame, "slump")
    if np.isfinite(slump[usable]).mean() > 0.5:
        middle = float(np.nanmedian(slump[usable]))
        causes.append(Cause("slump", "", np.where(np.isnan(slump), middle, slump), told=False))
    thick = number(found.frame, "thickness", 4.0)
    causes.append(Cause("thickness", "", thick, told=False))
    return causes


def fit_clustered(
    columns: Array, y: Array, cluster: NDArray[np.int64]
) -> tuple[Array, Array, list[list[int]]]:
    """Least squares with an intercept: effects, clustered errors, and what each is tied to.

    The errors are the sandwich with each residual divided by sqrt(1 - leverage) (Bell and McCaffrey
    2002, diagonal form), summed over a pour's rows. A column is tied where the others explain
    over :data:`TIED` of it; the list names them, the closest first.
    """
    centred = columns - columns.mean(axis=0)
    scale = centred.std(axis=0)
    unit = centred / np.where(scale > 0, scale, 1.0)
    cross = unit.T @ unit / len(y)
    p = unit.shape[1]
    tied: list[list[int]] = [[] for _ in range(p)]
    for i in range(p):
        others = [j for j in range(p) if j != i]
        if not others:
            continue
        solved, *_ = np.linalg.lstsq(cross[np.ix_(others, others)], cross[others, i], rcond=1e-9)
        if float(solved @ cross[others, i]) > TIED:
            tied[i] = sorted(others, key=lambda j: -abs(cross[i, j]))
    inverse = np.linalg.pinv(cross, rcond=1e-9) / len(y)
    effect = inverse @ (unit.T @ (y - y.mean()))
    leverage = np.clip(np.sum((unit @ inverse) * unit, axis=1) + 1 / len(y), 0.0, 0.95)
    residual = (y - y.mean() - unit @ effect) / np.sqrt(1.0 - leverage)
    _, group = np.unique(cluster, return_inverse=True)
    scores = np.zeros((group.max() + 1, p))
    np.add.at(scores, group, unit * residual[:, None])
    middle = scores.T @ scores
    error = np.sqrt(np.maximum(np.diag(inverse @ middle @ inverse), 0.0))
    divide = np.where(scale > 0, scale, 1.0)
    return effect / divide, error / divide, tied

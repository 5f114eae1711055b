"""Time to the first pass by science alone, and how it moves with what science doesn't know.

The slab's heat balance gives its temperature, the float-readiness clock (28 kJ/mol) its age; drying
hurries it, bleed water holds it up. Every constant that is uncertain is moved by a standard
deviation in turn: the shifts are the columns by which the crew's own record corrects the physics.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.clock.conditions import STEP_H, STEPS, USUAL, Conditions, number, words
from pourstats.science import bleed, evaporation, heat, setting
from pourstats.science.air import MPS_PER_MPH, SHELTER, celsius, fahrenheit, wind_at_slab_mph
from pourstats.science.sun import SEEN

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Constants:
    """What science leaves open; see :data:`DOUBT` for how wide."""

    energy_kj: float = 27.0
    """With sun, drying and bleeding apart: the mean of the usual exposures (:data:`EXPOSURES`) then
    goes from 50 to 70 degF as the survey does, whose times alone show 27 to 30."""
    seen: float = 0.0
    shelter: float = 0.0
    cooling: float = 1.0
    hydration: float = 1.0
    ground_c: float = 0.0
    indoors: float = 0.5
    top: float = 0.2
    """A boot 4 in wide presses on some 3 in (0.7 of its width, Prandtl): mostly the mean."""
    drying: float = 0.05
    bleed: float = 0.2


DOUBT: dict[str, float] = {
    "energy_kj": 4.5,
    "seen": 0.35,
    "shelter": 0.45,
    "cooling": 0.4,
    "hydration": 0.4,
    "ground_c": 2.5,
    "indoors": 0.3,
    "top": 0.3,
    "drying": 0.10,
    "bleed": 0.3,
}
"""One standard deviation of each constant: energy from the spread of ASCC's float times and the set
data; the rest from the errors that the science pages state, or common practice without source."""
REHEATED = ("seen", "shelter", "cooling", "hydration", "ground_c", "indoors")
"""Constants whose change needs the heat balance again."""
MOST_SHIFT = 0.3
"""Most that one doubtful constant moves log time; in weather above freezing none comes near."""
LATER_AGE = 1.6
"""Age, against that of the first pass, near the end of finishing: a scuff print against a quarter
inch (L&M Concrete News 0810: final against initial set)."""


EXPOSURES = ("indoors", "shade", "mixed", "sun")
"""Slabs of which ASCC's survey is taken for the mean, under a usual sun. Our reading: its firms
were asked what they expect at a temperature, in no exposure. Shade takes longer, sun less."""


@dataclass(frozen=True)
class Ready:
    """Physics of n slabs: log hours to the first pass, its shifts, and what comes with it."""

    log_h: Array
    shifts: Array
    """(slab x constant): change of log hours by one standard deviation."""
    names: tuple[str, ...]
    later_log_h: Array
    """Log hours from the first pass to :data:`LATER_AGE` times its age."""
    evaporation_lb_ft2_h: Array
    """Mean until the first pass."""
    evaporation_max_lb_ft2_h: Array
    slab_f: Array
    """Mean slab temperature until the first pass."""
    crust: Array
    """Whether it dries faster than it bleeds."""
    day_f: Array
    """Mean slab temperature over the twelve hours from placing."""
    wet: Array
    """Log time by which bleed water may outlast the stiffening."""


@dataclass(frozen=True)
class _Mix:
    """What the mix sets, whatever the constants: the age to reach, the water to dry."""

    goal_h: Array
    bleed_lb_ft2: Array


@dataclass(frozen=True)
class _Warmth:
    mean_c: Array
    top_c: Array
    dried: Array
    """lb/ft2/h of each step."""


def ready(found: Conditions) -> Ready:
    """Physics of slabs in their conditions."""
    plain = Constants()
    warmth, mix = _warmth(found, plain), _mix(found)
    log_h, extra = _log_hours(mix, plain, warmth, _level())
    shifts, names = [], []
    exposure = np.array(words(found.frame, "exposure"))
    for name, doubt in DOUBT.items():
        moved = replace(plain, **{name: getattr(plain, name) + doubt})
        again = _warmth(found, moved) if name in REHEATED else warmth
        shift = _log_hours(mix, moved, again, _level())[0] - log_h
        # Near freezing a degree decides between hours and never: no slope for both directions.
        shift = np.clip(shift, -MOST_SHIFT, MOST_SHIFT)
        if name == "seen":
            # How much sun a sunny, a mixed and a shady slab sees are three doubts, not one.
            for kind in ("sun", "mixed", "shade"):
                own = exposure == kind if kind != "mixed" else ~np.isin(exposure, ["sun", "shade"])
                shifts.append(shift * own)
                names.append(f"seen_{kind}")
            continue
        shifts.append(shift)
        names.append(name)
    return Ready(log_h, np.stack(shifts, axis=1), tuple(names), *extra)


def log_hours(found: Conditions) -> Array:
    """Log hours to the first pass by the middle constants, without the rest."""
    plain = Constants()
    return _log_hours(_mix(found), plain, _warmth(found, plain), _level())[0]


def mix_log_delay(found: Conditions) -> Array:
    """Log factor that each slab's mix makes on its time (science's middle values)."""
    slump, scm = number(found.frame, "slump"), number(found.frame, "scm")
    added = [text.split(";") for text in words(found.frame, "admixtures")]
    cold = celsius(0.5 * (found.concrete_f + found.air_f[:, :6].mean(axis=1)))
    return np.log(
        [
            setting.mix_delay(slump[i], [a.strip() for a in added[i]], scm[i], float(cold[i]))
            for i in range(found.count)
        ]
    )


def bases(found: Conditions) -> list[set[str]]:
    """What each slab lies on, as a set of the log's words."""
    texts = words(found.frame, "base")
    own = {text: {w.strip() for w in text.split(";") if w.strip()} for text in set(texts)}
    return [own[text] for text in texts]


def _warmth(found: Conditions, constants: Constants) -> _Warmth:
    exposure = [kind or "mixed" for kind in words(found.frame, "exposure")]
    inside = np.array([kind == "indoors" for kind in exposure])
    shelter = np.array([SHELTER.get(kind, 0.8) for kind in exposure]) * np.exp(constants.shelter)
    seen = np.array([SEEN.get(kind, 0.55) for kind in exposure]) * np.exp(constants.seen)
    below = [
        "foam_board" if "foam_board" in own else ("stone" if "stone" in own else "soil")
        for own in bases(found)
    ]
    ground_c = celsius(found.ground_f) + constants.ground_c
    air_c = celsius(found.air_f)
    # Air in a building lies between the open air and the ground.
    blend = np.where(inside, constants.indoors, 0.0)[:, None]
    air_c = air_c * (1.0 - blend) + ground_c[:, None] * blend
    wind = found.wind_mph * np.minimum(shelter, 1.5)[:, None]
    thick = np.clip(number(found.frame, "thickness", 4.0), 1.5, 24.0) * 0.0254
    if not found.count:
        empty = np.zeros((0, STEPS))
        return _Warmth(empty, empty, empty)
    slab = heat.slab_temperatures(
        air_c,
        found.humidity_pct,
        wind * MPS_PER_MPH,
        found.sun_w_m2 * np.minimum(seen, 1.2)[:, None],
        step_h=STEP_H,
        concrete_c=celsius(found.concrete_f),
        thickness_m=thick,
        base=below,
        base_c=ground_c,
        hydration=constants.hydration,
        evaporation=constants.cooling,
        cloud_share=np.where(inside[:, None], 1.0, found.cloud_share),
        emissivity=np.where(inside, 0.3, heat.EMISSIVITY),
        slab_layers=3,
        base_layers=4,
    )
    mean = 0.5 * (slab.mean_c[:, 1:] + slab.mean_c[:, :-1])
    top = 0.5 * (slab.surface_c[:, 1:] + slab.surface_c[:, :-1])
    dried = evaporation.menzel_lb_ft2_h(
        fahrenheit(top), fahrenheit(air_c), found.humidity_pct, wind
    )
    return _Warmth(mean, top, dried)


def _log_hours(
    mix: _Mix, constants: Constants, warmth: _Warmth, level: float
) -> tuple[Array, tuple[Array, ...]]:
    felt = constants.top * warmth.top_c + (1.0 - constants.top) * warmth.mean_c
    rate = setting.affinity(felt, constants.energy_kj * 1000.0, setting.REFERENCE_C)
    age = _running(rate * STEP_H)
    stiff = _reached(age, mix.goal_h)
    dried = _running(warmth.dried * STEP_H)
    lost = _at(dried, stiff)
    pace = lost / np.maximum(stiff, 0.1)
    dry = _reached(dried, mix.bleed_lb_ft2)
    held = np.log(np.maximum(stiff, np.minimum(dry, 1.35 * stiff)) / stiff)
    log_h = (
        np.log(stiff)
        - constants.drying * np.log((pace + 0.03) / (0.035 + 0.03))
        + constants.bleed * held
        + level
    )
    hours = np.exp(log_h)
    later = np.maximum(_reached(age, LATER_AGE * mix.goal_h) - stiff, 0.1)
    first = np.arange(STEPS)[None, :] * STEP_H < hours[:, None]
    first[:, 0] = True
    most = np.where(first, warmth.dried, 0.0).max(axis=1) if log_h.size else np.zeros(0)
    mean_f = fahrenheit((warmth.mean_c * first).sum(axis=1) / first.sum(axis=1))
    crust = (lost > 2.0 * mix.bleed_lb_ft2).astype(float)
    day_f = fahrenheit(warmth.mean_c.mean(axis=1))
    return log_h, (np.log(later), pace, most, mean_f, crust, day_f, held)


def _mix(found: Conditions) -> _Mix:
    return _Mix(setting.FLOAT_H * np.exp(mix_log_delay(found)), _bleeding(found))


def _bleeding(found: Conditions) -> Array:
    """Bleed water in lb/ft2 that has to dry off."""
    added = words(found.frame, "admixtures")
    reinforced = words(found.frame, "reinforcement")
    on = bases(found)
    share = np.array(
        [
            (0.5 if "air_entrainer" in added[i] else 1.0)
            * (0.75 if "fiber" in reinforced[i] else 1.0)
            * (1.35 if on[i] & {"vapor_sheet", "foam_board"} else 1.0)
            for i in range(found.count)
        ]
    )
    reduced = np.array(["range_reducer" in text for text in added])
    slump = np.where(reduced, 4.0, number(found.frame, "slump", 5.0))
    capacity = bleed.capacity_kg_m2(number(found.frame, "thickness", 4.0), slump, share)
    return np.asarray(capacity / evaporation.KG_M2_PER_LB_FT2)


def _running(steps: Array) -> Array:
    return np.concatenate([np.zeros((steps.shape[0], 1)), np.cumsum(steps, axis=1)], axis=1)


def _reached(running: Array, goal: Array) -> Array:
    """Hours at which a running sum reaches a goal; beyond the end at the last steps' pace."""
    place = np.clip((running < goal[:, None]).sum(axis=1), 1, running.shape[1] - 1)
    row = np.arange(running.shape[0])
    below, above = running[row, place - 1], running[row, place]
    pace = np.maximum(above - below, 1e-6)
    return np.asarray(np.minimum((place - 1 + (goal - below) / pace) * STEP_H, 72.0))


def _at(running: Array, hours: Array) -> Array:
    place = np.clip(hours / STEP_H, 0.0, running.shape[1] - 1.001)
    below = place.astype(int)
    row = np.arange(running.shape[0])
    low, high = running[row, below], running[row, below + 1]
    return np.asarray(low + (high - low) * (place - below))


@lru_cache(maxsize=1)
def _level() -> float:
    """Log shift that makes slabs in steady 70 degF air take ASCC's 2 3/4 hours on the average."""
    steady, plain = steady_conditions(70.0), Constants()
    log_h, _ = _log_hours(_mix(steady), plain, _warmth(steady, plain), 0.0)
    return float(np.log(setting.FLOAT_H) - log_h.mean())


def steady_conditions(air_f: float) -> Conditions:
    """4 in slabs on stone in each of :data:`EXPOSURES`, under the usual sky.

    Concrete, air and ground are at one temperature.
    """
    import pandas as pd

    n = len(EXPOSURES)
    frame = pd.DataFrame({"exposure": EXPOSURES, "thickness": 4.0, "slump": 4.0, "base": "stone"})
    whole = np.ones((n, STEPS))
    return Conditions(
        frame=frame,
        start_h=np.zeros(n),
        place_min=np.full(n, 45.0),
        air_f=air_f * whole,
        humidity_pct=50.0 * whole,
        wind_mph=wind_at_slab_mph(USUAL["wind"]) * whole,
        sun_w_m2=USUAL["sun"] * whole,
        cloud_share=USUAL["cloud"] / 100.0 * whole,
        ground_f=np.full(n, air_f),
        concrete_f=np.full(n, air_f),
        day_air_f=np.full(n, air_f),
        told=np.ones(n),
    )

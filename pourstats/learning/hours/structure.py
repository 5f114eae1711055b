"""The shape of a job's hours: five parts that add up, and what multiplies their sum.

labor_h = (set-up and clean-up + yards x placing rate + area x finishing rate + waiting for the set
+ feet of joint x sawing rate) x exp(crew, slab type, lead, season, learning, drift).

Every part is positive, because its rate is an exponential of effects. Each effect has a mean and
a spread before any pour is seen; those of the rates come from published figures, the others say
"about nothing, give or take". Sources stand beside them; where there is none,
it is common practice.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.hours.features import (
    AIR_CENTRE_F,
    AREA_CENTRE_FT2,
    HANDS_CENTRE,
    THICKNESS_CENTRE_IN,
    Array,
    Features,
)
from pourstats.logs import tables

PARTS = ("fixed", "place", "finish", "wait", "saw")
"""In this order everywhere; `fixed` is set-up and clean-up (`other` in the measures)."""

PLACE_H_PER_YD3 = (0.32, 1.00)
"""Placing a slab, labor-hours a yard: Peterson/Dagostino, Estimating in Building Construction,
Fig. 10.17 (direct chute) to Storm, Industrial Process Plant Construction Estimating, Sched. G."""

TROWEL_H_PER_100FT2 = 1.0
"""Machine trowel: Peterson/Dagostino, Fig. 10.30."""


@dataclass(frozen=True)
class Effect:
    """One column: its part (None multiplies the sum), its prior, and the group it is pooled in."""

    name: str
    part: str | None
    values: Array
    mean: float
    spread: float
    pool: str | None = None


@dataclass(frozen=True)
class Levels:
    """What the record fixes: the leads met, and where in the run of pours the drift may bend."""

    leads: tuple[str, ...] = ()
    knots: Array = field(default_factory=lambda: np.zeros(0))
    """Places in the run of pours (0 = first), rising; the last is the latest pour."""
    pours: int = 0


@dataclass(frozen=True)
class Design:
    """Effects laid out as a matrix: ``x`` is rows x effects, ``offset`` rows x parts."""

    x: Array
    offset: Array
    part: NDArray[np.int64]
    """Index into PARTS of each effect, -1 where it multiplies the sum."""
    mean: Array
    spread: Array
    pool: tuple[str | None, ...]
    names: tuple[str, ...]

    def parts(self, beta: Array) -> Array:
        """Expected hours of each part, rows x parts, for one vector of effects."""
        log_parts = self.offset.copy()
        for k in range(len(PARTS)):
            own = self.part == k
            log_parts[:, k] += self.x[:, own] @ beta[own]
        whole = self.part == -1
        return np.asarray(np.exp(log_parts + (self.x[:, whole] @ beta[whole])[:, None]))


def _one_of(values: NDArray[np.object_], word: str) -> Array:
    return np.asarray(values == word, dtype=float)


def _among(values: NDArray[np.object_], word: str) -> Array:
    return np.array([word in str(cell).split(";") for cell in values], dtype=float)


@dataclass(frozen=True)
class Logged:
    """How each row's hours came about: its place in the run of pours, and 1 where by headcount."""

    order: Array
    headcount: Array
    partial: Array


def effects(f: Features, levels: Levels, logged: Logged, stray: float) -> list[Effect]:
    """Every effect with its column; ``stray`` is the spread of the crew's level a pour."""
    ones = np.ones(len(f))
    size = np.log(f.area_ft2 / AREA_CENTRE_FT2)
    hands = np.log(f.hands / HANDS_CENTRE)
    finishers = np.log(f.finish_hands / (0.6 * HANDS_CENTRE))
    warmth = (f.air_temp_f - AIR_CENTRE_F) / 10.0
    winter = np.cos(f.season)
    low, high = np.log(PLACE_H_PER_YD3[0]), np.log(PLACE_H_PER_YD3[1])
    found = [
        # Half an hour to set up and half an hour to clean up, four people: common practice.
        Effect("fixed", "fixed", ones, np.log(4.0), 0.6),
        Effect("fixed:hands", "fixed", hands, 0.7, 0.3),
        Effect("fixed:size", "fixed", size, 0.2, 0.2),
        # The published range is taken as eight handbooks in ten.
        Effect("place", "place", ones, (low + high) / 2, (high - low) / 2 / 1.2816),
        Effect("place:hands", "place", hands, 0.3, 0.3),
        Effect("place:size", "place", size, -0.08, 0.12),
        Effect("place:slump", "place", f.slump_in - 5.0, -0.03, 0.04),
        Effect("finish", "finish", ones, np.log(TROWEL_H_PER_100FT2), 0.4),
        Effect("finish:hands", "finish", finishers, 0.3, 0.3),
        Effect("finish:size", "finish", size, -0.08, 0.12),
        Effect("finish:warmth", "finish", warmth, 0.0, 0.05),
        # A good hour of standing by for each finisher before the machine goes on, longer in cold
        # (set doubles for 20 degF less, NRMCA CIP 27; readiness moves less): common practice.
        Effect("wait", "wait", ones, np.log(1.2), 0.7),
        Effect("wait:size", "wait", size, 0.2, 0.25),
        Effect("wait:warmth", "wait", warmth, -0.15, 0.1),
        Effect("wait:winter", "wait", winter, 0.1, 0.15),
        # A hundred feet of joint an hour for one with a helper part of the time: common practice.
        Effect("saw", "saw", ones, np.log(1.2), 0.6),
    ]  # fmt: skip
    for word, mean, spread in (
        ("chute", 0.0, 0.1), ("pump", 0.1, 0.25), ("conveyor", 0.1, 0.3), ("buggy", 0.3, 0.3),
        ("wheelbarrow", 0.6, 0.35),
    ):  # fmt: skip
        column = _one_of(f.placement, word)
        found.append(Effect(f"place:{word}", "place", column, mean, spread))
        if word in ("pump", "conveyor"):  # hoses laid, primed and washed out: common practice
            found.append(Effect(f"fixed:{word}", "fixed", column, 0.2, 0.25))
    for word, mean in (("fiber", 0.0), ("mesh", 0.05), ("rebar", 0.12)):
        column = _among(f.reinforcement, word)
        found.append(Effect(f"place:{word}", "place", column, mean, 0.15))
    for word in tables.BASES:
        column = _among(f.base, word)
        found.append(Effect(f"wait:{word}", "wait", column, 0.0, 0.1))
    for word, mean, spread in (
        ("broom", -0.9, 0.4), ("float", -0.5, 0.35), ("trowel", 0.0, 0.15),
        ("hard_trowel", 0.3, 0.3),
    ):  # fmt: skip
        column = _one_of(f.finish, word)
        found.append(Effect(f"finish:{word}", "finish", column, mean, spread))
        found.append(Effect(f"wait:{word}", "wait", column, mean * 0.6, 0.35))
    for word in tables.EXPOSURES:
        column = _one_of(f.exposure, word)
        found.append(Effect(f"finish:{word}", "finish", column, 0.0, 0.1))
        found.append(Effect(f"wait:{word}", "wait", column, 0.0, 0.12))
    for word, mean in (
        ("early_entry", 0.0),
        ("conventional", 0.2),
        ("handheld", 0.3),
        ("tooled", 0.0),
    ):
        column = _one_of(f.saw_type, word)
        found.append(Effect(f"saw:{word}", "saw", column, mean, 0.3))
    found += _multipliers(f, size, logged, levels.pours)
    for word in tables.SLAB_TYPES:
        own = _one_of(f.slab_type, word)
        found.append(Effect(f"type:{word}", None, own, 0.0, 0.12, "type"))
        found.append(Effect(f"type_size:{word}", None, own * size, 0.0, 0.05, "type_size"))
    for lead in levels.leads:
        found.append(Effect(f"lead:{lead}", None, _one_of(f.lead, lead), 0.0, 0.07, "lead"))
    found += _drift(levels, logged.order, stray)
    return found


def _multipliers(f: Features, size: Array, logged: Logged, pours: int) -> list[Effect]:
    ones = np.ones(len(f))
    experience = np.log((logged.order + 4.0) / (pours + 4.0))
    return [
        # Handbooks differ threefold for one item, by what they count in: so may crews.
        Effect("crew", None, ones, 0.0, 0.35),
        Effect("size", None, size, 0.0, 0.08),
        Effect("thickness", None, np.log(f.thickness_in / THICKNESS_CENTRE_IN), 0.0, 0.12),
        Effect("cold", None, np.maximum(0.0, 40.0 - f.air_temp_f) / 10.0, 0.03, 0.05),
        Effect("heat", None, np.maximum(0.0, f.air_temp_f - 85.0) / 10.0, 0.03, 0.05),
        Effect("season:sine", None, np.sin(f.season), 0.0, 0.05),
        Effect("season:cosine", None, np.cos(f.season), 0.0, 0.05),
        # A 97 % curve, give or take 4 points (Crawford's unit model, b = log2 of the rate): common
        # practice; a crew is never new to all of it.
        Effect("learning", None, experience, -0.04, 0.06),
        # Headcount takes everyone for the whole stay, so it reads a little high.
        Effect("headcount", None, logged.headcount, 0.05, 0.1),
        Effect("headcount_part", None, logged.partial, 0.0, 0.12),
    ]


def _drift(levels: Levels, order: Array, stray: float) -> list[Effect]:
    """A walk of the crew's level back from now: steps between knots, linear within a step.

    ``stray`` is the spread of a step of one pour; a longer step strays by its root.
    """
    found: list[Effect] = []
    if stray <= 0:
        return found
    for place, (start, end) in enumerate(zip(levels.knots[:-1], levels.knots[1:], strict=True)):
        length = end - start
        column = -np.clip((end - order) / length, 0.0, 1.0)
        found.append(Effect(f"drift:{place}", None, column, 0.0, stray * float(np.sqrt(length))))
    return found


def knots_back(pours: int) -> Array:
    """Where the drift may bend: near now often, further back ever less."""
    places: list[float] = []
    back, step = 0.0, 3.0
    while back < pours - 1 and len(places) < 28:
        places.append(pours - 1 - back)
        back += step
        step *= 1.25 if len(places) > 8 else 1.0
    places.append(0.0)
    return np.array(sorted(set(places)))


def design(found: list[Effect], f: Features) -> Design:
    """The effects as one matrix, with each part's own quantity as its offset."""
    log_volume, log_area = np.log(f.volume_yd3), np.log(f.area_ft2 / 100.0)
    log_saw = np.log(np.maximum(f.saw_ft, 1e-9) / 100.0)
    zero = np.zeros(len(f))
    offset = np.column_stack([zero, log_volume, log_area, np.log(f.finish_hands), log_saw])
    return Design(
        x=np.column_stack([effect.values for effect in found]),
        offset=offset,
        part=np.array([-1 if e.part is None else PARTS.index(e.part) for e in found]),
        mean=np.array([effect.mean for effect in found]),
        spread=np.array([effect.spread for effect in found]),
        pool=tuple(effect.pool for effect in found),
        names=tuple(effect.name for effect in found),
    )

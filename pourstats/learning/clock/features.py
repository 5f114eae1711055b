"""Columns of the clock's regressions, in groups that share a spread.

The physics' own doubts come first; then plain weather, place, size, mix, lead and drift, for what
the physics doesn't know. Each list of levels keeps a column for a level never met, which no row
supports: it adds the group's whole doubt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pourstats.learning.clock.conditions import Conditions, number, words
from pourstats.learning.clock.physics import Ready
from pourstats.learning.clock.regression import Group
from pourstats.science.air import SHELTER
from pourstats.science.sun import SEEN

Array = NDArray[np.float64]

OTHER = "\0never met"
PLACE = ("slab_type", "exposure", "base", "placement", "reinforcement")
DRIFT_DAYS = 30.0
DRIFT_STEPS = 24

SPREADS: dict[str, tuple[float, float]] = {
    "habit": (0.145, 0.0),
    "physics": (1.0, 0.3),
    "mixed": (1.0, 0.4),
    "weather": (0.025, 0.7),
    "place": (0.045, 0.6),
    "finish": (1.0, 0.4),
    "size": (0.05, 0.6),
    "mix": (0.09, 0.6),
    "lead": (0.05, 0.6),
    "drift": (0.03, 0.7),
}
"""Prior median of each group's spread in log time, and its log sd. Common practice, no source: a
tenth or so between mixes, less between leads."""

MIXED = (
    ("slump", 0.04),
    ("slump_reduced", 0.04),
    ("scm", 0.06),
    ("admixture:water_reducer", 0.06),
    ("admixture:mid_range_reducer", 0.08),
    ("admixture:high_range_reducer", 0.10),
    ("admixture:retarder", 0.20),
    ("admixture:accelerator", 0.20),
    ("admixture:air_entrainer", 0.06),
)
"""What a mix may do beyond science's middle value, in log time: an inch of slump, 20 percent of fly
ash or slag, an admixture. From the width of the C494 limits, or common practice without source."""


FINISH_SHIFT = {"broom": (-0.30, 0.35), "float": (-0.05, 0.12)}
"""Log time by which a finish is begun off the power float's moment, and its doubt: a broom goes on
once the sheen is gone, well before a machine would be carried. Common practice, no source."""
FINISH_DOUBT = 0.06
"""The same doubt for the troweled finishes, and one never met."""
KIND_SHIFT = {"basement": -0.08}
"""Log time by which a kind of slab is begun off ASCC's survey. Finishers of small basement floors
reckon an hour and a half from bull floating on a summer morning, a third less than the survey of
larger firms gives; a fifth of the way is believed. Common practice, no source."""


def usual_shift(found: Conditions) -> Array:
    """Log time by which a finish, a kind of slab is begun off the survey's moment (middle)."""
    finish = [FINISH_SHIFT.get(w, (0.0, 0.0))[0] for w in words(found.frame, "finish")]
    kind = [KIND_SHIFT.get(w, 0.0) for w in words(found.frame, "slab_type")]
    return np.asarray(np.add(finish, kind), dtype=float)


@dataclass(frozen=True)
class Levels:
    """The levels that the record has, and the span of its days."""

    by_column: dict[str, tuple[str, ...]]
    last_day: float
    first_day: float

    @classmethod
    def of(cls, found: Conditions) -> Levels:
        """Levels of the pours of a record."""
        named = {
            name: tuple(
                sorted({w for text in set(words(found.frame, name)) for w in _split(text, name)})
            )
            for name in (*PLACE, "finish", "mix", "lead")
        }
        days = found.start_h[~np.isnan(found.start_h)] / 24.0
        span = (float(days.min()), float(days.max())) if days.size else (0.0, 0.0)
        return cls(named, span[1], span[0])


@dataclass(frozen=True)
class Table:
    """A block of columns with the groups that they form."""

    columns: Array
    groups: tuple[Group, ...]
    names: tuple[str, ...]


def table(found: Conditions, physics: Ready, levels: Levels, *, doubts: bool = True) -> Table:
    """Columns for pours or jobs; the same names in the same order for the same levels.

    ``doubts`` puts the physics' own shifts in (first pass); without them only the rest.
    """
    blocks: list[tuple[str, list[str], Array, tuple[float, ...] | None]] = [
        ("habit", ["habit"], np.ones((found.count, 1)), None)
    ]
    if doubts:
        blocks.append(("physics", list(physics.names), physics.shifts, None))
    blocks.append(_mixed(found))
    blocks.append(_weather(found, physics))
    place = [_level_columns(found, name, levels) for name in PLACE]
    blocks.append(
        (
            "place",
            [name for names, _ in place for name in names],
            np.concatenate([columns for _, columns in place], axis=1),
            None,
        )
    )
    names, columns = _level_columns(found, "finish", levels)
    finishes = (*levels.by_column["finish"], OTHER)
    doubt_of = tuple(FINISH_SHIFT.get(w, (0.0, FINISH_DOUBT))[1] for w in finishes)
    blocks.append(("finish", names, columns, doubt_of))
    blocks.append(_size(found))
    for name in ("mix", "lead"):
        names, columns = _level_columns(found, name, levels)
        blocks.append((name, names, columns, None))
    blocks.append(_drift(found, levels))

    groups, names_all, start = [], [], 0
    for group, names, columns, weights in blocks:
        scale, doubt = SPREADS[group]
        groups.append(Group(group, start, start + columns.shape[1], scale, doubt, weights))
        names_all += names
        start += columns.shape[1]
    whole = np.concatenate([columns for _, _, columns, _ in blocks], axis=1)
    return Table(whole, tuple(groups), tuple(names_all))


def _mixed(found: Conditions) -> tuple[str, list[str], Array, tuple[float, ...]]:
    slump = number(found.frame, "slump")
    off = np.where(np.isnan(slump), 0.0, slump - 5.0)
    added = [{w.strip() for w in t.split(";")} for t in words(found.frame, "admixtures")]
    reduced = np.array([bool(a & {"mid_range_reducer", "high_range_reducer"}) for a in added])
    reduced = reduced.astype(bool) if added else np.zeros(0, bool)
    columns = [np.where(reduced, 0.0, off), np.where(reduced, off, 0.0)]
    columns.append(number(found.frame, "scm", 0.0) / 20.0)
    for name, _ in MIXED[3:]:
        word = name.split(":")[1]
        columns.append(np.array([float(word in a) for a in added]))
    return "mixed", [n for n, _ in MIXED], np.stack(columns, axis=1), tuple(d for _, d in MIXED)


def _weather(found: Conditions, physics: Ready) -> tuple[str, list[str], Array, tuple[float, ...]]:
    exposure = [kind or "mixed" for kind in words(found.frame, "exposure")]
    open_air = np.array([SHELTER.get(kind, 0.8) for kind in exposure])
    seen = np.array([SEEN.get(kind, 0.55) for kind in exposure])
    near = slice(0, 6)
    air = found.air_f[:, near].mean(axis=1)
    cold = np.maximum(55.0 - air, 0.0) / 10.0
    sun = found.sun_w_m2[:, near].mean(axis=1) / 400.0
    hour = (found.start_h % 24.0) / 24.0 * 2.0 * np.pi
    hour = np.where(np.isnan(hour), 0.0, hour)
    named: list[tuple[str, Array, float]] = [
        ("physics_scale", physics.log_h - np.log(2.5), 2.5),
        ("air", (air - 68.0) / 10.0, 1.0),
        ("air_squared", ((air - 68.0) / 15.0) ** 2 - 1.0, 0.6),
        ("cold", cold, 1.0),
        ("concrete", (found.concrete_f - 70.0) / 10.0, 0.8),
        ("humidity", (found.humidity_pct[:, near].mean(axis=1) - 55.0) / 15.0, 1.0),
        ("wind", (found.wind_mph[:, near].mean(axis=1) * open_air - 2.0) / 2.0, 1.0),
        ("sun_on_slab", sun * seen, 1.0),
        ("sky", sun - 1.0, 0.6),
        ("drying", np.log((physics.evaporation_lb_ft2_h + 0.01) / 0.04), 0.8),
        ("ground", (found.ground_f - 65.0) / 10.0, 0.5),
        ("morning", np.sin(hour), 0.7),
        ("noon", np.cos(hour), 0.7),
        ("untold", 1.0 - found.told, 1.0),
    ]
    columns = np.stack([column for _, column, _ in named], axis=1)
    return "weather", [n for n, _, _ in named], columns, tuple(w for _, _, w in named)


def _size(found: Conditions) -> tuple[str, list[str], Array, tuple[float, ...]]:
    area = np.log(number(found.frame, "area", 1000.0) / 1000.0)
    thick = np.log(number(found.frame, "thickness", 4.0) / 4.0)
    hands = np.log(np.maximum(number(found.frame, "hands", 5.0), 1.0) / 5.0)
    stay = np.log(np.maximum(number(found.frame, "finish_hands", 2.0), 1.0) / 2.0)
    columns = np.stack([area, thick, hands, stay, found.lead_min / 60.0], axis=1)
    return (
        "size",
        ["area", "thickness", "hands", "stay", "lead"],
        columns,
        (1.0, 1.5, 1.0, 1.0, 1.0),
    )


def _level_columns(found: Conditions, name: str, levels: Levels) -> tuple[list[str], Array]:
    known = (*levels.by_column[name], OTHER)
    index = {level: k for k, level in enumerate(known)}
    texts = words(found.frame, name)
    place = {text: k for k, text in enumerate(dict.fromkeys(texts))}
    distinct = np.zeros((len(place), len(known)))
    for text, k in place.items():
        for word in _split(text, name):
            distinct[k, index.get(word, len(known) - 1)] = 1.0
    return [f"{name}:{level}" for level in known], distinct[[place[text] for text in texts]]


def _split(text: str, name: str) -> list[str]:
    if name in {"base", "reinforcement"}:
        return [w.strip() for w in text.split(";") if w.strip()]
    return [text] if text else []


def _drift(found: Conditions, levels: Levels) -> tuple[str, list[str], Array, None]:
    """Ramps a month long that add up to a random walk: what holds now is what held last."""
    span = max(levels.last_day - levels.first_day, 0.0)
    steps = min(int(span // DRIFT_DAYS), DRIFT_STEPS)
    day = np.where(np.isnan(found.start_h), levels.last_day * 24.0, found.start_h) / 24.0
    columns = np.empty((found.count, steps))
    for k in range(steps):
        begins = levels.last_day - DRIFT_DAYS * (k + 1)
        # Counted from the present, so that the newest pours need no drift at all.
        columns[:, k] = -np.clip((begins + DRIFT_DAYS - day) / DRIFT_DAYS, 0.0, 1.0)
    return "drift", [f"drift:{k}" for k in range(steps)], columns, None

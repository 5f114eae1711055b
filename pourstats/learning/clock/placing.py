"""How long a slab takes to place, so that a job ahead has an end of placing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock.conditions import hours, number, words
from pourstats.learning.clock.regression import Group, Posterior
from pourstats.learning.clock.regression import fit as regression
from pourstats.learning.draws import stream
from pourstats.science.volume import plan_yd3

Array = NDArray[np.float64]

PLACEMENTS = ("chute", "wheelbarrow", "buggy", "pump", "conveyor")
SLOWER = {"wheelbarrow": 0.45, "buggy": 0.15}
"""Log time that carrying adds to a chute's. Common practice, no source."""
USUAL_MIN = 42.0
"""Minutes for twelve yards with five hands: a published pace of 1,620 ft2/h (10 yd3 in half an hour
at 4 in, Concrete Construction), and a wait between trucks."""


@dataclass(frozen=True)
class Placing:
    """Posterior of the log minutes of placing."""

    posterior: Posterior
    kinds: tuple[str, ...]

    def draws(self, jobs: pd.DataFrame, seed: int) -> Array:
        """Minutes (job x draw)."""
        columns, offset = _columns(jobs, self.kinds)
        drawn = self.posterior.outcome_draws(
            columns, np.ones(len(jobs)), stream(seed, "placing time")
        )
        return np.asarray(np.exp(np.clip(drawn + offset[:, None], np.log(5.0), np.log(2880.0))))


def fit(pours: pd.DataFrame, seed: int) -> Placing:
    """Learn from place_start and place_end; no pours leave the published pace."""
    if len(pours) and "place_end" in pours:
        length = (hours(pours["place_end"]) - hours(pours["place_start"])) * 60.0
    else:
        length = np.full(len(pours), np.nan)
    kinds = tuple(sorted(set(words(pours, "slab_type")) - {""}))
    columns, offset = _columns(pours, kinds)
    usable = ~np.isnan(length) & (length >= 3.0)
    y = np.log(np.maximum(length, 3.0)) - offset
    p = columns.shape[1]
    groups = (
        Group("pace", 0, 1, 0.35),
        Group("slopes", 1, 4, 0.10, 0.5),
        Group("placement", 4, 9, 0.15, 0.5),
        Group("kind", 9, p, 0.12, 0.5),
    )
    posterior = regression(
        columns[usable], y[usable], groups, noise=0.30, seed=seed, name="placing time"
    )
    return Placing(posterior, kinds)


def _columns(frame: pd.DataFrame, kinds: tuple[str, ...]) -> tuple[Array, Array]:
    n = len(frame)
    plan = plan_yd3(number(frame, "area", 1000.0), number(frame, "thickness", 4.0))
    ordered = number(frame, "ordered_volume")
    volume = np.maximum(np.where(np.isnan(ordered), plan, ordered), 0.3)
    hands = number(frame, "hands")
    # Larger slabs get larger crews (common practice, no source), where nobody says how many.
    hands = np.where(np.isnan(hands), 5.0 * (volume / 12.0) ** 0.35, np.maximum(hands, 1.0))
    how = words(frame, "placement")
    size, crew = np.log(volume / 12.0), np.log(hands / 5.0)
    offset = np.log(USUAL_MIN) + 0.85 * size - 0.5 * crew
    offset = offset + np.array([SLOWER.get(word, 0.0) for word in how])
    thick = np.log(number(frame, "thickness", 4.0) / 4.0)
    known = (*kinds, "\0never met")
    placed = np.array([[float(word == p) for p in PLACEMENTS] for word in how])
    placed = placed.reshape(n, len(PLACEMENTS))
    kind = np.zeros((n, len(known)))
    for i, word in enumerate(words(frame, "slab_type")):
        kind[i, known.index(word) if word in known else len(known) - 1] = 1.0
    first = np.stack([np.ones(n), size, crew, thick], axis=1)
    return np.concatenate([first, placed, kind], axis=1), offset

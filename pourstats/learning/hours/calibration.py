"""Whether the ranges held so far: forecasts of the crew's own later pours from its earlier ones.

A model that is sure of itself for no good reason, or doubts more than it need, shows it on the
crew's own past. Each such pour is told as a normal score: where it fell in its forecast, 0 the
middle. Were the forecasts right the scores would have variance one.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd

from pourstats.learning.hours.features import Array
from pourstats.learning.hours.model import HoursModel, fitted_model, usable

AHEAD, BLOCKS = 10, 4
"""Pours told from one moment, about as many as jobs are bid ahead, and at most how many moments."""

FEWEST = 8
"""Pours under which there is no past to look back on."""

LOOK_BACK = 400
"""Most pours of the record that are looked at, so that a long record costs no more."""

WORTH = 20.0
"""How many scores' worth of trust the model starts with: as scores repeat within a season (one crew
level, one year's weather), it takes a season to shake it. Common practice, no source."""

FARTHEST = 3.0
"""No score counts as farther out than this: a slip or a wreck says little of the usual day."""


DRAW_IN_WORTH = 2.5
"""How many scores it takes to outweigh one by which ranges are drawn in, in a long record. An
earlier forecast rested on fewer pours and so was told wider: that its range was too wide says less
of today's than that it was too narrow. To promise too much is also the dearer mistake."""


def stretch_of(scores: Array, worth: float = WORTH) -> float:
    """By how much log ranges are to be stretched (or drawn in, under 1), given past scores.

    The root mean square of the scores, held by ``worth`` scores that are as they should be; where
    it draws in by no fewer than DRAW_IN_WORTH times the scores.
    """
    held = np.clip(scores, -FARTHEST, FARTHEST)
    squares = float((held**2).sum())
    if squares < held.size:
        worth = max(worth, DRAW_IN_WORTH * held.size)
    return float(np.sqrt((worth + squares) / (worth + held.size)))


def past_scores(model: HoursModel, later: pd.DataFrame) -> Array:
    """Normal scores of later pours (rows as `usable` gives them) under the model.

    What the day's weather was is not taken as known.
    """
    from scipy.special import ndtri

    told = later.drop(columns=["air_temp_f"], errors="ignore")
    return np.asarray(ndtri(model.chance_below(told)))


def hours_model(frame: pd.DataFrame | None = None) -> HoursModel:
    """The model of a record: one row a past pour, log columns joined with `pour_output`.

    An empty record gives the published rates, wide. Time: at most 2 s for 5,000 pours.
    """
    seen = usable(frame)
    model = fitted_model(seen)
    if len(seen) < FEWEST:
        return model
    late = seen.tail(LOOK_BACK)
    starts = {max(len(late) - AHEAD * block, len(late) // 2) for block in range(1, BLOCKS + 1)}
    places = [*sorted(starts), len(late)]
    scores = [
        past_scores(fitted_model(late.head(start).reset_index(drop=True)), late.iloc[start:end])
        for start, end in itertools.pairwise(places)
    ]
    return replace(model, stretch=stretch_of(np.concatenate(scores)))

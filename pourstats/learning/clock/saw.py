"""When the saw may go on and should be off, from published windows and the crew's own cuts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock.conditions import hours, words
from pourstats.learning.clock.physics import Ready
from pourstats.learning.draws import stream
from pourstats.science.air import celsius
from pourstats.science.joints import saw_hours

if TYPE_CHECKING:
    from pourstats.learning.clock.model import Forecast

Array = NDArray[np.float64]
Method = Literal["early_entry", "conventional"]

FOLLOWS = 0.7
"""How far a slab that is slow to the first pass is slow to the saw. Common practice, no source."""
DOUBT = 0.25
"""Log spread of a window's ends: the printed ranges are half their length wide either way."""
STRENGTH = 6.0
"""Cuts that the published opening is worth."""


def window_draws(
    cast: Forecast, methods: list[Method | None], earlier: dict[Method, float], seed: int
) -> tuple[Array, Array]:
    """Opening and closing, hours since 1970 (job x draw); NaN where nothing is sawn.

    ``earlier`` is what :func:`cuts_earlier` found. The saw never opens before the last pass is off.
    """
    opening = np.full(cast.last_h.shape, np.nan)
    closing = np.full(cast.last_h.shape, np.nan)
    temp = celsius(cast.science.day_f)
    rng = stream(seed, "saw")
    first, second = rng.normal(size=(2, *cast.last_h.shape))
    slow = FOLLOWS * cast.surprise
    for i, method in enumerate(methods):
        if method is None:
            continue
        after, by = saw_hours(temp[i], method)
        begins = cast.last_h[i] if method == "early_entry" else cast.place_end_h[i]
        shift = np.exp(slow[i] + DOUBT * first[i] + earlier.get(method, 0.0))
        opening[i] = np.maximum(begins + after * shift, cast.last_h[i])
        closes = cast.place_end_h[i] + by * np.exp(slow[i] + DOUBT * second[i])
        closing[i] = np.maximum(closes, opening[i] + 1.0)
    return opening, closing


def cuts_earlier(
    pours: pd.DataFrame, science: Ready, last_h: Array
) -> tuple[dict[Method, float], dict[Method, int]]:
    """Log time by which the crew cuts before the published opening, and the cuts behind it.

    A cut bounds the opening from above; that it was late proves nothing. 0 or below.
    """
    found: dict[Method, float] = {}
    counts: dict[Method, int] = {}
    if "saw_start" not in pours or not len(pours):
        return found, counts
    cut = hours(pours["saw_start"])
    placed = hours(pours["place_end"]) if "place_end" in pours else np.full(len(pours), np.nan)
    kind = np.array(words(pours, "saw_type"))
    methods: tuple[Method, ...] = ("early_entry", "conventional")
    for method in methods:
        begins = last_h if method == "early_entry" else placed
        after, _ = saw_hours(celsius(science.day_f), method)
        own = (kind == method) & ~np.isnan(cut - begins) & (cut - begins > 0.1)
        ratio = np.log((cut[own] - begins[own]) / after[own])
        counts[method] = int(own.sum())
        before = np.clip(ratio, -1.5, 0.0)
        found[method] = float(before.sum() / (STRENGTH + own.sum()))
    return found, counts

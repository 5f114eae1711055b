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
METHODS: tuple[Method, ...] = ("early_entry", "conventional")
LIGHT = ("broom", "float")
"""Finishes done while the slab is soft still. On a floor that is trowelled for hours the saw waits
for the trowel, so a cut right after its last pass says nothing of a broomed slab."""
BROOMED = "early_entry, light finish"
"""Under which the openings of early-entry cuts after a light finish are kept apart."""

FOLLOWS = 0.7
"""How far a slab that is slow to the first pass is slow to the saw. Common practice, no source."""
CREW_DOUBT = 0.20
SLAB_DOUBT = 0.15
"""Log spread of a window's ends between crews and their mixes, and between slabs: together 0.25,
as the printed ranges are half their length wide either way."""
CUT_SCATTER = 0.20
"""The same for a logged cut, with how slow that slab was and how its clock was read."""
LATER_IN = (0.1, 0.2, 0.4)
"""How late after the opening a crew that watches for it comes to cut, on the average, in log time.
Which, and so how closely its cuts show the opening, the record tells."""
BY_THE_CLOCK = 0.7
"""A cut later than twice the published opening in log time was made when it suited, not when it
opened: it only bounds it."""
SLIP = 0.05
"""Share of cuts that tell nothing, on the average: a time misread, a joint cut too soon."""
GRID = np.linspace(-2.4, 0.8, 129)
LATEST = 3.5
"""Log ratio beyond which a cut is the next day's at any temperature."""


def window_draws(
    cast: Forecast, methods: list[Method | None], earlier: dict[str, Array], seed: int
) -> tuple[Array, Array]:
    """Opening and closing, hours since 1970 (job x draw); NaN where nothing is sawn.

    ``earlier`` is what :func:`own_openings` found. The saw never opens before the last pass is off,
    and an early-entry saw, which is there to be early, no later than a conventional one: where the
    printed hours of the two cross, it is the conventional one that waits.
    """
    opening = np.full(cast.last_h.shape, np.nan)
    closing = np.full(cast.last_h.shape, np.nan)
    temp = celsius(cast.science.day_f)
    rng = stream(seed, "saw")
    first, second = rng.normal(size=(2, *cast.last_h.shape))
    crew = CREW_DOUBT * rng.normal(size=(2, cast.last_h.shape[1]))
    slow = FOLLOWS * cast.surprise
    light = _light(cast.jobs)
    for i, method in enumerate(methods):
        if method is None:
            continue
        by = saw_hours(temp[i], method)[1]

        def opens(from_h: Array, after_h: Array, kind: str, row: int = i) -> Array:
            own = earlier[kind][: crew.shape[1]] if kind in earlier else crew[0]
            wait = after_h * np.exp(slow[row] + SLAB_DOUBT * first[row] + own)
            return np.asarray(from_h + wait)

        placed, last = cast.place_end_h[i], cast.last_h[i]
        wet = opens(placed, saw_hours(temp[i], "conventional")[0], "conventional")
        early = opens(
            last, saw_hours(temp[i], "early_entry")[0], BROOMED if light[i] else "early_entry"
        )
        if "conventional" in earlier:
            early = np.minimum(early, wet)
        else:
            # Some count the conventional hours from finishing (Concrete Construction).
            wet = np.maximum(early, wet)
        opening[i] = early if method == "early_entry" else wet
        opening[i] = np.maximum(opening[i], cast.last_h[i])
        # That the crew cuts early or late says nothing of when the slab would crack.
        closes = by * np.exp(slow[i] + SLAB_DOUBT * second[i] + crew[1])
        closing[i] = np.maximum(placed + closes, opening[i] + 1.0)
    return opening, closing


def _light(jobs: pd.DataFrame) -> NDArray[np.bool_]:
    return np.isin(words(jobs, "finish"), LIGHT)


def own_openings(
    pours: pd.DataFrame, science: Ready, last_h: Array, draws: int, seed: int
) -> tuple[dict[str, Array], dict[Method, int]]:
    """Log time by which a crew's opening lies off the published one (draw), and the cuts behind it.

    By method, early-entry cuts after a light finish under :data:`BROOMED`; cuts by method. No cut
    comes before the opening, bar a slab's own scatter; how long after, is the crew's way
    (:data:`LATER_IN`). Cuts that lie close together show the opening, cuts of the next morning
    hardly bound it (:data:`BY_THE_CLOCK`). Methods without cuts are not in it.
    """
    found: dict[str, Array] = {}
    counts: dict[Method, int] = {}
    if "saw_start" not in pours or not len(pours):
        return found, counts
    cut = hours(pours["saw_start"])
    placed = hours(pours["place_end"]) if "place_end" in pours else np.full(len(pours), np.nan)
    kind, light = np.array(words(pours, "saw_type")), _light(pours)
    step = GRID[1] - GRID[0]
    for method in METHODS:
        early = method == "early_entry"
        begins = last_h if early else placed
        after, _ = saw_hours(celsius(science.day_f), method)
        sawn = kind == method if early else np.isin(kind, [method, "handheld"])
        own = sawn & ~np.isnan(cut - begins) & (cut - begins > 0.1)
        if own.any():
            counts[method] = int(own.sum())
        groups: dict[str, NDArray[np.bool_]] = {method: own}
        if early:
            groups = {method: own & ~light, BROOMED: own & light}
        for name, of in groups.items():
            if not of.any():
                continue
            ratio = np.log((cut[of] - begins[of]) / after[of])
            odds = _grid_odds(np.clip(ratio, GRID[0], LATEST))
            rng = stream(seed, "saw", name)
            drawn = rng.choice(GRID, size=draws, p=odds)
            found[name] = drawn + step * (rng.random(draws) - 0.5)
    return found, counts


def _grid_odds(ratio: Array) -> Array:
    """Posterior odds of the opening on :data:`GRID`, from log cut times against the published one.

    Lateness is exponential, the scatter normal; the crew's mean lateness is summed out.
    """
    from scipy.special import log_ndtr

    told, slip = np.log1p(-SLIP), np.log(SLIP)
    bounds = log_ndtr((ratio[ratio > BY_THE_CLOCK, None] - GRID) / CUT_SCATTER)
    bounds = np.logaddexp(told + bounds, slip).sum(axis=0)
    off = ratio[ratio <= BY_THE_CLOCK, None] - GRID
    log_odds = []
    for late in LATER_IN:
        rate = 1.0 / late
        # Density of a normal plus an exponential (exponentially modified Gaussian).
        each = np.log(rate) - rate * off + 0.5 * (rate * CUT_SCATTER) ** 2
        each = each + log_ndtr(off / CUT_SCATTER - rate * CUT_SCATTER)
        each = np.logaddexp(told + each, slip - np.log(LATEST - GRID[0]))
        log_odds.append(each.sum(axis=0))
    whole = np.logaddexp.reduce(log_odds, axis=0) + bounds - 0.5 * (GRID / CREW_DOUBT) ** 2
    odds = np.exp(whole - whole.max())
    return np.asarray(odds / odds.sum())

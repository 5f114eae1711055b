"""Fit the clock to a record."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.learning.clock import features, physics, placing, saw
from pourstats.learning.clock.conditions import Conditions, Plant, conditions, hours, number, words
from pourstats.learning.clock.habits import FLOOR_MIN, Chasing, RideOn, Tools
from pourstats.learning.clock.model import (
    DRAWS,
    NOISE,
    PRINT_EFFECT,
    RIDE_ON_EFFECT,
    Clock,
    Stage,
    noise_factor,
)
from pourstats.learning.clock.passes import passes_of
from pourstats.learning.clock.record import Record, record
from pourstats.learning.clock.regression import Group, Posterior
from pourstats.learning.clock.regression import fit as regression
from pourstats.learning.clock.waits import soft_exp, soft_log, soft_slope
from pourstats.learning.draws import stream

Array = NDArray[np.float64]

CHASES = (0.0, 0.25, 0.5, 0.75, 1.0)
CHASE_ODDS = (0.18, 0.20, 0.24, 0.20, 0.18)
"""How far the machine follows the placing of a long slab: not at all, to all the way. Unknown until
the record shows it."""
USUAL_PRINT_IN = 0.25
TOOL_EFFECT = 0.05
"""Prior sd of log time between tools: a pan may go on a little sooner than blades. No source."""


def fit(
    pours: pd.DataFrame | None,
    passes: pd.DataFrame | None = None,
    trucks: pd.DataFrame | None = None,
    weather: pd.DataFrame | None = None,
    sites: pd.DataFrame | None = None,
    house: Mapping[str, Any] | None = None,
    seed: int = 0,
    crew_time: pd.DataFrame | None = None,
) -> Clock:
    """The clock of a record in the log's columns and house units; None or empty: science alone.

    Works from the short log (machine_on, passes_done, pass_count) and from logged passes. Starts
    that were late for people only bound the concrete from above; ``crew_time`` tells of more of
    them. ``trucks`` gives the concrete's temperature and slump where the pour has none.
    """
    empty = pd.DataFrame({"pour_id": [], "place_start": pd.to_datetime([])})
    pours = empty if pours is None or not len(pours) else _with_loads(pours, trucks)
    begun = "place_start" in pours
    pours = pours[pd.to_datetime(pours["place_start"]).notna()] if begun else empty
    kept = record(pours, passes, crew_time)
    found = conditions(pours, weather, sites, house)
    plant = Plant.of(found)
    found = plant.fills(found)
    science = physics.ready(found)
    levels = features.Levels.of(found)
    table = features.table(found, science, levels)
    end_h = hours(pours["place_end"]) if "place_end" in pours else np.full(len(pours), np.nan)
    since = (kept.first_h - end_h) * 60.0
    usable = ~np.isnan(since) & ~np.isnan(table.columns).any(axis=1)
    usable &= (since > -found.place_min) & (since < 2880.0)

    area = number(pours, "area", 1000.0)
    at_once = usable & (since < FLOOR_MIN) & (found.lead_min > 20.0)
    chasing = Chasing(np.log(area[at_once]), (since[at_once] < 0).astype(float))
    # Ready before the crew had placed to the end: the start only bounds it.
    placed_first = at_once & (since >= 0) & (chasing.chance(area) < 0.5)
    bounded = kept.late | placed_first

    prints, print_mean, print_spread = _prints(kept, usable)
    machine = RideOn(np.log(area[~np.isnan(kept.ride_on)]), kept.ride_on[~np.isnan(kept.ride_on)])
    ridden = np.where(np.isnan(kept.ride_on), machine.chance(area), kept.ride_on)

    finishes = words(pours, "finish")
    tools = Tools.of([t for t, u in zip(kept.tool, usable, strict=True) if u],
                     [f for f, u in zip(finishes, usable, strict=True) if u])  # fmt: skip
    with_tool = tools.columns(kept.tool, finishes)
    columns = np.concatenate([table.columns, with_tool, ridden[:, None], prints[:, None]], axis=1)
    width = columns.shape[1]
    groups = (
        *table.groups,
        Group("tool", table.columns.shape[1], width - 2, TOOL_EFFECT),
        Group("machine", width - 2, width - 1, RIDE_ON_EFFECT[1]),
        Group("print", width - 1, width, PRINT_EFFECT[1]),
    )
    offset = science.log_h + np.log(60.0) + PRINT_EFFECT[0] * prints
    offset = offset + RIDE_ON_EFFECT[0] * ridden + features.usual_shift(found)
    factor = noise_factor(science, found)
    # The end placed last, where it was logged apart, is the same slab without a lead.
    late_end = (kept.last_end_h - end_h) * 60.0
    both = np.flatnonzero(usable & (late_end > 0) & (late_end < 2880.0) & ~kept.held)
    rows = np.concatenate([np.flatnonzero(usable), both])
    at_end = np.arange(rows.size) >= usable.sum()
    waited = np.where(at_end, late_end[rows], since[rows])
    lead = np.where(at_end, 0.0, found.lead_min[rows])
    at_most = bounded[rows] & ~at_end

    def fitted(chase: float, draws: int, start: Array | None) -> tuple[Posterior, float]:
        age = waited + chase * lead
        posterior = regression(
            columns[rows],
            soft_log(age) - offset[rows],
            groups,
            noise=NOISE,
            noise_factor=factor[rows],
            at_most=at_most,
            draws=draws,
            seed=seed,
            name=f"first pass {chase}",
            start=start,
        )
        # In minutes, not in log minutes: else the shares could not be compared.
        slope = soft_slope(age[~at_most])
        return posterior, posterior.log_evidence + float(np.sum(np.log(slope)))

    long_enough = bool((usable & (found.lead_min > 10.0)).any())
    chases, of_draw, posteriors, best = _chased(fitted, long_enough, seed)
    surprise = _surprise(offset, since, found, usable, kept, posteriors, best)
    passes_model = passes_of(kept, found, science, surprise, seed)
    rate = stream(seed, "held rate").beta(
        0.3 + float((kept.held & usable).sum()), 20.0 + float((~kept.held & usable).sum()), DRAWS
    )
    kinds = words(pours, "slab_type")
    earlier, cuts = saw.own_openings(pours, science, kept.last_h, DRAWS, seed)
    return Clock(
        chases=chases,
        stages={chase: Stage(posterior, levels) for chase, posterior in posteriors.items()},
        chase_of_draw=of_draw,
        passes=passes_model,
        placing=placing.fit(pours, seed),
        print_mean=print_mean,
        print_spread=print_spread,
        ride_on=machine,
        tools=tools,
        chasing=chasing,
        held_rate=rate,
        held_wait_min=_waits(kept, since, offset, found, usable, posteriors, best),
        plant=plant,
        cuts_earlier=earlier,
        cuts=cuts,
        pours=int(usable.sum()),
        timed=passes_model.rows,
        by_kind={
            kind: sum(a == kind for a, u in zip(kinds, usable, strict=True) if u)
            for kind in sorted(set(kinds))
        },
        seed=seed,
        house=dict(house or {}),
        sites=sites,
    )


def _prints(kept: Record, usable: NDArray[np.bool_]) -> tuple[Array, float, float]:
    """Log footprints against the usual, the crew's own where one isn't logged; mean and spread."""
    prints = np.log(kept.print_in / USUAL_PRINT_IN)
    seen = prints[np.isfinite(prints) & usable]
    shrink = seen.size / (seen.size + 3.0)
    mean = float(shrink * seen.mean()) if seen.size else 0.0
    spread = float(np.clip(seen.std(), 0.0, 0.8)) if seen.size > 4 else 0.0
    return np.where(np.isfinite(prints), prints, mean), mean, spread


def _chased(
    fitted: Callable[[float, int, Array | None], tuple[Posterior, float]],
    long_enough: bool,
    seed: int,
) -> tuple[Array, Array, dict[float, Posterior], float]:
    """How far the machine follows the placing: each draw's share, the share that its effects were
    fitted under, the fits by share, and the likeliest share.

    ``fitted`` gives a share's posterior and its evidence.
    """
    rng = stream(seed, "chase")
    if not long_enough:
        # No long slab tells how far the machine chases the placing: keep every share open.
        middle = 0.5
        share = np.asarray(CHASE_ODDS)
        chases = rng.choice(np.asarray(CHASES), size=DRAWS, p=share / share.sum())
        posterior, _ = fitted(middle, DRAWS, None)
        return chases, np.full(DRAWS, middle), {middle: posterior}, middle
    score = np.zeros(len(CHASES))
    start: Array | None = None
    for place, chase in enumerate(CHASES):
        posterior, score[place] = fitted(chase, 0, start)
        start = posterior.peak
    odds = np.asarray(CHASE_ODDS) * np.exp(score - score.max())
    odds = np.where(odds < 0.01 * odds.max(), 0.0, odds)
    chases = rng.choice(np.asarray(CHASES), size=DRAWS, p=odds / odds.sum())
    posteriors = {
        chase: fitted(chase, DRAWS, start)[0] for chase in CHASES if np.any(chases == chase)
    }
    return chases, chases, posteriors, CHASES[int(np.argmax(odds))]


def _surprise(
    offset: Array,
    since: Array,
    found: Conditions,
    usable: NDArray[np.bool_],
    kept: Record,
    posteriors: Mapping[float, Posterior],
    best: float,
) -> Array:
    """Log time by which each logged first pass was later than fitted; NaN where unknown."""
    result = np.full(found.count, np.nan)
    if not usable.any():
        return result
    y = soft_log(since + best * found.lead_min) - offset
    result[usable] = y[usable] - posteriors[best].fitted[: usable.sum()]
    return np.where(kept.held, np.nan, result)


def _waits(
    kept: Record,
    since: Array,
    offset: Array,
    found: Conditions,
    usable: NDArray[np.bool_],
    posteriors: Mapping[float, Posterior],
    best: float,
) -> Array:
    """Minutes that held-up starts came after the slab was ready: logged, else by the model."""
    known = kept.wait_min[kept.held & ~np.isnan(kept.wait_min)]
    if not usable.any():
        return np.asarray(known)
    expected = np.full(found.count, np.nan)
    expected[usable] = soft_exp(posteriors[best].fitted[: usable.sum()] + offset[usable])
    over = since + best * found.lead_min - expected
    guessed = over[kept.late & usable]
    waits = np.concatenate([known, np.maximum(guessed, 5.0)])
    return np.asarray(waits[waits > 0])


def _with_loads(pours: pd.DataFrame, trucks: pd.DataFrame | None) -> pd.DataFrame:
    """Pours with the mean temperature and slump of their loads where they have none themselves."""
    pours = pours.copy()
    if trucks is None or not len(trucks):
        return pours
    for name in ("concrete_temp", "slump"):
        if name not in trucks:
            continue
        mean = pd.to_numeric(trucks[name], errors="coerce").groupby(trucks["pour_id"]).mean()
        own = pd.Series(number(pours, name), index=pours.index)
        pours[name] = own.where(own.notna(), pours["pour_id"].map(mean))
    return pours
